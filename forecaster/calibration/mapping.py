"""Paths as they are told: each keeps its rank, and its burn is drawn to where paths of that rank belong.

Flow     paths' burn, calibration -> litres told at each lead -> **burn told on each day**
"""

import numpy as np
import numpy.typing as npt

from forecaster.calibration.table import CHANCES, Calibration

Floats = npt.NDArray[np.float64]

EDGE = 2.3
"""Normal score up to which paths are many enough to tell how their litres go on beyond all of them. [-]"""
LEAST_L = 1e-3
"""Less than that over a span is nothing. [L]"""
LEAST_PART = 0.05
"""Of a path's own burn between two leads, at least so much remains: no path gets oil back. [-]"""
STEEPEST = 1.0
"""Log litres gained or lost by a score beyond all paths, at most: a safeguard. [-]"""


def recalibrate_burn(
    burned_l: Floats, date: npt.NDArray[np.datetime64], *, calibration: Calibration
) -> Floats:
    """Burn of each path on each day, as recalibrated.

    Parameters
    ----------
    burned_l : float array, shape (path, day)
        As simulated. [L]
    date : datetime64[D] array, shape (day,)
        The days ahead.
    calibration : Calibration

    Returns
    -------
    float array, shape (path, day)
        Never below nothing; the litres of the paths at each lead stand in the order in which they stood. [L]

    Notes
    -----
    Within the days from one lead to the next a path's burn has one factor. Days beyond the last lead are left as they
    are: nothing has been seen of them. Where fewer days are ahead than the first lead has, its map serves at their
    end.
    """
    paths, days = burned_l.shape
    if days == 0:
        return burned_l
    ends = [int(lead) for lead in calibration.lead_days if lead <= days] or [days]
    told = burned_l.copy()
    so_far, done, begin = np.zeros(paths), np.zeros(paths), 0
    for i, end in enumerate(ends):
        own = burned_l[:, begin:end].sum(axis=1)
        so_far = so_far + own
        middle = date[0].astype("datetime64[D]") + end // 2
        aim = drawn_to(so_far, calibration.at(i, middle))
        share = np.maximum(aim - done, LEAST_PART * own) / np.maximum(own, LEAST_L)
        told[:, begin:end] *= np.where(own > LEAST_L, share, 1.0)[:, None]
        done = done + told[:, begin:end].sum(axis=1)
        begin = end
    return told


def drawn_to(litres: Floats, score: Floats) -> Floats:
    """Litres told for each path over a span: its rank's score mapped, and litres read at the new score.

    Parameters
    ----------
    litres : float array, shape (path,)
        Burned over the span. [L]
    score : float array, shape (chance,)
        Scores to be told in place of those of `CHANCES`.

    Examples
    --------
    >>> from scipy.special import ndtri
    >>> as_it_is = drawn_to(np.array([10.0, 30.0, 20.0]), ndtri(CHANCES))
    >>> as_it_is.round(6)
    array([10., 30., 20.])
    """
    order = np.argsort(litres, kind="stable")
    own, log_l = log_litres(litres[order])
    out = np.empty_like(litres)
    out[order] = np.exp(read_at(mapped(own, score), own, log_l))
    return out


def log_litres(ordered: Floats) -> tuple[Floats, Floats]:
    """Normal scores of ranks, and log litres at them, of samples in rising order: (sample,), (sample,)."""
    return normal_scores(len(ordered)), np.log(np.maximum(ordered, LEAST_L))


def normal_scores(count: int) -> Floats:
    """Normal scores of so many ranks, each at the middle of its share: shape (count,)."""
    from scipy.special import ndtri

    found: Floats = ndtri((np.arange(count) + 0.5) / count)
    return found


def mapped(score: Floats, told: Floats) -> Floats:
    """Scores to be told in place of some: straight between the chances, and beyond no flatter than one to one."""
    from scipy.special import ndtri

    knots = np.asarray(ndtri(CHANCES))
    low, high = (_slope(knots, told, at) for at in (0, -2))
    out = np.interp(score, knots, told)
    out = np.where(score < knots[0], told[0] + low * (score - knots[0]), out)
    return np.where(score > knots[-1], told[-1] + high * (score - knots[-1]), out)


def read_at(score: Floats, own: Floats, log_l: Floats) -> Floats:
    """Log litres at some scores; beyond the outermost paths they go on as they did before them."""
    down, up = _steepness(own, log_l)
    out = np.interp(score, own, log_l)
    out = np.where(score < own[0], log_l[0] + down * (score - own[0]), out)
    return np.where(score > own[-1], log_l[-1] + up * (score - own[-1]), out)


def score_at(log_litres_came: float, own: Floats, log_l: Floats) -> float:
    """Score at which some litres stand: the inverse of `read_at`."""
    down, up = _steepness(own, log_l)
    if log_litres_came < log_l[0]:
        return float(own[0] + (log_litres_came - log_l[0]) / down)
    if log_litres_came > log_l[-1]:
        return float(own[-1] + (log_litres_came - log_l[-1]) / up)
    return float(np.interp(log_litres_came, log_l, own))


def _steepness(own: Floats, log_l: Floats) -> tuple[float, float]:
    """Log litres a score at the lower and the upper end, taken where paths are not yet too few."""
    edge = min(EDGE, float(own[-1]))
    at = np.interp([-edge, 1.0 - edge, edge - 1.0, edge], own, log_l)
    down, up = np.clip([at[1] - at[0], at[3] - at[2]], 1e-3, STEEPEST)
    return float(down), float(up)


def _slope(knots: Floats, told: Floats, at: int) -> float:
    """Slope beyond an end: that of the last piece, but no flatter than one to one."""
    return max(float((told[at + 1] - told[at]) / (knots[at + 1] - knots[at])), 1.0)
