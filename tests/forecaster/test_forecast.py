"""Litres paths: what must hold of any tank with the same draws."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from forecaster.burn_model import Posterior
from forecaster.burn_model.steps import Drivers
from forecaster.forecast import (
    Chances,
    Paths,
    daily_oil_c,
    draw_chances,
    draw_states,
    lay_degrees_ahead,
    simulate_litres,
    simulate_passages,
)
from forecaster.fuel import to_bulk_litres
from forecaster.run_dry import run_dry_days

DAYS, SCENARIOS, PATHS = 30, 50, 2000


def chances(*, seed: int = 2, day_noise: float = 0.5) -> Chances:
    """Random numbers of some paths."""
    return draw_chances(paths=PATHS, days=DAYS, day_noise=day_noise, rng=np.random.default_rng(seed))


def posterior(*, sd_l: float = 4.0) -> Posterior:
    """A tank with 600 l whose house burns 1 l a day and half a litre a degree-day, at two base temperatures."""
    mean = np.array([[600.0, 1.0, 0.5, 0.0, 0.0, 0.0]] * 2)
    cov = np.zeros((2, 6, 6))
    cov[:, 0, 0] = sd_l**2
    two = np.full(2, 0.0)
    return Posterior(
        at=np.datetime64("2024-01-10T00:00:00"), base_c=np.array([15.0, 16.0]), inertia=two, season_c=two + np.inf,
        slow_sd=two, noise=two + 1, mean=mean, cov=cov, weight=np.array([0.25, 0.75]), smooth_c=two + 5, mild_c=5.0,
        kappa=0.0, omega=0.0,
        innovations=np.empty(0), verdicts=np.empty(0, np.int8), observed_from=np.datetime64("2023-11-01T00:00:00"),
    )  # fmt: skip


def drivers(temp_c: float) -> Drivers:
    """Every scenario at one temperature, without sun and stove."""
    flat = np.zeros((SCENARIOS, DAYS))
    day = np.zeros(DAYS)
    return Drivers(
        date=np.datetime64("2024-01-10") + np.arange(DAYS), temp_c=flat + temp_c, sun_kwh_m2=flat, stove_kwh=day,
        stove_rate=day + 1.0, base_factor=flat + 1.0, heat_factor=day + 1.0,
    )  # fmt: skip


def simulate(temp_c: float = 5.0, **instead: Any) -> Paths:
    """Paths of the tank in that weather, its oil at 15 °C."""
    given: dict[str, Any] = {
        "day_share": np.ones(DAYS), "oil_c": np.full((SCENARIOS, DAYS), 15.0), "oil_now_c": 15.0,
        "density_15c": 803.0, "promised_l": np.zeros(DAYS), "chances": chances(),
    } | instead  # fmt: skip
    return simulate_litres(given.pop("posterior", posterior()), drivers(temp_c), **given)


def test_the_mean_burn_is_that_of_the_house() -> None:
    """At 5 °C the two bases burn 6 and 6.5 l a day, weighed 1 to 3; day noise has mean 1, so it moves nothing."""
    burned = simulate().burned_l.mean()
    assert burned == pytest.approx(0.25 * 6.0 + 0.75 * 6.5, rel=0.01)


def test_recalibrated_litres_are_what_was_there_less_what_burned() -> None:
    """Where bands are drawn apart the litres follow the burn told, in warm oil as at 15 °C, and promises stay."""
    from forecaster.calibration import packaged_calibration

    held = packaged_calibration()
    wide = replace(held, score=2.0 * held.score)
    promised = np.where(np.arange(DAYS) == 3, 200.0, 0.0)
    shared: dict[str, Any] = {
        "oil_c": np.full((SCENARIOS, DAYS), 25.0),
        "oil_now_c": 25.0,
        "promised_l": promised,
    }
    as_simulated, told = simulate(**shared), simulate(**shared, calibration=wide)
    swollen = to_bulk_litres(1.0, np.asarray(25.0), 803.0)
    burned = np.cumsum(told.burned_l, axis=1)
    assert told.litres == pytest.approx(told.now_l[:, None] + swollen * (np.cumsum(promised) - burned))
    assert told.burned_l[:, :7].sum(axis=1).std() > 1.2 * as_simulated.burned_l[:, :7].sum(axis=1).std()


def test_litres_are_what_was_there_less_what_burned() -> None:
    """At 15 °C a path's litres are its start less all that it burned, and each day burns something."""
    paths = simulate()
    assert paths.litres == pytest.approx(paths.now_l[:, None] - np.cumsum(paths.burned_l, axis=1))
    assert (paths.burned_l > 0).all()


def test_colder_is_never_less_on_any_path() -> None:
    """With the same draws each day of each path burns at least as much when it is colder."""
    assert (simulate(0.0).burned_l >= simulate(5.0).burned_l).all()


