"""Run the simulated houses of a world and keep their scores with what made them.

Flow     world, seed, houses -> trials of every method -> **rows by history and horizon** -> simulated.json
"""

import platform
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from forecaster.backtest import Cases, paired_ratio, season_of, summarise
from tests.accuracy.data import Floats
from tests.accuracy.rivals import TRADE, Rival, see
from tests.accuracy.rivals.trees import Example, learn, rows_of
from tests.accuracy.run import to_json
from tests.accuracy.simulated.houses import SimulatedHouse, engine, oracle, rivals_of
from tests.accuracy.simulated.trials import HISTORIES, HORIZONS, Trial, as_of_days, run_trials
from tests.accuracy.world import REPORTING, TUNING, World, draw_life

RESULTS = Path(__file__).parents[1] / "simulated.json"
WORLDS: Mapping[str, World] = {"tuning": TUNING, "reporting": REPORTING}
ENGINE, ORACLE = "dipcast", "oracle"
LIFE_D = 1095
TEACHERS = 60
"""Houses of the tuning world from which the trees learn."""
TEACHERS_SEED = 77
EARLY_DAYS = 90
"""Up to so long a history the houses are asked without receipts too. [d]"""
SLOW, SLOW_HOUSES = ("AutoETS", "AutoARIMA"), 30
"""Rivals that take their time, and after how many houses they are left out."""
PACKAGES = ("dipcast", "numpy", "numba", "scipy", "lightgbm", "statsforecast", "scoringrules")


@dataclass(frozen=True, slots=True)
class Row:
    """One method at one history length and horizon, over all houses.

    ``crps_l`` is the better of the score of its samples and of its median as a single number (a rival is
    given the better, ``form`` says which); ``of_oracle`` its ratio to the oracle's, with standard error over
    the houses; ``of_engine`` the engine's score over this one's; ``cover`` the shares within the 50, 80 and
    95 % bands; ``day_error`` the median and mean of the run-dry day's error.
    """

    receipts: bool
    history: str
    horizon_days: int
    method: str
    cases: int
    houses: int
    actual_l: float
    crps_l: float
    form: str
    of_oracle: float
    of_oracle_se: float
    of_engine: float
    of_engine_se: float
    bias_pct: float
    cover: tuple[float, ...]
    day_error: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Cover:
    """The engine's and the oracle's cover of the 50, 80 and 95 % bands in one season."""

    history: str
    season: str
    horizon_days: int
    cases: int
    cover: tuple[float, ...]
    cover_oracle: tuple[float, ...]


def houses_of(world: World, *, seed: int, count: int, first: int = 0) -> Iterator[SimulatedHouse]:
    """Draw houses; each has its own stream of chance, so that more houses leave the first as they are."""
    for number in range(first, first + count):
        life = draw_life(world, np.random.default_rng([seed, number]), days=LIFE_D)
        yield SimulatedHouse(f"{world.name} {number}", life, seed + number)


