"""The burn model of one grid point, defined as a statsmodels state-space model.

This is the definition that the compiled filter must reproduce: time-varying system matrices in the
notation of Durbin & Koopman, filtered (and smoothed) by statsmodels. It takes the regressors and
the expected burn of each step as given, since those depend on the course of the filter itself.

State    alpha = (V, theta_base, theta_slope, theta_sun, theta_stove, m)
Source   Durbin & Koopman, Time Series Analysis by State Space Methods, 2nd ed., 2012, ch. 4
"""

from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
STATES = 6


def state_space_model(
    *, x: Floats, days: Floats, burn: Floats, added_l: Floats, added_var: Floats, y: Floats, z: Floats,
    h: Floats, a0: Floats, p0: Floats, slow_sd: float, drift_sd: Floats, slow_phi: float,
    day_noise: float, floor_sd: float, reopened: Floats | None = None,
) -> Any:  # fmt: skip
    """Build the model; call ``.ssm.filter()`` or ``.ssm.smooth()`` on what comes back.

    Parameters
    ----------
    x : float array, shape (step, 4)
        Regressors summed over each step.
    days, added_l, added_var, y, z, h : float arrays, shape (step,)
        As for the compiled filter; ``y`` is nan where nothing was observed.
    burn : float array, shape (step,)
        Expected burn of each step, which scales the noise and the slow departure. [L]
    a0, p0 : float arrays, shapes (6,), (6, 6)
        State before the first step.
    reopened : float array, shape (step, 4), optional
        What comes to the intensities' variances in each step, beside their drift.

    Returns
    -------
    statsmodels MLEModel

    Notes
    -----
    statsmodels' transition matrices act from t to t+1: the weather and the deliveries of step t+1
    stand in column t. The first step is taken before the filter starts, in the initial state.
    """
    from statsmodels.tsa.statespace.mlemodel import MLEModel

    n = len(days)
    transition = np.zeros((STATES, STATES, n))
    intercept = np.zeros((STATES, n))
    noise = np.zeros((STATES, STATES, n))
    for t in range(n):
        transition[:, :, t] = np.eye(STATES)
        transition[0, 1:5, t] = -x[t]
        transition[0, 5, t] = -burn[t]
        transition[5, 5, t] = slow_phi ** days[t]
        intercept[0, t] = added_l[t]
        white = (day_noise * burn[t]) ** 2 / days[t] + floor_sd**2 * days[t] if days[t] > 0 else 0.0
        noise[0, 0, t] = white + added_var[t]
        noise[range(1, 5), range(1, 5), t] = drift_sd**2 * days[t] / 30.0
        if reopened is not None:
            noise[range(1, 5), range(1, 5), t] += reopened[t]
        noise[5, 5, t] = slow_sd**2 * (1 - slow_phi ** (2 * days[t]))
    first = transition[:, :, 0] @ a0 + intercept[:, 0]
    first_cov = transition[:, :, 0] @ p0 @ transition[:, :, 0].T + noise[:, :, 0]

    model = MLEModel(y, k_states=STATES, k_posdef=STATES, initialization="known", initial_state=first,
                     initial_state_cov=first_cov)  # fmt: skip
    model.ssm["design"] = np.concatenate([z[None, None, :], np.zeros((1, STATES - 1, n))], axis=1)
    model.ssm["obs_cov"] = h[None, None, :]
    model.ssm["selection"] = np.eye(STATES)
    # shift by one: what happens in step t+1 acts from t to t+1
    model.ssm["transition"] = np.concatenate([transition[:, :, 1:], np.eye(STATES)[:, :, None]], axis=2)
    model.ssm["state_intercept"] = np.concatenate([intercept[:, 1:], np.zeros((STATES, 1))], axis=1)
    model.ssm["state_cov"] = np.concatenate([noise[:, :, 1:], np.zeros((STATES, STATES, 1))], axis=2)
    return model
