"""Where outcomes fell among the paths, and the map that follows from it.

Flow     outcomes, samples -> scores -> **quantiles of the scores by lead and season, drawn to the identity**
Formula  e_p = quantile p of the outcomes' scores, cases weighted by exp(-1/2 (days of the year apart / 30)^2)
         told_p = z_p + w_p (e_p - z_p),  w_p = t^2 / (t^2 + se_p^2),  se_p = sqrt(p (1 - p) / n) / phi(z_p)
         with n the tanks that speak of the season: forecasts of one tank are not independent of each other
Source   shrinkage by the ratio of variances: B. Efron, C. Morris, "Stein's paradox in statistics", Scientific American
         236 (1977) 119-127 [from memory]; standard error of a quantile: any textbook
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.calibration.mapping import LEAST_L, log_litres, score_at
from forecaster.calibration.table import CHANCES, LEADS_D, MONTHS, Calibration, Learnt

Floats = npt.NDArray[np.float64]

SEASON_SD_D = 30.0
"""How far from each other in the year two spans are alike. [d]"""
DEPART_SD = 1.0
"""How far a told score is taken to be off before anything is seen. [-]"""
FURTHEST = 8.0
"""A score beyond is that. [-]"""
YEAR_D = 365.25


@dataclass(frozen=True, slots=True, eq=False)
class Outcomes:
    """Where outcomes fell among the samples of their forecasts; arrays of shape (case,).

    Attributes
    ----------
    tank
        Which tank.
    lead_days
        Over how many days litres were foretold. [d]
    middle
        Middle of that span, datetime64[D].
    score
        Of the outcome, by `scores_of`.
    """

    tank: npt.NDArray[np.str_]
    lead_days: npt.NDArray[np.int64]
    middle: npt.NDArray[np.datetime64]
    score: Floats


def scores_of(actual_l: float, samples_l: Floats) -> float:
    """Normal score at which an outcome stands among samples; beyond them it is continued in log litres.

    Parameters
    ----------
    actual_l : float
        Litres burned. [L]
    samples_l : float array, shape (sample,)
        Litres foretold. [L]

    Examples
    --------
    >>> scores_of(20.0, np.array([10.0, 20.0, 30.0]))
    0.0
    """
    own, log_l = log_litres(np.sort(samples_l))
    score = score_at(float(np.log(max(actual_l, LEAST_L))), own, log_l)
    return float(np.clip(score, -FURTHEST, FURTHEST))


def learn_calibration(outcomes: Outcomes, learnt: Learnt) -> Calibration:
    """Learn the map of each lead and month.

    Parameters
    ----------
    outcomes : Outcomes
        Of uncalibrated forecasts; leads other than `LEADS_D` are not looked at.
    learnt : Learnt
        Provenance, kept with it.
    """
    from scipy.special import ndtri

    even = np.asarray(ndtri(CHANCES))
    score = np.broadcast_to(even, (len(LEADS_D), MONTHS, len(CHANCES))).copy()
    day_of_year = (
        (outcomes.middle - outcomes.middle.astype("datetime64[Y]")).astype("timedelta64[D]").astype(float)
    )
    for i, lead in enumerate(LEADS_D):
        at = outcomes.lead_days == lead
        for month in range(MONTHS):
            apart = np.abs(day_of_year[at] - month * YEAR_D / MONTHS)
            apart = np.minimum(apart, YEAR_D - apart)
            weight = np.exp(-0.5 * (apart / SEASON_SD_D) ** 2)
            score[i, month] = _told(outcomes.score[at], weight, outcomes.tank[at], even)
    return Calibration(np.array(LEADS_D, np.int64), score, learnt)


def _told(score: Floats, weight: Floats, tank: npt.NDArray[np.str_], even: Floats) -> Floats:
    """Scores told at the chances, drawn to the even ones where little has been seen."""
    if len(score) == 0 or not weight.sum() > 0.0:
        return even
    chance = np.asarray(CHANCES)
    of_tank = np.bincount(np.unique(tank, return_inverse=True)[1], weight)
    speaking = of_tank.sum() ** 2 / (of_tank**2).sum()
    error = np.sqrt(chance * (1.0 - chance) / speaking) / (np.exp(-0.5 * even**2) / np.sqrt(2.0 * np.pi))
    trust = DEPART_SD**2 / (DEPART_SD**2 + error**2)
    told: Floats = np.maximum.accumulate(even + trust * (_quantiles(score, weight, chance) - even))
    return told


def _quantiles(value: Floats, weight: Floats, chance: Floats) -> Floats:
    """Quantiles of weighted values, each value at the middle of its weight."""
    order = np.argsort(value, kind="stable")
    upto = np.cumsum(weight[order])
    found: Floats = np.interp(chance, (upto - 0.5 * weight[order]) / upto[-1], value[order])
    return found
