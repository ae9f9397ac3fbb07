"""A stuck sensor: the same value although oil must have been burned.

A run of equal values is no sign by itself: in summer a centimetre lasts ten days and more. What
tells is the burn that was to be expected since the run began.

Flow     levels, expected burn -> **stuck** -> burn model, confidence
Formula  stuck at i if raw[i] = ... = raw[start] and burn[i] − burn[start] > steps · litres of a step
Source   common practice, no source; 1.8 steps measured on simulated homes, 3 steps chosen
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.levels.convert import Bools, Levels
from forecaster.units import SECONDS_PER_DAY, Floats

SCRUB_STEPS = 1.8
"""From so many steps of expected burn on, a repeated value is no reading for the model."""
TELL_STEPS = 3.0
"""From so many steps of the least burn to be expected on, people are told."""


@dataclass(frozen=True, slots=True)
class StuckRun:
    """The run of equal values that the newest trusted level ends.

    Attributes
    ----------
    since
        Instant of its first reading, UTC.
    raw
        The value that repeats, as read.
    readings
        How many there are.
    expected_l
        Litres that should have been burned since. [l]
    """

    since: np.datetime64
    raw: float
    readings: int
    expected_l: float


def cumulative_burn_l(
    at: npt.NDArray[np.datetime64], *, date: npt.NDArray[np.datetime64], burn_l_per_day: Floats
) -> Floats:
    """Sum an expected daily burn up to instants.

    Parameters
    ----------
    at : datetime64[s] array, shape (n,), UTC
    date : datetime64[D] array, shape (day,)
        Consecutive days; a day's burn is spread over it evenly.
    burn_l_per_day : float array, shape (day,)
        [l/d]

    Returns
    -------
    float array, shape (n,)
        Since the start of the first day; level before it and after the last. [l]

    Examples
    --------
    >>> at = np.array(["2024-01-01T12:00:00", "2024-01-02T12:00:00"], "datetime64[s]")
    >>> date = np.array(["2024-01-01", "2024-01-02"], "datetime64[D]")
    >>> cumulative_burn_l(at, date=date, burn_l_per_day=np.array([10.0, 20.0]))
    array([ 5., 20.])
    """
    ends = np.concatenate([[0.0], np.cumsum(burn_l_per_day)])
    day = (at - date[0].astype("datetime64[s]")).astype("timedelta64[s]").astype(float) / SECONDS_PER_DAY
    return np.asarray(np.interp(day, np.arange(len(ends), dtype=float), ends))


def find_stuck(levels: Levels, *, expected_burn_l: Floats, steps: float = SCRUB_STEPS) -> Bools:
    r"""Find trusted levels that repeat a value although more than some sensor steps must have burned.

    Parameters
    ----------
    levels : Levels
        Shape (n,).
    expected_burn_l : float array, shape (n,)
        Expected burn up to each level, rising; see `cumulative_burn_l`. [l]
    steps : float
        Threshold in steps of the sensor.

    Returns
    -------
    bool array, shape (n,)

    Notes
    -----
    Causal: whether a level is stuck depends on nothing later. Levels set aside neither begin nor
    break a run. Lower bounds (dead band) repeat by nature and are never stuck.

    Examples
    --------
    >>> from forecaster.fuel import KEROSENE
    >>> from forecaster.levels import to_levels
    >>> from forecaster.readings import parse_readings
    >>> from forecaster.tanks import Tank
    >>> from forecaster.tanks.upright import UprightBox
    >>> tank = Tank(UprightBox(1800.0, 1200.0, 1300.0), KEROSENE, safe_fill_l=2600.0, heel_l=108.0)
    >>> text = "at,dip_cm\n" + "".join(f"2024-01-{day}T06:00Z,80\n" for day in range(10, 15))
    >>> levels = to_levels(parse_readings(text).readings, tank, flags=np.zeros(5, int))
    >>> find_stuck(levels, expected_burn_l=np.arange(5) * 15.0)  # a step is 21.6 litres
    array([False, False, False,  True,  True])
    """
    stuck = np.zeros(len(levels), dtype=bool)
    kept = np.flatnonzero(levels.trusted() & ~levels.censored)
    if not len(kept):
        return stuck
    start = _run_starts(levels.raw[kept])
    expected = expected_burn_l[kept] - expected_burn_l[kept[start]]
    stuck[kept] = expected > steps * levels.step_l[kept]
    return stuck


def stuck_run(levels: Levels, *, expected_burn_l: Floats, steps: float = TELL_STEPS) -> StuckRun | None:
    """Give the run of equal values that still goes on, if people should be told of it.

    Parameters
    ----------
    levels : Levels
        Shape (n,).
    expected_burn_l : float array, shape (n,)
        The least burn to be expected (its lower 5 %) up to each level, rising. [l]
    steps : float
        Threshold in steps of the sensor.

    Returns
    -------
    StuckRun or None
        None where the newest trusted level is not stuck.
    """
    kept = np.flatnonzero(levels.trusted() & ~levels.censored)
    if not len(kept) or not find_stuck(levels, expected_burn_l=expected_burn_l, steps=steps)[kept[-1]]:
        return None
    start = int(_run_starts(levels.raw[kept])[-1])
    return StuckRun(
        since=levels.at[kept[start]],
        raw=float(levels.raw[kept[-1]]),
        readings=len(kept) - start,
        expected_l=float(expected_burn_l[kept[-1]] - expected_burn_l[kept[start]]),
    )


def _run_starts(raw: Floats) -> npt.NDArray[np.intp]:
    """Position at which the run of equal values of each position began."""
    begins = np.r_[True, raw[1:] != raw[:-1]]
    return np.maximum.accumulate(np.where(begins, np.arange(len(raw)), 0))
