"""Replay many tanks of many houses under every rule, and sum up the cycles.

Flow     world, seed -> lives, looks -> replays -> tallies by house -> **rates with their intervals**
"""

import platform
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from functools import cache
from importlib.metadata import version
from pathlib import Path

import numpy as np

from tests.accuracy.closed_loop.looks import RISKS, Looker, engine_looker, oracle_looker
from tests.accuracy.closed_loop.replay import Cycle, House, Rule, forecast_rule, replay_tank, reserve_rule
from tests.accuracy.run import to_json
from tests.accuracy.world import REPORTING, World, draw_life

RESULTS = Path(__file__).parents[1] / "closed_loop.json"
LIFE_D, FROM_DAY = 440, 30
"""Days of a life, and of readings before the first look. [d]"""
SIZES = (0.2, 0.25, 0.3, 0.4, 0.5)
"""Usable litres of the tanks, as parts of a year's burn: small, so that cycles are many. [-]"""
PHASES = 4
"""Tanks of each size, begun at different levels."""
LEAST_SHARE = 0.4
"""The smallest delivery, as a part of the usable litres. [-]"""
RESERVES = tuple(round(0.06 + 0.02 * i, 2) for i in range(48))
"""Of the fixed reserves, as parts of the usable litres. [-]"""
DIPCAST, ORACLE = "dipcast", "oracle"
RESERVE, TRUE_RESERVE = "fixed reserve", "fixed reserve, level known"
"""By the same sensor as the engine has, and by the true level, as the oracle knows it."""
SURE = 0.95
"""Of the intervals."""


@dataclass(frozen=True, slots=True)
class Tally:
    """The cycles of one house under one rule, all its tanks together.

    ``setting`` the risk, or the reserve; ``left_l`` their sum; ``days`` tank-days. [L, d]
    """

    house: int
    rule: str
    setting: float
    cycles: int
    dry: int
    left_l: float
    days: int


@dataclass(frozen=True, slots=True)
class Row:
    """A rule over all houses.

    ``dry_pct`` with the exact interval of a binomial (Clopper & Pearson) and one by resampling whole
    houses; ``left_l`` usable litres at delivery, with its standard error over houses. [%, L]
    """

    rule: str
    setting: float
    cycles: int
    dry: int
    dry_pct: float
    exact_pct: tuple[float, float]
    by_houses_pct: tuple[float, float]
    left_l: float
    left_se_l: float
    deliveries_a_year: float


@dataclass(frozen=True, slots=True)
class Beside:
    """A forecast rule beside the fixed reserve that runs dry as often: its litres left, as a ratio. [-, L]"""

    rule: str
    setting: float
    reserve_rule: str
    reserve: float
    reserve_left_l: float
    left_of_reserve: float


def tally_house(world: World, *, seed: int, number: int, oracle: bool = True) -> Iterator[Tally]:
    """Draw a house and replay its tanks under every rule."""
    life = draw_life(world, np.random.default_rng([seed, number]), days=LIFE_D)
    house = House.of(life)
    yearly = float(life.burned_l[-365:].sum())
    lookers: dict[str, Looker] = {DIPCAST: cache(engine_looker(life, seed=seed + number))}
    if oracle:
        lookers[ORACLE] = cache(oracle_looker(life, seed=seed + number))
    for name, look in lookers.items():
        for risk in RISKS:
            runs = [
                _run(house, forecast_rule(look, risk, least_l=LEAST_SHARE * size * yearly), size * yearly, i)
                for i, size in enumerate(np.tile(SIZES, PHASES))
            ]
            yield _sum_up(number, name, risk, runs)
    yield from tally_reserves(house, number=number)


def tally_reserves(house: House, *, number: int) -> Iterator[Tally]:
    """Replay a house's tanks under every fixed reserve, by the sensor and by the true level."""
    yearly = float(house.life.burned_l[-365:].sum())
    for name, error in ((RESERVE, house.seen_error_l), (TRUE_RESERVE, None)):
        for reserve in RESERVES:
            runs = [
                _run(
                    house, reserve_rule(reserve, least_l=LEAST_SHARE * size * yearly, error_l=error),
                    size * yearly, i,
                )
                for i, size in enumerate(np.tile(SIZES, PHASES))
            ]  # fmt: skip
            yield _sum_up(number, name, reserve, runs)


def _run(house: House, rule: Rule, usable_l: float, tank: int) -> tuple[tuple[Cycle, ...], int]:
    rng = np.random.default_rng([tank, int(house.burned_l.sum())])
    return replay_tank(
        house, rule, usable_l=usable_l, start_l=usable_l * rng.uniform(0.6, 1.0),
        from_day=FROM_DAY, rng=rng,
    )  # fmt: skip


