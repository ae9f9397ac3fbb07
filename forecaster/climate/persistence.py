"""How weather lasts: two components, one of days and one of weeks, and where they stand today.

Flow     daily anomalies of the last weeks -> **state (fast, slow)** -> weather years that start from it
Formula  u' = phi u + sqrt(1 - phi^2) e;  v' = 0.96 v + sqrt(1 - 0.96^2) e;  x = sqrt(1 - w) u + sqrt(w) v
         Kalman filter of two states without observation noise
Source   Kalman 1960, J. Basic Eng. 82, 35 (standard); the parameters: table weather_classes
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

MEMORY_DAYS = 60
"""Anomalies further back say nothing that these do not. [d]"""
_NOISE = 1e-6


def follow(x: Floats, *, slow_share: Floats, phi_fast: float, phi_slow: float) -> tuple[Floats, Floats]:
    """Follow the two components through standardised anomalies.

    Parameters
    ----------
    x : float array, shape (series, day)
        Anomalies of unit variance; nan where unknown.
    slow_share : float array, shape (day,) or (series, day)
        Share of the slow component in the variance.
    phi_fast, phi_slow
        What is left of a component after a day.

    Returns
    -------
    mean : float array, shape (series, 2)
        Fast and slow component on the last day.
    covariance : float array, shape (series, 2, 2)

    Examples
    --------
    >>> mean, cov = follow(np.array([[2.0]]), slow_share=np.array([0.25]), phi_fast=0.6, phi_slow=0.96)
    >>> mean.round(3), cov[0].diagonal().round(3)
    (array([[1.732, 1.   ]]), array([0.25, 0.75]))
    """
    phi = np.array([phi_fast, phi_slow])
    share = np.broadcast_to(slow_share, x.shape)
    mean = np.zeros((x.shape[0], 2))
    cov = np.broadcast_to(np.eye(2), (x.shape[0], 2, 2)).copy()
    for day in range(x.shape[1]):
        mean = mean * phi
        cov = cov * np.outer(phi, phi) + np.diag(1.0 - phi**2)
        weight = np.sqrt(np.stack([1.0 - share[:, day], share[:, day]], axis=-1))
        seen = np.isfinite(x[:, day])
        reach = np.einsum("nij,nj->ni", cov, weight)
        gain = reach / (np.einsum("ni,ni->n", reach, weight) + _NOISE)[:, None] * seen[:, None]
        miss = np.where(seen, x[:, day], 0.0) - np.einsum("ni,ni->n", mean, weight) * seen
        mean = mean + gain * miss[:, None]
        cov = cov - np.einsum("ni,nj->nij", gain, reach)
    return mean, cov


def autocorrelation(lag: int, *, slow_share: float, phi_fast: float, phi_slow: float) -> float:
    """Autocorrelation of x at a lag of days, where the slow share is constant.

    Examples
    --------
    >>> round(autocorrelation(1, slow_share=0.166, phi_fast=0.621, phi_slow=0.96), 4)
    0.6773
    """
    return float((1.0 - slow_share) * phi_fast**lag + slow_share * phi_slow**lag)
