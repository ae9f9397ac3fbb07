"""The compiled filter against its definition as a statsmodels state-space model."""

import numpy as np
import pytest

from forecaster.burn_model import kernel
from forecaster.burn_model.reference import state_space_model

STEPS = 400


def _case(seed: int):
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
    theta = np.array([1.1, 0.5, 0.4, 0.05])
    added = np.where(rng.random(STEPS) < 0.01, 800.0, 0.0)
    level = 1500 - np.cumsum(x @ theta) + np.cumsum(added)
    z = 1 + 0.0009 * rng.uniform(-15, 15, STEPS)
    h = rng.uniform(3, 9, STEPS) ** 2
    y = np.round(level * z / 12) * 12
    y[rng.random(STEPS) < 0.2] = np.nan
    a0 = np.array([1400.0, 1.3, 0.45, 0.5, 0.06, 0.0])
    p0 = np.diag(np.array([600.0, 0.4, 0.15, 0.2, 0.03, 0.14]) ** 2)
    return days, x, added, (0.015 * added) ** 2, y, z, h, a0, p0


def _run(case, *, slow_sd=0.14, noise=0.5):
    days, x, added, added_var, y, z, h, a0, p0 = case
    drift = 0.02 * a0[1:5]
    flags = np.zeros(STEPS, bool)
    innovations, verdicts, expected = np.empty(STEPS), np.empty(STEPS, np.int8), np.empty(STEPS)
    phi = float(np.exp(-1 / 45))
    out = kernel.filter_grid(
        x[None], np.zeros(1, np.int64), days, added, added_var, y, z, h, flags, flags, np.ones(STEPS), a0[None],
        p0[None], np.zeros(1), np.array([slow_sd]), np.ones(1), drift[None], phi, noise, 0.1, 1.0,
        1e9, 0.0, 9, 0.0, 1e9, innovations, verdicts, expected, 0,
    )  # fmt: skip
    model = state_space_model(
        x=x, days=days, burn=expected, added_l=added, added_var=added_var, y=y, z=z, h=h, a0=a0, p0=p0,
        slow_sd=slow_sd, drift_sd=drift, slow_phi=phi, day_noise=noise, floor_sd=0.1,
    )  # fmt: skip
    return out, innovations, model


@pytest.mark.parametrize("seed", range(4))
def test_the_compiled_filter_has_the_likelihood_of_its_definition(seed):
    """Both filters give the same log-likelihood to 1e-10, relative."""
    (_, _, _, loglik), _, model = _run(_case(seed))
    reference = model.ssm.filter()
    assert loglik[0] == pytest.approx(reference.llf_obs.sum(), rel=1e-10)


@pytest.mark.parametrize("seed", range(4))
def test_the_compiled_filter_ends_in_the_state_of_its_definition(seed):
    """Both filters end with the same mean and covariance."""
    (mean, cov, _, _), innovations, model = _run(_case(seed))
    reference = model.ssm.filter()
    np.testing.assert_allclose(mean[0], reference.filtered_state[:, -1], rtol=1e-8, atol=1e-8)
    np.testing.assert_allclose(cov[0], reference.filtered_state_cov[:, :, -1], rtol=1e-6, atol=1e-10)
    z = reference.forecasts_error[0] / np.sqrt(reference.forecasts_error_cov[0, 0])
    np.testing.assert_allclose(innovations[~np.isnan(innovations)], z[~np.isnan(z)], atol=1e-8)
