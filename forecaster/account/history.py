"""Draws of what happened: the burn model's state at every step, given all that was seen before and after.

The filter knows at each step what was seen up to then; the account asks what was burned in March, seen
from today. So the filter is run forward and the state drawn backward, at each of the heavier points of
the grid, as many draws as the point's weight gives it.

Flow     steps, posterior's weights -> filter forward -> **draws backward** -> litres by month
Formula  J = P T' (P⁺)⁻¹;  α | α⁺, y ~ N(a + J (α⁺ − T a − c), P − J P⁺ J')
Source   forward filtering, backward sampling: Carter & Kohn, Biometrika 81 (1994) 541-553, from memory;
         notation of Durbin & Koopman 2012
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.units import Floats

STATES = 6
"""V, four intensities, and the slow relative departure m, as in the burn model."""
BURN_FLOOR_L = 0.3
"""Noise and slow departure scale with the expected burn, never with less than this. [l/d]"""
JITTER = 1e-12
"""Added to the correlations before they are inverted. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class System:
    """The burn model over some steps, at some points of its grid.

    Attributes
    ----------
    x
        Regressors summed over each step, shape (point, step, 4).
    days, added_l, added_var, burn_var
        Of each step, shape (step,): its length; oil put in and the variance of it; and variance of the burn
        beyond the days' noise (weather that is assumed). [d, l, l², l²]
    opened
        What each intensity's variance grows by in each step, by drift and by a change of the house, relative to
        the square of its prior, shape (step, 4). [-]
    y, z, at_least
        Level at the step's end (nan: none), bulk litres per litre at 15 C, and whether the level is a
        lower bound, shape (step,). [l, -, -]
    h
        Variance of the level, shape (point, step). [l²]
    a0, p0
        State before the first step: (point, 6), (point, 6, 6).
    slow_sd, scale
        Of each point: (point,), and the intensities' priors, (point, 4).
    slow_phi, day_noise, floor_sd_l
        As the burn model's settings say.
    """

    x: Floats
    days: Floats
    added_l: Floats
    added_var: Floats
    burn_var: Floats
    opened: Floats
    y: Floats
    z: Floats
    at_least: npt.NDArray[np.bool_]
    h: Floats
    a0: Floats
    p0: Floats
    slow_sd: Floats
    scale: Floats
    slow_phi: float
    day_noise: float
    floor_sd_l: float


@dataclass(frozen=True, slots=True, eq=False)
class Draws:
    """Draws of the past.

    Attributes
    ----------
    state
        At the beginning and after each step, shape (draw, step + 1, 6).
    burned_l
        In each step, shape (draw, step). [l at 15 C]
    unexplained_l
        Change of the level in each step that is neither burn nor ticket, shape (draw, step). [l]
    """

    state: Floats
    burned_l: Floats
    unexplained_l: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Forward:
    """What the filter leaves behind: before each step and after the last, or of each step."""

    mean: Floats  # (step + 1, point, 6), after the level at the step's end was used
    cov: Floats
    predicted: Floats  # (step, point, 6), before it was used
    predicted_cov: Floats
    row: Floats  # (step, point, 6): first row of the transition
    burn_noise: Floats  # (step, point): variance


def draw_history(system: System, *, point: npt.NDArray[np.intp], normals: Floats) -> Draws:
    """Draw the past, given all levels.

    Parameters
    ----------
    system : System
    point : int array, shape (draw,)
        Point of the grid that each draw belongs to.
    normals : float array, shape (draw, step + 1, 7)
        Independent standard normals; zeros give the smoothed means.

    Returns
    -------
    Draws
    """
    forward = _filter(system)
    steps = len(system.days)
    state = np.empty((len(point), steps + 1, STATES))
    state[:, steps] = forward.mean[steps][point] + _spread(forward.cov[steps], point, normals[:, steps, :6])
    for t in range(steps - 1, -1, -1):
        gain, left = _backward(forward, system, t)
        off = state[:, t + 1] - forward.predicted[t][point]
        state[:, t] = forward.mean[t][point] + np.einsum("dij,dj->di", gain[point], off)
        state[:, t] += _spread(left, point, normals[:, t, :6])
    burned, unexplained = _split(system, forward, state, point, normals[:, 1:, 6])
    return Draws(state, burned, unexplained)