def examples_of(house: SimulatedHouse) -> Iterator[Example]:
    """What trees can learn from one house, with its receipts and without."""
    from forecaster.backtest import end_of_day, open_window

    for receipts in (True, False):
        record = house.record(receipts=receipts)
        days = as_of_days(record.date)
        for day in days if receipts else days[: len(days) // 4]:
            window = open_window(record.inputs, end_of_day(day.item(), "UTC"))
            row_of = rows_of(see(window, house.years(window.today)))
            for horizon in HORIZONS:
                row = row_of(horizon)
                yield Example(row.features, row.scale_l, record.burned_over_l(window.today, horizon))


def all_rivals(*, teachers: int = TEACHERS) -> Mapping[str, Rival]:
    """Every rival; the trees learn first."""
    from tests.accuracy.rivals import series

    pupils = [
        example
        for house in houses_of(TUNING, seed=TEACHERS_SEED, count=teachers)
        for example in examples_of(house)
    ]
    return {
        **TRADE,
        "AutoETS": series.auto_ets,
        "AutoARIMA": series.auto_arima,
        "LightGBM quantiles": learn(pupils),
    }


def try_house(house: SimulatedHouse, rivals: Mapping[str, Rival]) -> Iterator[tuple[tuple[str, bool], Trial]]:
    """Every method on one house, with receipts, and in its first months without."""
    methods = {ENGINE: engine(house), ORACLE: oracle(house)}
    for receipts in (True, False):
        record = house.record(receipts=receipts)
        days = as_of_days(record.date)
        early = days[(days - record.date[0]).astype(int) < EARLY_DAYS]
        asked = days if receipts else early
        for name, trial in run_trials(record, {**methods, **rivals_of(house, rivals)}, days=asked):
            yield (name, receipts), trial


def rows_of_trials(trials: Mapping[tuple[str, bool], Trial]) -> Iterator[Row]:
    """Score every method by history length and horizon."""
    for (method, receipts), trial in trials.items():
        mine = np.isin(trials[ORACLE, receipts].cases.record, trial.cases.record)
        best, ours = (trials[who, receipts].cases.where(mine) for who in (ORACLE, ENGINE))
        for history, (first, last) in HISTORIES.items():
            held = (best.history_days >= first) & (best.history_days <= last)
            for horizon in HORIZONS:
                at = held & (best.horizon_days == horizon)
                if not at.any():
                    continue
                yield _row(method, receipts, history, horizon, trial, at, best, ours)


def covers_of_trials(trials: Mapping[tuple[str, bool], Trial]) -> Iterator[Cover]:
    """Count how often the engine's bands held what came, by season."""
    ours, best = trials[ENGINE, True].cases, trials[ORACLE, True].cases
    season = season_of(ours.as_of)
    for history, (first, last) in HISTORIES.items():
        held = (ours.history_days >= first) & (ours.history_days <= last)
        for name in dict.fromkeys(season.tolist()):
            for horizon in HORIZONS:
                at = held & (season == name) & (ours.horizon_days == horizon)
                if at.any():
                    yield Cover(
                        history, name, horizon, int(at.sum()),
                        _rounded(summarise(ours.where(at)).cover), _rounded(summarise(best.where(at)).cover),
                    )  # fmt: skip


def main(
    *,
    world: str = "reporting",
    houses: int = 100,
    seed: int | None = None,
    workers: int = 1,
    say: Callable[[str], None] = print,
) -> None:
    """Run a world's houses on fresh seeds (of the hour, unless one is given) and write the results."""
    drawn = seed if seed is not None else int(datetime.now(UTC).strftime("%Y%m%d%H"))
    trials = try_houses(
        WORLDS[world], seed=drawn, count=houses, rivals=all_rivals(), workers=workers, say=say
    )
    RESULTS.write_text(to_json(results_of(trials, world=world, seed=drawn)), encoding="utf-8")


Trials = dict[tuple[str, bool], list[Trial]]
"""By method, and whether receipts were given: one trial a house."""


def try_houses(
    world: World, *, seed: int, count: int, rivals: Mapping[str, Rival], first: int = 0, workers: int = 1,
    say: Callable[[str], None] = print,
) -> Trials:  # fmt: skip
    """Every method on some houses, several at a time; the slow ones on the first thirty."""
    trials: Trials = {}
    quick = {name: rival for name, rival in rivals.items() if name not in SLOW}

    def try_number(number: int) -> list[tuple[tuple[str, bool], Trial]]:
        house = next(houses_of(world, seed=seed, count=1, first=number))
        return list(try_house(house, rivals if number < SLOW_HOUSES else quick))

    for number, found in enumerate(_several(try_number, range(first, first + count), workers), start=first):
        for key, trial in found:
            trials.setdefault(key, []).append(trial)
        if number % 10 == 0:
            say(f"{world.name} world, house {number + 1}")
    return trials


_Found = list[tuple[tuple[str, bool], Trial]]
_work: list[Callable[[int], _Found]] = []
"""What forked workers do: rivals that have learnt are functions, which cannot be sent to another process."""


def _several(work: Callable[[int], _Found], numbers: range, workers: int) -> Iterator[_Found]:
    """Work several numbers at a time, in processes that are copies of this one; in order."""
    if workers < 2:
        yield from map(work, numbers)
        return
    _work[:] = [work]
    with get_context("fork").Pool(workers) as pool:
        yield from pool.imap(_do, numbers)


def _do(number: int) -> _Found:
    return _work[0](number)


def results_of(trials: Trials, *, world: str, seed: int) -> dict[str, object]:
    """Put what is kept of a run together: how it was made, rows, covers, places of the truth."""
    whole = {key: Trial.together(parts) for key, parts in trials.items()}
    ours = whole[ENGINE, True]
    return {
        "world": world,
        "houses": len(trials[ENGINE, True]),
        "seed": seed,
        "date": datetime.now(UTC).date().isoformat(),
        "python": platform.python_version(),
        "versions": {package: version(package) for package in PACKAGES},
        "apart_from_scoringrules_l": float(np.abs(ours.other_crps_l - ours.cases.crps_l).max()),
        "rows": [asdict(row) for row in rows_of_trials(whole)],
        "covers": [asdict(cover) for cover in covers_of_trials(whole)],
        "pit": str(np.histogram(ours.cases.pit, bins=20, range=(0.0, 1.0))[0].tolist()),
    }


def _row(
    method: str, receipts: bool, history: str, horizon: int, trial: Trial, at: np.ndarray, best: Cases,
    ours: Cases,
) -> Row:  # fmt: skip
    cases = trial.cases.where(at)
    told = summarise(cases)
    score, form = _better(cases, method)
    of_oracle = paired_ratio(score, best.crps_l[at], record=cases.record)
    of_engine = paired_ratio(ours.crps_l[at], score, record=cases.record)
    days = np.abs(trial.day_error[at])
    return Row(
        receipts, history, horizon, method, told.cases, told.records, round(told.actual_l, 1),
        round(float(score.mean()), 2), form, *_rounded(of_oracle), *_rounded(of_engine),
        round(100.0 * told.bias_l / told.actual_l, 1), _rounded(told.cover),
        (round(float(np.median(days)), 1), round(float(days.mean()), 1)),
    )  # fmt: skip


def _better(cases: Cases, method: str) -> tuple[Floats, str]:
    """Scores of a method's samples, or of its median as one number where a rival fares better so."""
    as_number = np.abs(cases.median_l - cases.actual_l)
    if method not in (ENGINE, ORACLE) and as_number.mean() <= cases.crps_l.mean():
        return as_number, "one number"
    return cases.crps_l, "samples"


def _rounded(values: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(round(float(v), 3) for v in values)
