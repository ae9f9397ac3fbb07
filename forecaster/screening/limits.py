"""How far a level can go between two readings by burning, and how far by chance.

Formula  fall limit = max(30 l, burner · days · 1.25 + 3 σ),  rise limit = max(50 l, 6 σ)
Source   common practice, no source: 1.25 allows for a burner set above its plate, 30 and 50 l for
         what a tank does that no formula here knows
"""

import numpy as np
import numpy.typing as npt

from forecaster.units import HOURS_PER_DAY, Floats

LARGE_BURNER_KW = 30.0
"""Input of a large domestic burner, taken where none is known. [kW gross] (common practice, no source)"""
LEAST_FALL_L = 30.0
"""No smaller fall is ever called impossible. [l]"""
LEAST_RISE_L = 50.0
"""No smaller rise is ever called a delivery. [l]"""
BURNER_MARGIN = 1.25
FALL_SIGMAS = 3.0
RISE_SIGMAS = 6.0


def burner_l_per_day(kw: float, *, gross_kwh_per_l: float) -> float:
    """Litres a day of a burner that never stops.

    Parameters
    ----------
    kw : float
        Its input. [kW gross]
    gross_kwh_per_l : float
        Heat of a litre. [kWh/l]

    Returns
    -------
    float
        [l/d]

    Examples
    --------
    >>> round(burner_l_per_day(30.0, gross_kwh_per_l=10.294), 1)
    69.9
    """
    return HOURS_PER_DAY * kw / gross_kwh_per_l


def fall_limit_l(days: npt.ArrayLike, *, burner: float, sd_l: npt.ArrayLike) -> Floats:
    """Give the greatest fall between two readings that burning and chance explain.

    Parameters
    ----------
    days : float array, any shape
        Between the readings. [d]
    burner : float
        Litres a day with every appliance at full fire. [l/d]
    sd_l : float array, same shape
        Standard deviation of a reading. [l]

    Returns
    -------
    float array, same shape
        [l]

    Examples
    --------
    >>> round(float(fall_limit_l(4 / 24, burner=69.9436, sd_l=6.235)), 2)
    33.28
    """
    burned = np.asarray(days, dtype=float) * burner * BURNER_MARGIN
    return np.asarray(np.maximum(LEAST_FALL_L, burned + FALL_SIGMAS * np.asarray(sd_l, dtype=float)))


def rise_limit_l(sd_l: npt.ArrayLike) -> Floats:
    """Give the greatest rise between two readings that chance explains.

    Parameters
    ----------
    sd_l : float array, any shape
        Standard deviation of a reading. [l]

    Returns
    -------
    float array, same shape
        [l]

    Examples
    --------
    >>> float(rise_limit_l(6.235)), float(rise_limit_l(20.0))
    (50.0, 120.0)
    """
    return np.asarray(np.maximum(LEAST_RISE_L, RISE_SIGMAS * np.asarray(sd_l, dtype=float)))
