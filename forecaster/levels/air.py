"""Air over the oil and the oil itself: how warm they are, and how sure that is.

Flow     outdoor air, place of the tank -> **air in the tank, oil temperature** -> levels
Formula  c = 331.3 √(1 + T/273.15) m/s;  damped = mean + share · (outdoor − mean);
         the oil follows the exponential mean of three days
Source   Speed of sound in dry air as in public driver code of ultrasonic modules. Means, shares
         and standard deviations of places: assumptions; their effect is 1.7 mm of dip per metre of
         ullage and kelvin, and 0.9 l per 1,000 l and kelvin of oil.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from forecaster.readings import Readings
from forecaster.tanks import Tank
from forecaster.units import HOURS_PER_DAY, ZERO_CELSIUS_K, Floats

AirAt = Callable[[npt.NDArray[np.datetime64]], Floats]
"""Outdoor air at instants UTC, nan where not known. [C]"""

PROBE_SD_K = 2.0
"""Thermometer in the tank, or inside the sensor: sun on the housing misleads it. [K] (assumption)"""
OIL_DAYS = 3.0
"""Time in which the oil forgets the air to 1/e. [d] (assumption)"""
_MEMORY_DAYS = 15.0
_STEP_HOURS = 6.0


@dataclass(frozen=True, slots=True)
class Place:
    """How the air of a place follows the air outdoors.

    Attributes
    ----------
    mean_c
        About which it is damped, and what is taken where nothing is known. [C]
    share
        Of the outdoor swing that comes through. [-]
    sd_k
        Of the air in the tank where outdoor air is known. [K]
    blind_sd_k
        The same where it is not. [K]
    """

    mean_c: float
    share: float
    sd_k: float
    blind_sd_k: float


PLACES: Mapping[str, Place] = MappingProxyType(
    {
        "outdoors": Place(10.0, 1.0, 4.0, 7.0),
        "shed": Place(12.0, 0.7, 3.0, 5.0),
        "indoors": Place(17.0, 0.1, 2.0, 3.0),
        "buried": Place(11.0, 0.3, 2.0, 3.0),
    }
)
"""By the tank's ``location``; British and Irish means. (assumption)"""


def speed_of_sound_m_per_s(air_c: npt.ArrayLike) -> Floats:
    """Speed of sound in dry air.

    Parameters
    ----------
    air_c : float array, any shape
        [C]

    Returns
    -------
    float array, same shape
        [m/s]

    Examples
    --------
    >>> speed_of_sound_m_per_s([0.0, 20.0]).round(2)
    array([331.3 , 343.21])
    """
    return np.asarray(331.3 * np.sqrt(1.0 + np.asarray(air_c, dtype=float) / ZERO_CELSIUS_K))


def headspace_air(readings: Readings, tank: Tank, *, air_at: AirAt | None = None) -> tuple[Floats, Floats]:
    """Estimate the air between sensor and oil at each reading.

    Parameters
    ----------
    readings : Readings
        Shape (n,); their own ``air_c`` wins.
    tank : Tank
        Whose ``location`` damps the outdoor air.
    air_at : callable, optional
        Outdoor air.

    Returns
    -------
    air_c, sd_k : float array, shape (n,)
        [C], [K]
    """
    place = PLACES[tank.location]
    outdoor = np.full(len(readings), np.nan) if air_at is None else np.asarray(air_at(readings.at), float)
    damped = place.mean_c + place.share * (outdoor - place.mean_c)
    known = np.isfinite(outdoor)
    air_c = np.where(known, damped, place.mean_c)
    sd_k = np.where(known, place.sd_k, place.blind_sd_k)
    measured = np.isfinite(readings.air_c)
    return np.where(measured, readings.air_c, air_c), np.where(measured, PROBE_SD_K, sd_k)


def oil_temperature_c(at: npt.NDArray[np.datetime64], tank: Tank, *, air_at: AirAt | None = None) -> Floats:
    r"""Estimate the oil's temperature from the outdoor air of the days before.

    Parameters
    ----------
    at : datetime64[s] array, shape (n,), UTC
    tank : Tank
        Whose ``location`` damps the outdoor air.
    air_at : callable, optional
        Outdoor air; without it the place's mean is given.

    Returns
    -------
    float array, shape (n,)
        [C]

    Notes
    -----
    The mean looks back fifteen days, never ahead; hours without air are left out of it, and with
    none at all the place's mean is given.

    Examples
    --------
    >>> from forecaster.fuel import KEROSENE
    >>> from forecaster.tanks import parse_tank
    >>> tank = parse_tank('product="kerosene"\nshape="moulded"\ncapacity_l=1000\nheight_mm=1100\n')
    >>> noon = np.array(["2024-01-10T12:00:00"], "datetime64[s]")
    >>> oil_temperature_c(noon, tank, air_at=lambda at: np.full(len(at), 4.0)).round(6)
    array([4.])
    """
    place = PLACES[tank.location]
    if air_at is None:
        return np.full(len(at), place.mean_c)
    lag_h = np.arange(0.0, _MEMORY_DAYS * HOURS_PER_DAY, _STEP_HOURS)
    back = (lag_h * 3600.0).astype("timedelta64[s]")
    instants = (at[:, None] - back[None, :]).ravel()
    outdoor = np.asarray(air_at(instants), dtype=float).reshape(len(at), len(lag_h))
    weight = np.exp(-lag_h / HOURS_PER_DAY / OIL_DAYS) * np.isfinite(outdoor)
    total = weight.sum(axis=1)
    mean = (weight * np.nan_to_num(outdoor)).sum(axis=1) / np.where(total > 0.0, total, 1.0)
    return np.where(total > 0.0, place.mean_c + place.share * (mean - place.mean_c), place.mean_c)
