"""The extra spread that houses kept aside taught, and what it does to a forecast."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.burn_model import Settings
from forecaster.burn_model.stored import settings_digest
from forecaster.forecast import draw_chances, draw_states
from forecaster.surprise import LEVELS, ExtraSpread, Pooled, extra_spread, spread_needed
from forecaster.tables import read_table
from tests.forecaster.test_forecast import posterior


def pooled(rng: np.random.Generator, *, told: float, true: float, cases: int = 600) -> Pooled:
    """Forecasts that say so much relative spread of burns that truly have another."""
    samples = 200.0 * np.exp(told * rng.standard_normal((cases, 100)))
    return Pooled(samples, 200.0 * np.exp(true * rng.standard_normal(cases)))


@pytest.mark.parametrize("extra", [0.05, 0.1, 0.2])
def test_what_is_too_narrow_is_widened_on_other_houses_too(extra: float) -> None:
    """The spread learnt on some forecasts makes the bands of others hold what they say, within 5 points."""
    rng = np.random.default_rng(3)
    learnt = spread_needed([pooled(rng, told=0.1, true=float(np.hypot(0.1, extra)))])
    assert learnt == pytest.approx(extra, abs=0.03)
    others = pooled(rng, told=0.1, true=float(np.hypot(0.1, extra)))
    assert np.abs(others.widened(learnt).covers() - LEVELS).max() < 0.05


def test_honest_bands_stay_as_they_are() -> None:
    """Where the bands hold what they say nearly nothing is added, and where they are too wide nothing at all."""
    rng = np.random.default_rng(4)
    assert spread_needed([pooled(rng, told=0.1, true=0.1, cases=2000)]) <= 0.03
    assert spread_needed([pooled(rng, told=0.2, true=0.1)]) == 0.0


def test_each_lead_counts_the_same() -> None:
    """Of two leads, one honest and one too narrow, neither is forgotten: the spread lies in between."""
    rng = np.random.default_rng(5)
    honest, narrow = pooled(rng, told=0.1, true=0.1), pooled(rng, told=0.1, true=0.25)
    alone = spread_needed([narrow])
    assert spread_needed([honest]) < spread_needed([honest, narrow]) < alone


@given(st.floats(0.0, 5000.0), st.floats(0.0, 5000.0))
def test_the_curve_stays_within_its_knots(one: float, other: float) -> None:
    """The packaged spread is never below nothing or above its greatest knot, and moves little from day to day."""
    curve = extra_spread()
    for days in (one, other):
        assert curve.spread.min() <= curve.at(days) <= curve.spread.max()
    assert abs(curve.at(one) - curve.at(one + 1.0)) <= curve.spread.max()


def test_the_table_says_where_it_comes_from() -> None:
    """Each knot names world, seed, houses, cases and what its bands held; it is not of the world reported on."""
    rows = read_table("extra_spread")
    assert [float(r["history_days"]) for r in rows] == sorted(float(r["history_days"]) for r in rows)
    for row in rows:
        assert row["world"] == "tuning"
        assert int(row["houses"]) >= 100
        assert int(row["cases"]) >= 100
        assert row["seed"]
        assert row["held_before"]
        assert row["held_with_it"]
        assert 0.0 <= float(row["spread"]) <= 0.3


def test_the_table_was_learnt_with_the_settings_of_today() -> None:
    """Settings of the burn model that changed since need the spread learnt anew: `make spread`."""
    assert extra_spread().made_with == settings_digest(Settings()).hex()


def test_a_forecast_is_widened_by_its_history() -> None:
    """The burn of a house just met spreads by the table's first knot, of one long known by its last."""
    curve = extra_spread()
    chances = draw_chances(paths=4000, days=2, day_noise=0.3, rng=np.random.default_rng(2))
    new = replace(posterior(), observed_from=posterior().at)
    old = replace(posterior(), observed_from=posterior().at - np.timedelta64(900, "D"))
    for known, knot in ((new, curve.spread[0]), (old, curve.spread[-1])):
        _, state = draw_states(known, chances)
        assert np.log(state[:, 1]).std() == pytest.approx(knot, rel=0.05, abs=1e-9)
        assert state[:, 1].mean() == pytest.approx(1.0, abs=0.01)
        np.testing.assert_allclose(state[:, 2] / state[:, 1], 0.5, rtol=1e-12)


def test_no_extra_spread_leaves_the_states_alone() -> None:
    """With a spread of nothing, each path has the state of its grid point."""
    chances = draw_chances(paths=100, days=2, day_noise=0.3, rng=np.random.default_rng(2))
    _, state = draw_states(posterior(), chances, spread=0.0)
    np.testing.assert_array_equal(state[:, 1], np.ones(100))


def test_a_curve_of_one_knot_is_the_same_everywhere() -> None:
    """One knot holds for every history."""
    assert ExtraSpread(np.array([10.0]), np.array([0.1]), "").at(3.0) == 0.1
