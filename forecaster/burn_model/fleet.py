"""Many tanks of one place: the weather is laid out once, each tank is fitted by it.

Flow     weather of a place -> **station**; levels, tickets, surveys of its tanks -> **posteriors**
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from forecaster.burn_model.changes import Changes
from forecaster.burn_model.degrees import Degrees, degrees_of
from forecaster.burn_model.fit import fit_burn_model
from forecaster.burn_model.posterior import Posterior
from forecaster.burn_model.prior import PastLitres
from forecaster.burn_model.settings import Settings
from forecaster.burn_model.steps import Additions, Drivers, Observations
from forecaster.dwelling import BurnPrior

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Station:
    """What all tanks of a place share.

    Attributes
    ----------
    midnights
        Instants at which the civil days begin, and the end of the last: datetime64[s], shape (day + 1,).
    degrees
        Degree-days of these days.
    normal_temp_c
        A normal year's daily temperatures, shape (day,). [C]
    settings
        Of the burn model.
    """

    midnights: npt.NDArray[np.datetime64]
    degrees: Degrees
    normal_temp_c: Floats
    settings: Settings = field(default_factory=Settings)


@dataclass(frozen=True, slots=True, eq=False)
class FleetTank:
    """One tank and the house it heats, as `forecaster.burn_model.fit_burn_model` takes them.

    ``drivers`` are of the station's days; its temperatures are not looked at but for the first.
    """

    drivers: Drivers
    observations: Observations
    additions: Additions
    prior: BurnPrior
    capacity_l: float
    past_litres: PastLitres | None = None
    changes: Changes | None = None


def station_of(
    temp_c: Floats, midnights: npt.NDArray[np.datetime64], normal_temp_c: Floats, *,
    settings: Settings | None = None,
) -> Station:  # fmt: skip
    """Lay out a place's weather for all its tanks.

    Parameters
    ----------
    temp_c : float array, shape (day,)
        Known days, up to that of as-of. [C]
    midnights, normal_temp_c, settings
        See `Station`.
    """
    s = settings or Settings()
    degrees = degrees_of(temp_c, grid=s.grid, rounding_k=s.rounding_k)
    return Station(midnights, degrees, normal_temp_c, s)


def fit_fleet(station: Station, tanks: Iterable[FleetTank], *, as_of: np.datetime64) -> Iterator[Posterior]:
    """Fit the burn model of every tank of a place, one after the other.

    Parameters
    ----------
    station : Station
    tanks : iterable of FleetTank
    as_of : datetime64[s]
        The posteriors hold at this instant.

    Notes
    -----
    A posterior is that of `forecaster.burn_model.fit_burn_model` for the tank by itself, bit for bit.
    """
    for tank in tanks:
        yield fit_burn_model(
            tank.drivers, station.midnights, tank.observations, tank.additions, tank.prior, as_of=as_of,
            normal_temp_c=station.normal_temp_c, capacity_l=tank.capacity_l, past_litres=tank.past_litres,
            settings=station.settings, degrees=station.degrees, changes=tank.changes,
        )  # fmt: skip
