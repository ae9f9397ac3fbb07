"""When the tank runs dry: the first day on which each simulated path touches the heel.

Flow     litres paths (forecast) -> **run-dry dates** -> order advice (reorder)
Formula  run_dry[i] = min{ d : litres[i, d] <= heel },  inf if there is no such d
         p_dry[d]   = share of paths with run_dry[i] <= d
"""

from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def run_dry_days(litres: Floats, *, heel_l: float) -> Floats:
    """Find the first day on which each path is at or below the heel.

    Parameters
    ----------
    litres : float array, shape (path, day)
        Bulk litres in the tank at the end of each day ahead. [L]
    heel_l : float
        Litres below the draw-off, which the boiler cannot use. [L]

    Returns
    -------
    float array, shape (path,)
        Index of the day, 0 for the day of as-of itself; inf where the path never runs dry. [d]

    Raises
    ------
    ValueError
        If ``litres`` is not two-dimensional.

    Examples
    --------
    >>> paths = np.array([[40.0, 20.0, 0.0], [90.0, 80.0, 70.0]])
    >>> run_dry_days(paths, heel_l=20.0)
    array([ 1., inf])
    """
    if litres.ndim != 2:
        raise ValueError(f"litres must have shape (path, day), got {litres.shape}")
    dry = litres <= heel_l
    return np.where(dry.any(axis=1), dry.argmax(axis=1), np.inf)


def chance_dry(run_dry: Floats, *, days: int) -> Floats:
    """Chance that a path has touched the heel by the end of each day.

    Parameters
    ----------
    run_dry : float array, shape (path,)
        From `run_dry_days`. [d]
    days : int
        How many days ahead.

    Returns
    -------
    float array, shape (day,), rising, within 0..1

    Examples
    --------
    >>> chance_dry(np.array([1.0, np.inf]), days=3)
    array([0. , 0.5, 0.5])
    """
    counts = np.bincount(run_dry[np.isfinite(run_dry)].astype(np.int64), minlength=days)[:days]
    return np.cumsum(counts) / len(run_dry)


def run_dry_date(p_dry: Floats, *, first: date, chance: float) -> date | None:
    """First civil date by which the chance of being dry reaches ``chance``; None if not within sight.

    Parameters
    ----------
    p_dry : float array, shape (day,)
        From `chance_dry`; the first entry belongs to the date ``first``.
    first : date
    chance : float
        Within 0..1.

    Examples
    --------
    >>> run_dry_date(np.array([0.0, 0.1, 0.6]), first=date(2024, 1, 10), chance=0.5)
    datetime.date(2024, 1, 12)
    """
    reached = np.flatnonzero(p_dry >= chance - 1e-12)
    return first + timedelta(days=int(reached[0])) if len(reached) else None