def test_a_promise_raises_every_path_from_its_day_on() -> None:
    """An order placed counts in full on each path, from its day on and not before."""
    promised = np.zeros(DAYS)
    promised[10] = 500.0
    more = simulate(promised_l=promised).litres - simulate().litres
    assert more[:, :10] == pytest.approx(np.zeros((PATHS, 10)))
    assert more[:, 10:] == pytest.approx(np.full((PATHS, DAYS - 10), 500.0))


def test_what_levels_share_widens_the_whole_path() -> None:
    """The common error of all levels moves a path as a whole: now and every day by the same litres."""
    plain, off = simulate(), simulate(offset_sd_l=20.0)
    moved = off.litres - plain.litres
    assert moved == pytest.approx(np.repeat((off.now_l - plain.now_l)[:, None], DAYS, axis=1))
    assert moved[:, 0].std() == pytest.approx(20.0, rel=0.1)


def test_warm_oil_stands_higher_than_cold_oil() -> None:
    """The same litres at 15 °C are more bulk litres in summer: about 0.9 per cent for ten degrees."""
    warm = simulate(oil_c=np.full((SCENARIOS, DAYS), 25.0)).litres
    assert (warm / simulate().litres).mean() == pytest.approx(1.0094, abs=0.0005)


def test_half_a_day_burns_half() -> None:
    """Of the day of as-of only the part that lies ahead burns."""
    share = np.ones(DAYS)
    share[0] = 0.5
    half = simulate(day_share=share).burned_l
    assert half[:, 0] == pytest.approx(0.5 * simulate().burned_l[:, 0])
    assert half[:, 1:] == pytest.approx(simulate().burned_l[:, 1:])


def test_grid_points_are_drawn_by_their_weight() -> None:
    """Three paths of four take the point with three quarters of the weight, to within one path."""
    point, _ = draw_states(posterior(), chances())
    assert abs(int((point == 1).sum()) - 0.75 * PATHS) <= 1


def test_intensities_are_never_negative() -> None:
    """However unsure an intensity is, no path draws it below zero."""
    unsure = posterior()
    cov = unsure.cov.copy()
    cov[:, 1, 1] = 9.0
    _, state = draw_states(replace(unsure, cov=cov), chances())
    assert state[:, 1].min() == 0.0
    assert state[:, 1].max() > 3.0


def test_the_same_seed_draws_the_same() -> None:
    """Random numbers are settled by the seed, and another seed gives others."""
    assert simulate().litres.tolist() == simulate().litres.tolist()
    assert simulate(chances=chances(seed=3)).litres.tolist() != simulate().litres.tolist()


def test_day_noise_is_of_the_size_asked_for() -> None:
    """A day's factor is positive, has mean 1 and the stated spread."""
    factor = chances().day
    assert factor.min() > 0
    assert factor.mean() == pytest.approx(1.0, abs=0.01)
    assert factor.std() == pytest.approx(0.5, rel=0.05)


def test_oil_follows_the_air_slowly() -> None:
    """After a fall of the air the oil outdoors cools day by day and never passes it; buried it hardly moves."""
    air = np.r_[np.full(5, 12.0), np.full(20, 2.0)]
    outdoors, buried = daily_oil_c(air, location="outdoors"), daily_oil_c(air, location="buried")
    assert (np.diff(outdoors[5:]) < 0).all()
    assert outdoors.min() >= 2.0
    assert np.ptp(buried) < np.ptp(outdoors) / 2


def test_passages_are_those_of_the_whole_paths() -> None:
    """The lean way gives the same first day at the heel and the same litres, sun, stove and promise included."""
    rng = np.random.default_rng(4)
    mean = np.array([[300.0, 1.0, 0.5, 0.3, 0.04, 0.1]] * 3)
    cov = np.diag([16.0, 0.04, 0.01, 0.01, 0.0, 0.02])[None].repeat(3, axis=0)
    known = replace(
        posterior(), base_c=np.array([15.0, 16.0, 16.0]), inertia=np.array([0.0, 0.0, 0.6]),
        season_c=np.array([np.inf, 14.5, 9.0]), mild_c=4.5, mean=mean, cov=cov,
        slow_sd=np.full(3, 0.2), smooth_c=np.array([4.0, 4.0, 6.0]), weight=np.array([0.2, 0.3, 0.5]),
        kappa=0.6, omega=0.1,
    )  # fmt: skip
    ahead = replace(
        drivers(0.0), temp_c=rng.normal(4.0, 6.0, (SCENARIOS, DAYS)),
        sun_kwh_m2=rng.uniform(0.0, 3.0, (SCENARIOS, DAYS)), stove_kwh=np.where(np.arange(DAYS) % 2, 15.0, 0.0),
        stove_rate=np.where(np.arange(DAYS) % 4, 0.1, np.inf),
    )  # fmt: skip
    promised = np.where(np.arange(DAYS) == 12, 40.0, 0.0)
    oil_c = rng.normal(8.0, 3.0, (SCENARIOS, DAYS))
    shared = {
        "day_share": np.ones(DAYS), "promised_l": promised, "offset_sd_l": 5.0, "chances": chances(),
    }  # fmt: skip
    whole = simulate_litres(known, ahead, oil_c=oil_c, oil_now_c=9.0, density_15c=803.0, **shared)
    lean = simulate_passages(
        known, ahead, lay_degrees_ahead(ahead.temp_c, known), bulk_per_15c=to_bulk_litres(1.0, oil_c, 803.0),
        bulk_per_15c_now=float(to_bulk_litres(1.0, np.asarray(9.0), 803.0)), heel_l=120.0,
        told=np.array([0, 13, 29]), **shared,
    )  # fmt: skip
    dry = run_dry_days(whole.litres, heel_l=120.0)
    assert 0.1 < np.isfinite(dry).mean() < 1.0
    np.testing.assert_array_equal(lean.run_dry, dry)
    # degree-days of a place are kept in single precision
    np.testing.assert_allclose(lean.litres, whole.litres[:, [0, 13, 29]], atol=1e-4)
    np.testing.assert_allclose(lean.now_l, whole.now_l, rtol=1e-12)


