"""Which way a house's glass looks, where a survey knows of one side at most.

Glass on the other sides lets in sun too: that of a morning in the east, that of a bright sky from the north.

Flow     survey -> **glass by side** -> sun on the windows, burn prior
Source   [1] glass of a dwelling, about 0.18 of its floor area: see `forecaster.dwelling.heat_loss`; how it is
         spread over the sides: assumption, no source.
"""

from typing import NamedTuple

import numpy as np

from forecaster.dwelling.heat_loss import TYPICAL_FLOOR_AREA_M2
from forecaster.dwelling.survey import Survey

AWAY_DEG = (0.0, 45.0, 90.0, 135.0, 180.0)
BESIDE_THE_STATED = (1.0, 0.7, 0.35, 0.25, 0.15)
"""Glass of a side that looks so far away from the stated one, over the stated glass. Assumption. [°], [-]"""
UNASKED_OF_FLOOR = (0.015, 0.045, 0.06, 0.045)
"""Glass to the north, east, south and west over the floor area, less curtains and trees. Source [1]. [-]"""
SIDES_DEG = (0.0, 90.0, 180.0, 270.0)


class Side(NamedTuple):
    """Glass that looks one way: clockwise from north, frames included. [°, m²]"""

    azimuth_deg: float
    area_m2: float


def glass_by_side(survey: Survey) -> tuple[Side, ...]:
    """Spread a house's glass over four sides, from the side that the survey tells of or from the floor area.

    Parameters
    ----------
    survey : Survey
        One that does not give its windows one by one.

    Returns
    -------
    tuple of Side
        Of these the areas are all zero only where the survey says that there is no glass.

    Examples
    --------
    >>> from forecaster.dwelling.survey import Solar
    >>> [round(side.area_m2, 2) for side in glass_by_side(Survey(solar=Solar(window_m2=10.0)))]
    [1.5, 3.5, 10.0, 3.5]
    >>> [round(side.area_m2, 2) for side in glass_by_side(Survey(floor_area_m2=100.0))]
    [1.5, 4.5, 6.0, 4.5]
    """
    stated = survey.solar.window_m2 if survey.solar is not None else None
    if survey.solar is None or stated is None:
        floor_m2 = survey.floor_area_m2 or TYPICAL_FLOOR_AREA_M2
        return tuple(Side(a, share * floor_m2) for a, share in zip(SIDES_DEG, UNASKED_OF_FLOOR, strict=True))
    towards = survey.solar.window_azimuth
    away = [abs((side - towards + 180.0) % 360.0 - 180.0) for side in SIDES_DEG]
    return tuple(
        Side(side, stated * float(np.interp(d, AWAY_DEG, BESIDE_THE_STATED)))
        for side, d in zip(SIDES_DEG, away, strict=True)
    )


def glass_m2(survey: Survey) -> float:
    """All glass of a house together. [m²]"""
    if survey.solar is not None and survey.solar.windows:
        return sum(w.area_m2 for w in survey.solar.windows)
    return sum(side.area_m2 for side in glass_by_side(survey))
