"""How good forecasts were: losses, coverage and calibration, on arrays with the sample axis last.

Flow     litres burned, litres foretold (backtest.py) -> **scores** -> the tables of the accuracy run
Formula  CRPS(F, y) = E|X - y| - E|X - X'| / 2,   X, X' independent draws of F
Source   [1] T. Gneiting, A. E. Raftery, "Strictly proper scoring rules, prediction, and estimation",
         J. Am. Stat. Assoc. 102 (2007) 359-378, eq. 21 (CRPS), section 6 (quantiles) [equation numbers from
         memory]
         [2] S. Kolassa, W. Schütz, "Advantages of the MAD/Mean ratio over the MAPE", Foresight 6 (2007)
         40-43 [from memory]
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def crps(observed: npt.ArrayLike, ensemble: npt.ArrayLike) -> Floats:
    """Continuous ranked probability score of samples, in the unit of what was foretold.

    Parameters
    ----------
    observed : float array, shape (...,)
        What came. [L]
    ensemble : float array, shape (..., sample)
        Draws of the forecast; their order does not matter. [L]

    Returns
    -------
    float array, shape (...,)
        At least 0, smaller is better; with one sample it is the absolute error. [L]

    Raises
    ------
    ValueError
        If there is no sample, or the leading shapes do not agree.

    Notes
    -----
    The samples are taken as the forecast itself (a step distribution), so m samples of a perfect
    forecast score about (1 + 1/m) times its true value. Compare methods with equally many samples.
    A value that is not a number gives one.

    References
    ----------
    .. [1] Gneiting & Raftery (2007), eq. 21, the mean over pairs written through the sorted samples.

    Examples
    --------
    >>> crps(10.0, [8.0, 12.0])
    array(1.)
    >>> crps([10.0, 10.0], [[13.0], [6.0]])
    array([3., 4.])
    """
    y, x = _paired(observed, ensemble)
    m = x.shape[-1]
    x = np.sort(x, axis=-1)
    # Each sorted sample i stands above i others and below m-1-i: the pairs' distance without pairs.
    rank_weight = 2.0 * np.arange(m) - (m - 1)
    half_spread = (x * rank_weight).sum(axis=-1) / m**2
    return np.asarray(np.abs(x - y[..., None]).mean(axis=-1) - half_spread)


def pinball(observed: npt.ArrayLike, quantile: npt.ArrayLike, *, level: npt.ArrayLike) -> Floats:
    """Loss of a foretold quantile: what fell above it costs ``level``, below it ``1 - level``.

    Parameters
    ----------
    observed, quantile : float arrays that broadcast
        What came, and the quantile that was foretold. [L]
    level : float array that broadcasts
        Probability of the quantile, between 0 and 1.

    Returns
    -------
    float array
        At least 0, smaller is better. Averaged over all levels it is half the CRPS. [L]

    Raises
    ------
    ValueError
        If a level does not lie between 0 and 1.

    References
    ----------
    .. [1] Gneiting & Raftery (2007), section 6, with the sign turned so that smaller is better.

    Examples
    --------
    >>> pinball([12.0, 9.0], 10.0, level=0.9)
    array([1.8, 0.1])
    """
    p = np.asarray(level, dtype=np.float64)
    if not np.all((p > 0.0) & (p < 1.0)):
        raise ValueError(f"level must lie between 0 and 1, got {level!r}")
    over = np.asarray(observed, dtype=np.float64) - np.asarray(quantile, dtype=np.float64)
    return np.asarray(np.maximum(p * over, (p - 1.0) * over))


def coverage(observed: npt.ArrayLike, ensemble: npt.ArrayLike, *, level: float) -> float:
    """Share of what came that lay within the central band of the samples.

    Parameters
    ----------
    observed : float array, shape (...,)
        What came. [L]
    ensemble : float array, shape (..., sample)
        Draws of the forecast. [L]
    level : float
        Nominal share of the band, such as 0.8 for the band from 10 % to 90 %.

    Returns
    -------
    float
        Between 0 and 1; near ``level`` when the bands are honest. The band's ends count as inside.

    Raises
    ------
    ValueError
        If the level does not lie between 0 and 1, nothing was observed, or the shapes do not agree.

    Notes
    -----
    The ends are numpy's interpolated quantiles, so few samples give a band that is a little narrow.

    Examples
    --------
    >>> coverage([10.0, 30.0], [[8.0, 10.0, 12.0], [8.0, 10.0, 12.0]], level=0.8)
    0.5
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must lie between 0 and 1, got {level!r}")
    y, x = _paired(observed, ensemble)
    if not y.size:
        raise ValueError("coverage needs at least one observation")
    low, high = np.quantile(x, [(1.0 - level) / 2.0, (1.0 + level) / 2.0], axis=-1)
    return float(np.mean((low <= y) & (y <= high)))