@pytest.mark.parametrize("heel_l", [0.0, 30.0, 595.0])
def test_a_passage_over_several_stretches_is_that_of_the_whole_path(heel_l: float) -> None:
    """Over 150 days the first day at the heel is that of the whole path, with warm and cold oil and any offset."""
    days, rng = 150, np.random.default_rng(8)
    none = np.zeros(days)
    ahead = Drivers(
        np.datetime64("2024-01-10") + np.arange(days), rng.normal(6.0, 6.0, (SCENARIOS, days)),
        np.zeros((SCENARIOS, days)), np.ones((SCENARIOS, days)), none + 1.0, none, none + 1.0,
    )  # fmt: skip
    many = draw_chances(paths=500, days=days, day_noise=0.3, rng=rng)
    promised, oil_c = np.where(np.arange(days) == 70, 200.0, 0.0), rng.normal(10.0, 12.0, (SCENARIOS, days))
    shared = {
        "day_share": np.where(np.arange(days) == 0, 0.4, 1.0), "promised_l": promised, "offset_sd_l": 40.0,
        "chances": many,
    }  # fmt: skip
    whole = simulate_litres(posterior(), ahead, oil_c=oil_c, oil_now_c=9.0, density_15c=803.0, **shared)
    lean = simulate_passages(
        posterior(), ahead, lay_degrees_ahead(ahead.temp_c, posterior()),
        bulk_per_15c=to_bulk_litres(1.0, oil_c, 803.0), bulk_per_15c_now=1.0, heel_l=heel_l,
        told=np.array([63, 64, 100]), **shared,
    )  # fmt: skip
    np.testing.assert_array_equal(lean.run_dry, run_dry_days(whole.litres, heel_l=heel_l))
    np.testing.assert_allclose(lean.litres, whole.litres[:, [63, 64, 100]], atol=1e-3)


def test_degree_days_of_another_grid_are_refused() -> None:
    """Degree-days laid for one grid are no use for a tank with another."""
    other = replace(posterior(), base_c=np.array([12.0, 13.0]))
    with pytest.raises(ValueError, match="another grid"):
        simulate_passages(
            posterior(), drivers(5.0), lay_degrees_ahead(drivers(5.0).temp_c, other), day_share=np.ones(DAYS),
            bulk_per_15c=np.ones((SCENARIOS, DAYS)), bulk_per_15c_now=1.0, promised_l=np.zeros(DAYS), heel_l=50.0,
            told=np.array([5]), chances=chances(),
        )  # fmt: skip


def test_states_drawn_have_the_mean_and_covariance_of_their_point() -> None:
    """Over many draws mean and covariance are the point's, and a state without variance stays where it is."""
    root = np.random.default_rng(3).normal(size=(6, 6))
    root[4] = 0.0
    cov = root @ root.T
    known = replace(posterior(), mean=np.full((2, 6), 50.0), cov=np.stack([cov, cov]))
    many = draw_chances(paths=200_000, days=1, day_noise=0.2, rng=np.random.default_rng(5))
    _, state = draw_states(known, many, spread=0.0)
    np.testing.assert_allclose(state.mean(axis=0), np.full(6, 50.0), atol=0.03)
    np.testing.assert_allclose(np.cov(state.T), cov, atol=0.1)
    assert (state[:, 4] == 50.0).all()


def test_a_slow_departure_begins_at_nothing_and_settles_at_its_size() -> None:
    """Nothing on the first day; after several fading times its spread is that of a settled departure: one."""
    slow = draw_chances(
        paths=4000, days=120, day_noise=0.2, rng=np.random.default_rng(6), slow_days=20.0
    ).slow
    assert (slow[:, 0] == 0.0).all()
    assert slow[:, -1].std() == pytest.approx(1.0, abs=0.05)
    assert np.corrcoef(slow[:, 90], slow[:, 110])[0, 1] == pytest.approx(np.exp(-1.0), abs=0.06)
