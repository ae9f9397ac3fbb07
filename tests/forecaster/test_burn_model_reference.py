"""The compiled filter against its definition as a statsmodels state-space model."""

import numpy as np
import pytest

from forecaster.burn_model import Grid, degrees_of, filtering, kernel, laying, weather_rows
from forecaster.burn_model.lanes import UPPER, spread_out, to_lanes, unpack
from forecaster.burn_model.reference import state_space_model
from forecaster.burn_model.weather_rows import PAIRS

STEPS = 400
ALL = np.ones(STEPS, bool)
REOPENED = np.zeros((STEPS, 4))
REOPENED[STEPS // 2] = np.array([0.4, 0.2, 0.2, 0.5]) ** 2
"""A change for good half way: what comes to the variances, relative to the squares of the priors."""
RULES = (1e9, 0.0, 9, 0.0)
"""No reading is refused: a gate that is a matter of rules has no place in a definition."""


def _case(seed: int, *, stove: bool = True):
    """Random steps of a plausible tank: uneven lengths, gaps, deliveries, changing sensor noise."""
    rng = np.random.default_rng(seed)
    days = rng.choice([0.3, 1.0, 1.0, 1.2], STEPS)
    days[0] = 0.0
    x = (
        np.column_stack(
            [np.ones(STEPS), rng.uniform(0, 12, STEPS), -rng.uniform(0, 3, STEPS), -rng.uniform(0, 8, STEPS)]
        )
        * days[:, None]
    )
    theta = np.array([1.1, 0.5, 0.4, 0.05 * stove])
    added = np.where(rng.random(STEPS) < 0.01, 800.0, 0.0)
    level = 1500 - np.cumsum(x @ theta) + np.cumsum(added)
    z = 1 + 0.0009 * rng.uniform(-15, 15, STEPS)
    h = rng.uniform(3, 9, STEPS) ** 2
    y = np.round(level * z / 12) * 12
    y[rng.random(STEPS) < 0.2] = np.nan
    a0 = np.array([1400.0, 1.3, 0.45, 0.5, 0.06 * stove, 0.0])
    p0 = np.diag(np.array([600.0, 0.4, 0.15, 0.2, 0.03 * stove, 0.14]) ** 2)
    return days, x, added, (0.015 * added) ** 2, y, z, h, a0, p0


def _alone(case, learn, *, slow_sd=0.14, noise=0.5):
    """What the compiled filter takes to follow one point."""
    days, x, added, added_var, y, z, h, a0, p0 = case
    seen = ~np.isnan(y)
    steps = filtering.lay_steps(
        days, added, added_var, np.where(seen, np.arange(STEPS), -1), y, np.sqrt(h), z, np.zeros(STEPS, bool), learn,
        np.repeat(0.02**2 / 30.0 * days[:, None], 4, axis=1) + REOPENED, 45.0, noise, 0.1, 1.0,
    )  # fmt: skip
    point = np.concatenate([a0, p0[UPPER], [0.0, 0.0, 1.0, slow_sd**2], a0[1:5] ** 2])
    return point, x, steps, *RULES, 0.0


def _run(case, *, slow_sd=0.14, noise=0.5, learn=ALL):
    """Both forms of the compiled filter, and the definition, of a house that changes on one day."""
    days, x, added, added_var, y, z, h, a0, p0 = case
    point, _, steps, *_ = alone = _alone(case, learn, slow_sd=slow_sd, noise=noise)
    after, _, innovations, _, expected = filtering.run_alone(*alone)
    points = spread_out(Grid((15.0,), (0.0,), (slow_sd,), (1.0,)))
    lanes = to_lanes(point[None], points)
    wide = np.repeat(x[None, :, :, None], PAIRS, axis=3)
    filtering.run_grid(lanes, wide, steps, *RULES)
    model = state_space_model(
        x=x, days=days, burn=expected, added_l=added, added_var=added_var, y=y, z=z, h=h, a0=a0, p0=p0,
        slow_sd=slow_sd, drift_sd=0.02 * a0[1:5], slow_phi=float(np.exp(-1 / 45)), day_noise=noise, floor_sd=0.1,
        reopened=REOPENED * a0[1:5] ** 2,
    )  # fmt: skip
    return (after, lanes.ravel()[points.place[0]]), innovations, model


@pytest.mark.parametrize("stove", [True, False])
@pytest.mark.parametrize("seed", range(4))
def test_the_compiled_filter_has_the_likelihood_of_its_definition(seed, stove):
    """Both forms of the compiled filter, and its definition, give the same log-likelihood to 1e-10, relative."""
    found, _, model = _run(_case(seed, stove=stove))
    reference = model.ssm.filter()
    for numbers in found:
        assert numbers[filtering.LOGW] == pytest.approx(reference.llf_obs.sum(), rel=1e-10)


@pytest.mark.parametrize("stove", [True, False])
@pytest.mark.parametrize("seed", range(4))
def test_the_compiled_filter_ends_in_the_state_of_its_definition(seed, stove):
    """Both forms of the compiled filter, and its definition, end with the same mean and covariance."""
    found, innovations, model = _run(_case(seed, stove=stove))
    reference = model.ssm.filter()
    for numbers in found:
        np.testing.assert_allclose(numbers[:6], reference.filtered_state[:, -1], rtol=1e-8, atol=1e-8)
        cov = unpack(numbers[filtering.COV : filtering.LOGW])
        np.testing.assert_allclose(cov, reference.filtered_state_cov[:, :, -1], rtol=1e-6, atol=1e-10)
    z = reference.forecasts_error[0] / np.sqrt(reference.forecasts_error_cov[0, 0])
    np.testing.assert_allclose(innovations[~np.isnan(innovations)], z[~np.isnan(z)], atol=1e-8)


def _level_alone(case, learn, expected, *, slow_sd=0.14, noise=0.5):
    """The filter in matrices, whose gain is cut to the level where nothing is learnt; the covariance in Joseph's form.

    That form holds for any gain, so it needs no other algebra where the gain is cut.
    """
    days, x, added, added_var, y, z, h, a, p = case
    loglik = 0.0
    for t in range(STEPS):
        transition = np.eye(6)
        transition[0, 1:5], transition[0, 5] = -x[t], -expected[t]
        transition[5, 5] = np.exp(-days[t] / 45.0)
        q = np.zeros(6)
        q[0] = ((noise * expected[t]) ** 2 / days[t] if days[t] > 0 else 0.0) + 0.01 * days[t] + added_var[t]
        q[1:5] = case[7][1:5] ** 2 * (0.02**2 * days[t] / 30.0 + REOPENED[t])
        q[5] = slow_sd**2 * (1.0 - transition[5, 5] ** 2)
        a, p = transition @ a, transition @ p @ transition.T + np.diag(q)
        a[0] += added[t]
        if np.isnan(y[t]):
            continue
        row = np.eye(6)[0] * z[t]
        f = row @ p @ row + h[t]
        gain = p @ row / f
        if learn[t]:
            loglik -= 0.5 * (np.log(2 * np.pi * f) + (y[t] - row @ a) ** 2 / f)
        else:
            gain[1:] = 0.0
        left = np.eye(6) - np.outer(gain, row)
        a, p = a + gain * (y[t] - row @ a), left @ p @ left.T + np.outer(gain, gain) * h[t]
    return a, p, loglik


@pytest.mark.parametrize("seed", range(3))
def test_a_reading_that_is_not_learnt_from_moves_the_level_alone(seed):
    """With a third of the readings not learnt from, both forms are the filter whose gain is cut to the level, 1e-10."""
    case = _case(seed)
    learn = np.random.default_rng(seed).random(STEPS) > 0.3
    found, _, _ = _run(case, learn=learn)
    expected = filtering.run_alone(*_alone(case, learn))[4]
    a, p, loglik = _level_alone(case, learn, expected)
    for numbers in found:
        np.testing.assert_allclose(numbers[:6], a, rtol=1e-9, atol=1e-9)
        np.testing.assert_allclose(unpack(numbers[filtering.COV : filtering.LOGW]), p, rtol=1e-7, atol=1e-10)
        assert numbers[filtering.LOGW] == pytest.approx(loglik, rel=1e-10)


def test_weather_rows_are_the_days_of_the_kernel_summed():
    """The rows of lanes hold what the plain loop reckons of each day and pair, stove logged or not, to 1e-12."""
    rng = np.random.default_rng(2)
    n = 90
    temp, sun = rng.normal(8.0, 7.0, n), rng.uniform(0.0, 4.0, n)
    kwh, rate = np.where(rng.random(n) < 0.5, 20.0, 0.0), np.where(rng.random(n) < 0.3, np.inf, 0.1)
    base, heat = rng.uniform(0.5, 1.0, n), rng.uniform(0.5, 1.0, n)
    grid = Grid()
    points = spread_out(grid)
    inertias, seasons = np.unique(points.inertia), np.asarray(grid.season_c)
    plain = kernel.regressor_days(
        temp, sun, kwh, rate, base, heat, np.asarray(grid.base_c), inertias, seasons, 1.2, 1.3, 0.4
    )
    degrees = degrees_of(temp, grid=grid, rounding_k=1.2)
    rows = weather_rows.house_rows(degrees.degree_days, sun, kwh, rate, base, heat, 1.3, 0.4)
    at_points = rows[points.row, :, :, points.lane]
    at = (np.searchsorted(inertias, points.inertia), points.prior_index % len(seasons))
    expected = plain[points.prior_index // len(seasons), at[0], at[1]]
    np.testing.assert_allclose(at_points, expected, rtol=1e-12, atol=1e-12)
    edge = np.array([0.25, 0.25, 0.5, 1.0, 3.75, 80.0, 90.0])
    laid = laying.step_rows(degrees.degree_days, sun, kwh, rate, base, heat, 1.3, 0.4, edge)
    summed = laid[points.row, :, :, points.lane]
    so_far = np.concatenate([np.zeros_like(expected[:, :1]), np.cumsum(expected, axis=1)], axis=1)
    below = np.minimum(edge.astype(int), n - 1)
    part = (edge - below)[:, None]
    at_edge = so_far[:, below] * (1 - part) + so_far[:, below + 1] * part
    np.testing.assert_allclose(summed, np.diff(at_edge, axis=1), rtol=1e-10, atol=1e-9)
