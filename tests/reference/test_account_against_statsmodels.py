"""Draws of the past against the smoother of statsmodels.

Source   the library statsmodels: its smoothed states and covariances (Durbin & Koopman 2012, ch. 4) of the
         same state-space model.
"""

import numpy as np
import pytest

from forecaster.account.history import System, draw_history
from forecaster.burn_model.reference import state_space_model

STEPS = 60
REOPENED = np.zeros((STEPS, 4))
REOPENED[30] = np.array([0.4, 0.2, 0.2, 0.5]) ** 2
"""A change of the house half way."""


def _system(seed: int) -> tuple[System, np.ndarray]:
    """A plausible tank of random steps, at one point of the grid."""
    rng = np.random.default_rng(seed)
    days = rng.choice([0.5, 1.0, 1.3], STEPS)
    days[0] = 0.0
    x = np.column_stack(
        [np.ones(STEPS), rng.uniform(2, 12, STEPS), -rng.uniform(0, 3, STEPS), -rng.uniform(0, 8, STEPS)]
    )
    x *= days[:, None]
    added = np.where(np.arange(STEPS) == 25, 800.0, 0.0)
    level = 1500 - np.cumsum(x @ np.array([1.1, 0.5, 0.4, 0.05])) + np.cumsum(added)
    y = np.round(level / 12) * 12
    y[rng.random(STEPS) < 0.2] = np.nan
    a0 = np.array([1400.0, 1.3, 0.45, 0.5, 0.06, 0.0])
    p0 = np.diag(np.array([600.0, 0.4, 0.15, 0.2, 0.03, 0.14]) ** 2)
    system = System(
        x=x[None], days=days, added_l=added, added_var=(0.015 * added) ** 2, burn_var=np.zeros(STEPS),
        opened=np.repeat(0.02**2 / 30.0 * days[:, None], 4, axis=1) + REOPENED, y=y,
        z=1 + 0.0009 * rng.uniform(-15, 15, STEPS),
        at_least=np.zeros(STEPS, bool), h=rng.uniform(3, 9, (1, STEPS)) ** 2, a0=a0[None], p0=p0[None],
        slow_sd=np.array([0.14]), scale=a0[None, 1:5], slow_phi=float(np.exp(-1 / 45)),
        day_noise=0.3, floor_sd_l=0.1,
    )  # fmt: skip
    return system, _burn(system)


def _burn(system: System) -> np.ndarray:
    """What the filter expects of each step: the model's noise scales with it."""
    from forecaster.account.history import _filter

    return -_filter(system).row[:, 0, 5]


def _smoothed(system: System, burn: np.ndarray):
    model = state_space_model(
        x=system.x[0], days=system.days, burn=burn, added_l=system.added_l, added_var=system.added_var,
        y=system.y, z=system.z, h=system.h[0], a0=system.a0[0], p0=system.p0[0],
        slow_sd=float(system.slow_sd[0]), drift_sd=0.02 * system.scale[0],
        reopened=REOPENED * system.scale[0] ** 2, slow_phi=system.slow_phi, day_noise=system.day_noise,
        floor_sd=system.floor_sd_l,
    )  # fmt: skip
    return model.ssm.smooth()


@pytest.mark.parametrize("seed", range(3))
def test_draws_without_chance_are_the_smoothed_states(seed: int) -> None:
    """With all normals at zero the draw is the smoothed mean of statsmodels, at every step."""
    system, burn = _system(seed)
    draws = draw_history(system, point=np.zeros(1, int), normals=np.zeros((1, STEPS + 1, 7)))
    reference = _smoothed(system, burn).smoothed_state.T
    np.testing.assert_allclose(draws.state[0, 1:], reference, rtol=1e-6, atol=1e-6)


def test_draws_spread_as_the_smoother_says() -> None:
    """Six thousand draws have the smoothed covariances, within what so many draws leave open."""
    system, burn = _system(7)
    count = 6_000
    normals = np.random.default_rng(1).standard_normal((count, STEPS + 1, 7))
    draws = draw_history(system, point=np.zeros(count, int), normals=normals)
    reference = _smoothed(system, burn).smoothed_state_cov
    for step in (0, 25, 40, STEPS - 1):
        sd = np.sqrt(np.diag(reference[:, :, step]))
        # of a standard deviation 6,000 draws leave open 0.9 %: five times that
        np.testing.assert_allclose(draws.state[:, step + 1].std(axis=0), sd, rtol=0.046)
        found = np.corrcoef(draws.state[:, step + 1].T)
        np.testing.assert_allclose(found, reference[:, :, step] / np.outer(sd, sd), atol=0.065)


def test_each_draw_adds_up() -> None:
    """Level before, tickets and what is unexplained, less what was burned, are the level after."""
    system, _ = _system(3)
    normals = np.random.default_rng(2).standard_normal((50, STEPS + 1, 7))
    draws = draw_history(system, point=np.zeros(50, int), normals=normals)
    left = draws.state[:, :-1, 0] + system.added_l + draws.unexplained_l - draws.burned_l
    np.testing.assert_allclose(left, draws.state[:, 1:, 0], atol=1e-8)
    assert np.all(draws.unexplained_l[:, system.added_l == 0] == 0)
    assert draws.unexplained_l[:, 25].std() > 1.0


def test_without_chance_nothing_is_unexplained_but_at_a_ticket() -> None:
    """What tickets leave open is shared with the burn as their variances say: here mostly the ticket's."""
    system, _ = _system(4)
    draws = draw_history(system, point=np.zeros(1, int), normals=np.zeros((1, STEPS + 1, 7)))
    expected = np.einsum("tq,dtq->dt", system.x[0], draws.state[:, :-1, 1:5])
    over = draws.burned_l - expected
    assert abs(draws.unexplained_l[0, 25]) > abs(over[0, 25] - expected[0, 25] * draws.state[0, 25, 5])
