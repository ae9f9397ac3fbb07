"""What a survey alone says of a home's oil: litres a year, and which answer would say it more surely.

Flow     survey, normals -> forecaster.dwelling -> **first answer** -> page
Formula  a year's litres = Σ days [base + slope·max(0, tb − t)]; spread: both parts independent, log-normal
Source   degree-day method as in the engine; what each answer spares of the spread is reckoned by leaving
         all else as it is and giving that answer the middle of what is published
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cache
from types import MappingProxyType

import numpy as np

from forecaster.climate import normals_for
from forecaster.climate.normals import normal_day
from forecaster.dwelling import Survey, burn_prior
from forecaster.dwelling.prior import BurnPrior
from forecaster.dwelling.survey import ASSUMED_BOILER
from forecaster.fuel import Fuel
from forecaster.readings import parse_readings
from forecaster.tanks import parse_tank

ONE_IN_TEN = 1.2816
"""Standard deviations from the middle beyond which one case in ten lies. [-]"""
_YEAR = np.arange("2001-01-01", "2002-01-01", dtype="datetime64[D]")
_TYPICAL: Mapping[str, Mapping[str, object]] = MappingProxyType(
    {
        "floor_area": {"floor_area_m2": 120.0, "built": 1970},
        "boiler": {"boiler": ASSUMED_BOILER},
        "hot_water": {"hot_water": "oil", "occupants": 2.4},
    }
)


@dataclass(frozen=True, slots=True)
class YearlyBurn:
    """Litres that a home burns in a normal year, by its survey.

    Attributes
    ----------
    low, middle, high
        1 home in 10 of this description burns less, as many more. [l/a]
    january, july
        On a day of that month, in the middle. [l/d]
    narrower
        For each answer that is lacking, the span (high over low) that it would leave. [-]
    """

    low: float
    middle: float
    high: float
    january: float
    july: float
    narrower: Mapping[str, float]

    @property
    def span(self) -> float:
        """High over low. [-]"""
        return self.high / self.low


@cache
def make_ready() -> None:
    """Load what the first forecast of a process needs, which takes some seconds, while somebody still types."""
    from api.usecases.refresh_forecast import decide
    from forecaster.pipeline import Inputs

    at = datetime(2026, 1, 10, 12, tzinfo=UTC)
    tank = parse_tank('product = "kerosene"\nshape = "moulded"\ncapacity_l = 1200\nheight_mm = 1300')
    readings = parse_readings("at,dip_mm\n2026-01-10T06:00:00Z,700\n").readings
    decide(Inputs(tank, at, readings=readings, survey=Survey(place="Midlands")))


def yearly_burn(survey: Survey, fuel: Fuel) -> YearlyBurn:
    """Reckon what a home burns in a normal year, by its survey alone.

    Raises
    ------
    WeatherError
        When the survey names no place.

    Examples
    --------
    >>> from forecaster.fuel import KEROSENE
    >>> wide = yearly_burn(Survey(place="Midlands"), KEROSENE)
    >>> wide.low < wide.middle < wide.high, sorted(wide.narrower)
    (True, ['boiler', 'floor_area', 'hot_water'])
    """
    normals = normals_for(
        latitude=survey.latitude, longitude=survey.longitude, place=survey.place,
        elevation_m=survey.elevation_m,
    )  # fmt: skip
    temp_c, _ = normal_day(normals, _YEAR)
    month = _YEAR.astype("datetime64[M]").astype(np.int64) % 12
    low, middle, high = _span(burn_prior(survey, fuel), temp_c)
    narrower = {}
    for name, answers in _TYPICAL.items():
        lacking = {key: value for key, value in answers.items() if getattr(survey, key) is None}
        if name == "floor_area" and survey.heat_loss_w_per_k is not None:
            continue
        if lacking:
            with_it = _span(burn_prior(replace(survey, **lacking), fuel), temp_c)  # type: ignore[arg-type]
            narrower[name] = with_it[2] / with_it[0]
    days = _by_day(burn_prior(survey, fuel), temp_c)
    return YearlyBurn(
        low, middle, high, float(days[month == 0].mean()), float(days[month == 6].mean()), narrower
    )


def _by_day(prior: BurnPrior, temp_c: np.ndarray) -> np.ndarray:
    month = _YEAR.astype("datetime64[M]").astype(np.int64) % 12
    base = prior.base_l_per_day * prior.hot_water_l_per_day[month]
    colder_k = np.maximum(0.0, prior.base_temperature_c - temp_c)
    return np.asarray(base + prior.slope_l_per_kday * colder_k)


def _span(prior: BurnPrior, temp_c: np.ndarray) -> tuple[float, float, float]:
    days = _by_day(prior, temp_c)
    base = prior.base_l_per_day * len(days)
    middle = float(days.sum())
    sd = math.hypot(base * prior.base_rel_sd, (middle - base) * prior.slope_rel_sd)
    factor = math.exp(ONE_IN_TEN * math.sqrt(math.log1p((sd / middle) ** 2)))
    return middle / factor, middle, middle * factor