def _filter(s: System) -> _Forward:
    points, steps = s.x.shape[:2]
    forward = _Forward(
        np.empty((steps + 1, points, STATES)), np.empty((steps + 1, points, STATES, STATES)),
        np.empty((steps, points, STATES)), np.empty((steps, points, STATES, STATES)),
        np.empty((steps, points, STATES)), np.empty((steps, points)),
    )  # fmt: skip
    a, p = s.a0.copy(), s.p0.copy()
    forward.mean[0], forward.cov[0] = a, p
    diagonal = np.arange(1, 5)
    for t in range(steps):
        days = s.days[t]
        burn = np.maximum(np.einsum("gq,gq->g", s.x[:, t], a[:, 1:5]), BURN_FLOOR_L * days)
        phi = s.slow_phi**days
        transition = _transition(s.x[:, t], burn, phi)
        noise = (s.day_noise * burn) ** 2 / days + s.floor_sd_l**2 * days if days > 0 else 0.0 * burn
        noise = noise + s.burn_var[t]
        a = np.einsum("gij,gj->gi", transition, a)
        a[:, 0] += s.added_l[t]
        p = transition @ p @ transition.transpose(0, 2, 1)
        p[:, 0, 0] += noise + s.added_var[t]
        p[:, diagonal, diagonal] += s.scale**2 * s.opened[t]
        p[:, 5, 5] += s.slow_sd**2 * (1.0 - phi * phi)
        forward.row[t], forward.burn_noise[t] = transition[:, 0], noise
        forward.predicted[t], forward.predicted_cov[t] = a, p
        if not math.isnan(s.y[t]):
            a, p = _update(a, p, y=s.y[t], z=s.z[t], h=s.h[:, t], at_least=bool(s.at_least[t]))
        forward.mean[t + 1], forward.cov[t + 1] = a, p
    return forward


def _transition(x: Floats, burn: Floats, phi: float) -> Floats:
    out = np.broadcast_to(np.eye(STATES), (len(x), STATES, STATES)).copy()
    out[:, 0, 1:5] = -x
    out[:, 0, 5] = -burn
    out[:, 5, 5] = phi
    return out


def _update(a: Floats, p: Floats, *, y: float, z: float, h: Floats, at_least: bool) -> tuple[Floats, Floats]:
    """Use one level; a lower bound counts one-sided, as a normal cut off below it."""
    miss = y - z * a[:, 0]
    f = z * z * p[:, 0, 0] + h
    gain = p[:, :, 0] * (z / f)[:, None]
    shift, shrink = miss, np.ones_like(f)
    if at_least:
        from scipy.special import erfcx

        away = miss / np.sqrt(f)
        hazard = math.sqrt(2.0 / math.pi) / erfcx(np.clip(away, -30.0, None) / math.sqrt(2.0))
        shift = np.where(miss > 0, hazard * np.sqrt(f), 0.0)
        shrink = np.where(miss > 0, hazard * (hazard - away), 0.0)
    a = a + gain * shift[:, None]
    p = p - gain[:, :, None] * gain[:, None, :] * (f * shrink)[:, None, None]
    return a, (p + p.transpose(0, 2, 1)) / 2.0


def _backward(forward: _Forward, s: System, t: int) -> tuple[Floats, Floats]:
    """Gain and remaining covariance of the state before step t, given the one after it."""
    p, ahead = forward.cov[t], forward.predicted_cov[t]
    transition = _transition(s.x[:, t], -forward.row[t][:, 5], s.slow_phi ** s.days[t])
    scale = np.sqrt(np.einsum("gii->gi", ahead))
    scale = np.where(scale > 0, scale, 1.0)  # a stove that is not there has no spread
    correlation = ahead / (scale[:, :, None] * scale[:, None, :]) + JITTER * np.eye(STATES)
    crossed = (transition @ p) / scale[:, :, None]  # D⁻¹ T P
    gain = np.linalg.solve(_regular(correlation), crossed).transpose(0, 2, 1) / scale[:, None, :]
    left = p - gain @ ahead @ gain.transpose(0, 2, 1)
    return gain, left


def _regular(correlation: Floats) -> Floats:
    """A matrix whose empty rows have a one on the diagonal, so that it can be inverted."""
    empty = np.einsum("gii->gi", correlation) < 0.5
    return np.asarray(correlation + np.einsum("gi,ij->gij", empty.astype(float), np.eye(STATES)))


def _spread(cov: Floats, point: npt.NDArray[np.intp], normals: Floats) -> Floats:
    """Normals with the covariance of each draw's point, shape (draw, 6)."""
    if not normals.any():
        return np.zeros_like(normals)
    scale = np.sqrt(np.maximum(np.einsum("gii->gi", cov), 0.0))
    safe = np.where(scale > 0, scale, 1.0)
    values, vectors = np.linalg.eigh(cov / (safe[:, :, None] * safe[:, None, :]))
    root = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :] * scale[:, :, None]
    return np.asarray(np.einsum("dij,dj->di", root[point], normals))


def _split(
    s: System, forward: _Forward, state: Floats, point: npt.NDArray[np.intp], normals: Floats
) -> tuple[Floats, Floats]:
    """Split what each step leaves over between the burn and what was put in, as their variances say."""
    expected = -np.einsum("tdj,dtj->dt", forward.row[:, point, 1:], state[:, :-1, 1:])
    over = state[:, 1:, 0] - state[:, :-1, 0] - s.added_l + expected
    by_burn, other = forward.burn_noise.T[point], s.added_var
    both = by_burn + other
    share = np.divide(other, both, out=np.zeros_like(both), where=both > 0)
    spread = np.sqrt(share * by_burn)
    unexplained = np.where(other > 0, share * over + spread * normals, 0.0)
    # what the level says, so that the account adds up to the last digit
    burned = state[:, :-1, 0] + s.added_l + unexplained - state[:, 1:, 0]
    return np.asarray(burned), np.asarray(unexplained)
