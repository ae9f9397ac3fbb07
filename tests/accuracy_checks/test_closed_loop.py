"""The closed loop: it replays what is reckoned by hand, and its looks say what the order advice says."""

import json
from datetime import date

import numpy as np
import pytest

from forecaster.reorder import Spells, advise_order
from forecaster.run_dry import chance_dry, run_dry_days
from tests.accuracy.closed_loop.looks import ORDERING, RISKS, engine_looker, look_of, oracle_looker
from tests.accuracy.closed_loop.replay import House, replay_tank, reserve_rule
from tests.accuracy.closed_loop.run import RESERVE, RESULTS, Tally, rows_of, same_rate
from tests.accuracy.world import REPORTING, Life, draw_life

MONDAY = np.datetime64("2024-01-08")
DAYS = 30


@pytest.fixture(scope="module")
def life() -> Life:
    """One house of the reporting world."""
    return draw_life(REPORTING, np.random.default_rng([3, 1]), days=300)


def needs(seed: int, paths: int = 400) -> tuple[np.ndarray, Spells]:
    """What each path needs, and its weather: half of the years cold, and burning more."""
    rng = np.random.default_rng(seed)
    cold = np.repeat([0.0, 8.0], paths // 2)
    daily = (8.0 + 0.6 * cold + rng.normal(0.0, 1.5, paths))[:, None] * rng.uniform(0.7, 1.3, (paths, DAYS))
    temp = 5.0 - cold[:, None] + np.zeros(DAYS)
    need = np.cumsum(np.maximum(daily, 0.0), axis=1) + rng.normal(0.0, 10.0, paths)[:, None]
    return need, Spells(np.full(paths, np.inf), np.arange(paths), temp, np.full(DAYS, 5.0))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_look_says_what_the_order_advice_says(seed: int) -> None:
    """Just below the level at which an order is due the engine's advice is to order today; just above it is not."""
    need, spells = needs(seed)
    look = look_of(need, spells, today=MONDAY)
    for risk in RISKS:
        for factor, due in ((0.97, True), (1.03, False)):
            usable = look.due_below_l[risk] * factor
            # horizon and heel as the rule sees them: the paths go on as they ended, the heel is at zero
            more = need[:, -1:] + (need[:, -1:] - need[:, -2:-1]) * np.arange(1, 40)
            litres = usable - np.concatenate([need, more], axis=1)
            dry = run_dry_days(litres, heel_l=0.0)
            weather = np.concatenate([spells.temp_c, spells.temp_c], axis=1)[:, : litres.shape[1]]
            advice = advise_order(
                litres, chance_dry(dry, days=litres.shape[1]), now_l=np.full(len(need), usable),
                first=date(2024, 1, 8), safe_fill_l=5000.0,
                settings=ORDERING.__class__(
                    lead_days=ORDERING.lead_days, look_every_days=ORDERING.look_every_days, risk=risk
                ),
                spells=Spells(dry, spells.scenario_of, weather, np.full(litres.shape[1], 5.0)),
            )  # fmt: skip
            assert (advice.note == "order_today") is due, (risk, factor)


def test_a_replay_is_reckoned_by_hand(life: Life) -> None:
    """A tank of 500 l that burns 10 l a day and is ordered for at 40 % has what is left after the lead time.

    Looked at every second day, an order is placed at 200 l or up to 20 l less; it comes 3 to 10 working
    days later, which are 3 to 14 days: 40 to 170 l are left, and a rule that orders at 5 % runs dry.
    """
    house = House(life, np.full(300, 10.0), np.zeros(293, np.int64), np.zeros(300))
    run = {"usable_l": 500.0, "start_l": 500.0, "from_day": 10}
    cycles, days = replay_tank(house, reserve_rule(0.4, least_l=100.0), **run, rng=np.random.default_rng(1))
    assert len(cycles) >= 5
    assert not any(cycle.dry for cycle in cycles)
    assert all(25.0 <= cycle.left_l <= 170.0 for cycle in cycles)
    assert 200 < days <= 290
    late, _ = replay_tank(house, reserve_rule(0.05, least_l=100.0), **run, rng=np.random.default_rng(1))
    assert all(cycle.dry and cycle.left_l == 0.0 for cycle in late)


def test_slow_deliveries_leave_less(life: Life) -> None:
    """With five working days more for every delivery, a week's burn less is left, or none."""
    run = {"usable_l": 500.0, "start_l": 500.0, "from_day": 10}
    left = []
    for extra in (0, 5):
        house = House(life, np.full(300, 10.0), np.full(293, extra), np.zeros(300))
        cycles, _ = replay_tank(house, reserve_rule(0.6, least_l=100.0), **run, rng=np.random.default_rng(1))
        left.append(cycles[0].left_l)
    assert left[0] - left[1] == pytest.approx(70.0)


def test_a_sensor_that_shows_too_much_lets_a_reserve_run_lower(life: Life) -> None:
    """Seen 60 l too high, a fixed reserve orders 60 l later: as one of 60 l less that knows the level."""
    house = House(life, np.full(300, 10.0), np.zeros(293, np.int64), np.full(300, 60.0))
    run = {"usable_l": 500.0, "start_l": 500.0, "from_day": 10}
    deceived, _ = replay_tank(
        house,
        reserve_rule(0.5, least_l=300.0, error_l=house.seen_error_l),
        **run,
        rng=np.random.default_rng(1),
    )
    lower, _ = replay_tank(house, reserve_rule(0.38, least_l=360.0), **run, rng=np.random.default_rng(1))
    assert deceived[0] == lower[0]


def test_the_error_of_the_sensor_is_some_centimetres(life: Life) -> None:
    """What the newest sound reading shows too much varies, and is within some centimetres of litres."""
    error = House.of(life).seen_error_l[10:]
    per_cm = life.tank.capacity_l / life.tank.shape.height_mm * 10.0
    assert 0.05 * per_cm < error.std()
    assert np.quantile(np.abs(error), 0.9) < 6.0 * per_cm


def test_the_reserve_of_the_same_rate_lies_between_its_neighbours() -> None:
    """Between reserves that run dry in 2 % and in none, the one of 1 % is half-way."""
    rows = rows_of(
        [Tally(0, RESERVE, 0.3, 100, 2, 10_000.0, 9000), Tally(0, RESERVE, 0.5, 100, 0, 20_000.0, 9000)]
    )
    assert same_rate(rows, 1.0) == (0.4, 150.0)


def test_engine_and_oracle_look_alike(life: Life) -> None:
    """Both say levels that rise as the risk falls; the engine's is above the oracle's, and below three times it."""
    engine, oracle = (looker(life, seed=5)(200) for looker in (engine_looker, oracle_looker))
    for look in (engine, oracle):
        due = [look.due_below_l[risk] for risk in RISKS]
        assert due == sorted(due, reverse=True)
        assert look.burned_least_l < due[-1]
    assert 0.8 * oracle.due_below_l[0.01] < engine.due_below_l[0.01] < 3.0 * oracle.due_below_l[0.01]


def test_rates_have_their_exact_intervals() -> None:
    """Of 1,000 cycles 5 dry: 0.162 to 1.163 %, the exact binomial interval (Clopper & Pearson, by scipy)."""
    row = rows_of([Tally(i, RESERVE, 0.3, 250, dry, 1000.0, 3000) for i, dry in enumerate((2, 1, 2, 0))])[0]
    assert row.dry_pct == 0.5
    assert row.exact_pct == pytest.approx((0.1625, 1.1630), abs=0.002)
    assert row.left_l == 4.0
    assert row.deliveries_a_year == pytest.approx(365.25 * 1000 / 12000, abs=0.01)


def test_the_kept_results_are_of_enough_cycles_and_keep_the_stated_risk() -> None:
    """At every risk at least 3,000 cycles were replayed, and no more ran dry than the risk that was stated."""
    found = json.loads(RESULTS.read_text("utf-8"))
    ours = {row["setting"]: row for row in found["rows"] if row["rule"] == "dipcast"}
    assert set(ours) == set(RISKS)
    for risk, row in ours.items():
        assert row["cycles"] >= 3000
        assert row["dry_pct"] <= 100.0 * risk
        assert row["exact_pct"][1] <= 100.0 * risk