def pit(observed: npt.ArrayLike, ensemble: npt.ArrayLike, *, tie_break: npt.ArrayLike = 0.5) -> Floats:
    """Probability integral transform: where among the samples the truth fell, from 0 to 1.

    Parameters
    ----------
    observed : float array, shape (...,)
        What came. [L]
    ensemble : float array, shape (..., sample)
        Draws of the forecast. [L]
    tie_break : float array that broadcasts to ``observed``
        Where between two neighbouring ranks to fall, 0 to 1. With uniform random numbers the result
        of an honest forecast is exactly uniform; the default, the middle, needs none.

    Returns
    -------
    float array, shape (...,)
        Above 0 and below 1 (for a tie break within 0 to 1). Flat over many forecasts when the
        bands are honest, heaped at both ends when they are too narrow.

    Raises
    ------
    ValueError
        If there is no sample, or the leading shapes do not agree.

    References
    ----------
    .. [1] T. M. Hamill, "Interpretation of rank histograms for verifying ensemble forecasts",
       Mon. Weather Rev. 129 (2001) 550-560 [from memory].

    Examples
    --------
    >>> pit([9.0, 20.0], [[8.0, 10.0, 12.0], [8.0, 10.0, 12.0]])
    array([0.375, 0.875])
    """
    y, x = _paired(observed, ensemble)
    below = (x < y[..., None]).sum(axis=-1)
    equal = (x == y[..., None]).sum(axis=-1)
    return np.asarray((below + np.asarray(tie_break) * (equal + 1.0)) / (x.shape[-1] + 1.0))


def mean_absolute_error(observed: npt.ArrayLike, foretold: npt.ArrayLike) -> float:
    """Mean of the absolute errors, in the unit of what was foretold.

    Examples
    --------
    >>> mean_absolute_error([100.0, 50.0], [90.0, 54.0])
    7.0
    """
    return float(np.mean(np.abs(_errors(observed, foretold))))


def mean_bias(observed: npt.ArrayLike, foretold: npt.ArrayLike) -> float:
    """Mean of foretold minus observed: above 0 where too much was foretold.

    Examples
    --------
    >>> mean_bias([100.0, 50.0], [90.0, 54.0])
    -3.0
    """
    return float(np.mean(_errors(observed, foretold)))


def mean_error_ratio(observed: npt.ArrayLike, foretold: npt.ArrayLike) -> float:
    """Mean absolute error as a share of the mean that was observed.

    Unlike a mean of percentages it is not ruled by the days on which next to nothing burned.

    Raises
    ------
    ValueError
        If the observations do not add up to more than nothing.

    References
    ----------
    .. [1] Kolassa & Schütz (2007).

    Examples
    --------
    >>> round(mean_error_ratio([100.0, 50.0], [90.0, 54.0]), 4)
    0.0933
    """
    total = float(np.sum(np.asarray(observed, dtype=np.float64)))
    if not total > 0.0:
        raise ValueError(f"the observations must add up to more than 0, got {total:g}")
    return float(np.sum(np.abs(_errors(observed, foretold)))) / total


def _errors(observed: npt.ArrayLike, foretold: npt.ArrayLike) -> Floats:
    y = np.asarray(observed, dtype=np.float64)
    f = np.asarray(foretold, dtype=np.float64)
    if y.shape != f.shape or not y.size:
        raise ValueError(f"give as many forecasts as observations, got shapes {f.shape} and {y.shape}")
    return np.asarray(f - y)


def _paired(observed: npt.ArrayLike, ensemble: npt.ArrayLike) -> tuple[Floats, Floats]:
    y = np.asarray(observed, dtype=np.float64)
    x = np.asarray(ensemble, dtype=np.float64)
    if x.ndim == 0 or x.shape[-1] == 0:
        raise ValueError("an ensemble needs at least one sample on its last axis")
    if x.shape[:-1] != y.shape:
        raise ValueError(f"ensemble must have shape {y.shape} plus samples, got {x.shape}")
    return y, x
