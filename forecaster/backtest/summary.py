"""Many cases in a few numbers: mean scores, cover of the bands, and one method against another.

Formula  ratio R = sum of our scores / sum of theirs;  se(R) by the jackknife over records:
         se^2 = (n - 1)/n  sum_i (R_i - mean R)^2,  R_i without record i
Source   jackknife: B. Efron, C. Stein, "The jackknife estimate of variance", Annals of Statistics 9 (1981)
         586-596 [from memory]; of whole records, because forecasts of one tank share its errors
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.backtest.rolling import QUANTILES, Cases, Days
from forecaster.scores import mean_absolute_error, mean_bias, pinball

Floats = npt.NDArray[np.float64]

LEVELS = (0.5, 0.8, 0.95)
"""Nominal shares of the bands whose cover is counted."""
SEASONS = ("winter", "spring", "summer", "autumn")
"""Of three months each, from December on, as meteorology counts them in the north."""


@dataclass(frozen=True, slots=True)
class Summary:
    """What many cases show.

    ``crps_l``, ``pinball_l`` (the mean over `QUANTILES`), ``error_l`` (absolute, of the median) and
    ``bias_l`` (foretold less actual) are means in litres; ``cover`` holds the share of outcomes within
    each of the bands of `LEVELS`; ``records`` counts the tanks.
    """

    cases: int
    records: int
    actual_l: float
    crps_l: float
    pinball_l: float
    error_l: float
    bias_l: float
    cover: tuple[float, ...]


def summarise(cases: Cases) -> Summary:
    """Average the scores of some cases.

    Raises
    ------
    ValueError
        If there is no case.
    """
    if not len(cases):
        raise ValueError("a summary needs at least one case")
    loss = pinball(cases.actual_l[:, None], cases.quantile_l, level=np.asarray(QUANTILES))
    return Summary(
        cases=len(cases),
        records=len(np.unique(cases.record)),
        actual_l=float(cases.actual_l.mean()),
        crps_l=float(cases.crps_l.mean()),
        pinball_l=float(loss.mean()),
        error_l=mean_absolute_error(cases.actual_l, cases.median_l),
        bias_l=mean_bias(cases.actual_l, cases.median_l),
        cover=tuple(float(_within(cases, level).mean()) for level in LEVELS),
    )


def season_of(date: Days) -> npt.NDArray[np.str_]:
    """Name the season of each day.

    Examples
    --------
    >>> season_of(np.array(["2024-02-29", "2024-03-01", "2024-12-01"], "datetime64[D]"))
    array(['winter', 'spring', 'winter'], dtype='<U6')
    """
    month = np.asarray(date).astype("datetime64[M]").astype(np.int64) % 12
    return np.asarray(SEASONS)[(month + 1) % 12 // 3]


def paired_ratio(
    ours_l: npt.ArrayLike, theirs_l: npt.ArrayLike, *, record: npt.ArrayLike
) -> tuple[float, float]:
    """Give the ratio of two methods' mean scores on the same cases, and its standard error.

    Parameters
    ----------
    ours_l, theirs_l : float arrays, shape (case,)
        Scores, case by case. [L]
    record : array, shape (case,)
        Which record each case is of: records are left out one at a time.

    Returns
    -------
    ratio, standard error : float
        Below 1 where we are better; the error is nan with a single record.

    Raises
    ------
    ValueError
        If the three are not equally long, or there is no case.

    Examples
    --------
    >>> ratio, error = paired_ratio([1.0, 2.0, 3.0], [2.0, 4.0, 6.0], record=["a", "a", "b"])
    >>> ratio, error
    (0.5, 0.0)
    """
    ours, theirs = np.asarray(ours_l, np.float64), np.asarray(theirs_l, np.float64)
    names, of = np.unique(np.asarray(record), return_inverse=True)
    if not len(ours) or not len(ours) == len(theirs) == len(of):
        raise ValueError("give as many scores of ours as of theirs, and the record of each; at least one")
    mine, other = np.bincount(of, ours), np.bincount(of, theirs)
    ratio = float(mine.sum() / other.sum())
    n = len(names)
    if n < 2:
        return ratio, float("nan")
    without = (mine.sum() - mine) / (other.sum() - other)
    return ratio, float(np.sqrt((n - 1) / n * np.sum((without - without.mean()) ** 2)))


def _within(cases: Cases, level: float) -> npt.NDArray[np.bool_]:
    low, high = (QUANTILES.index(round((1.0 + sign * level) / 2.0, 4)) for sign in (-1, 1))
    within: npt.NDArray[np.bool_] = (cases.quantile_l[:, low] <= cases.actual_l) & (
        cases.actual_l <= cases.quantile_l[:, high]
    )
    return within