def _sum_up(number: int, rule: str, setting: float, runs: Sequence[tuple[tuple[Cycle, ...], int]]) -> Tally:
    cycles = [cycle for found, _ in runs for cycle in found]
    return Tally(
        number, rule, setting, len(cycles), sum(c.dry for c in cycles), sum(c.left_l for c in cycles),
        sum(days for _, days in runs),
    )  # fmt: skip


def main(
    *, houses: int = 40, seed: int | None = None, world: World = REPORTING, say: Callable[[str], None] = print
) -> None:
    """Run houses on fresh seeds (of the day, unless one is given) and write the results."""
    drawn = seed if seed is not None else int(datetime.now(UTC).strftime("%Y%m%d%H"))
    tallies: list[Tally] = []
    for number in range(houses):
        tallies += tally_house(world, seed=drawn, number=number)
        say(f"{world.name} world, house {number + 1} of {houses}")
    RESULTS.write_text(to_json(results_of(tallies, world=world.name, seed=drawn)), encoding="utf-8")


def rows_of(tallies: Sequence[Tally]) -> list[Row]:
    """Sum up every rule over the houses."""
    rules = dict.fromkeys((t.rule, t.setting) for t in tallies)
    return [_row([t for t in tallies if (t.rule, t.setting) == rule]) for rule in rules]


def _row(tallies: Sequence[Tally]) -> Row:
    from scipy.stats import binomtest

    cycles, dry, left, days = (
        np.array([getattr(t, name) for t in tallies], float) for name in ("cycles", "dry", "left_l", "days")
    )
    exact = binomtest(int(dry.sum()), int(cycles.sum())).proportion_ci(SURE, method="exact")
    drawn = np.random.default_rng(1).integers(0, len(tallies), (2000, len(tallies)))
    rates = dry[drawn].sum(axis=1) / cycles[drawn].sum(axis=1)
    lefts = left[drawn].sum(axis=1) / cycles[drawn].sum(axis=1)
    tail = (1.0 - SURE) / 2.0
    return Row(
        rule=tallies[0].rule, setting=tallies[0].setting, cycles=int(cycles.sum()), dry=int(dry.sum()),
        dry_pct=_pct(dry.sum() / cycles.sum()), exact_pct=(_pct(exact.low), _pct(exact.high)),
        by_houses_pct=(_pct(np.quantile(rates, tail)), _pct(np.quantile(rates, 1.0 - tail))),
        left_l=round(float(left.sum() / cycles.sum()), 1), left_se_l=round(float(lefts.std()), 1),
        deliveries_a_year=round(float(365.25 * cycles.sum() / days.sum()), 2),
    )  # fmt: skip


def same_rate(rows: Sequence[Row], dry_pct: float, *, rule: str = RESERVE) -> tuple[float, float]:
    """Reserve with that rate of run-outs, and its litres left, between the two nearest reserves.

    Examples
    --------
    >>> few = Row(RESERVE, 0.3, 100, 2, 2.0, (0, 0), (0, 0), 100.0, 1.0, 3.0)
    >>> none = Row(RESERVE, 0.5, 100, 0, 0.0, (0, 0), (0, 0), 200.0, 1.0, 3.0)
    >>> same_rate([few, none], 1.0)
    (0.4, 150.0)
    """
    reserves = sorted((r for r in rows if r.rule == rule), key=lambda r: r.setting)
    # a larger reserve never runs dry more often but for chance: the least that is not exceeded later
    rate = np.maximum.accumulate([r.dry_pct for r in reserves][::-1])
    setting = np.array([r.setting for r in reserves][::-1])
    left = np.array([r.left_l for r in reserves][::-1])
    # of equal rates the smallest reserve: the best that such a rule can do
    kept = np.append(np.diff(rate) > 0, True)
    return (
        round(float(np.interp(dry_pct, rate[kept], setting[kept])), 3),
        round(float(np.interp(dry_pct, rate[kept], left[kept])), 1),
    )


def results_of(tallies: Sequence[Tally], *, world: str, seed: int) -> dict[str, object]:
    """Sum up with what made it; of the reserves only those beside a forecast's rate."""
    rows = rows_of(tallies)
    beside = []
    for row in rows:
        for rule in (RESERVE, TRUE_RESERVE):
            if row.rule in (DIPCAST, ORACLE):
                reserve, left = same_rate(rows, row.dry_pct, rule=rule)
                beside.append(Beside(row.rule, row.setting, rule, reserve, left, round(row.left_l / left, 3)))
    packages = ("dipcast", "numpy", "numba", "scipy")
    return {
        "world": world,
        "seed": seed,
        "houses": len({t.house for t in tallies}),
        "date": datetime.now(UTC).date().isoformat(),
        "python": platform.python_version(),
        "versions": {package: version(package) for package in packages},
        "rows": [asdict(row) for row in rows],
        "beside": [asdict(pair) for pair in beside],
    }


def _pct(share: float) -> float:
    return round(100.0 * float(share), 3)
