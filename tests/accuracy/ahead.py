"""The weather ahead not known: the burn model against the same building's best fit in hindsight.

Both get the same weather years. The best fit knows the building's whole record, those days ahead too, and how far
they stray from it; it lacks the weather alone, so that nobody could foretell that building much better by a line.

Flow     window, weather years -> litres by the burn model, litres by the best fit -> **CRPS of both, paired**
Formula  sample of the best fit = fit(weather year i) + a departure of the record from the fit over as many days,
         of the same season
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from forecaster.backtest import paired_ratio
from forecaster.scores import coverage, crps
from tests.accuracy.baselines import best_fit_in_hindsight
from tests.accuracy.command import as_of_days, weather_ahead, what_came
from tests.accuracy.data import Floats
from tests.accuracy.model import burned_over_years_l, fit
from tests.accuracy.replay import cut_weather, open_window
from tests.accuracy.tanks import House

SEASON_D = 60
"""Departures from the fit are taken from days of the year no further off. [d]"""
LEAST_HISTORY_D = 56
"""History from which on the weather-only score is counted. [d]"""
EVERY_DAYS, EVERY_DAYS_LONG, LONG_D = 14, 28, 1000
"""As-of days; fewer of a long record. [d]"""
SEED = 20240111


@dataclass(frozen=True, slots=True)
class Ahead:
    """The burn model on one building and horizon, the weather ahead not known.

    ``of_best`` is its CRPS over the best fit's, with the standard error over the quarters of the record (nan
    within one); ``cover`` the shares within the 50, 80 and 95 % bands.
    """

    building: str
    horizon_days: int
    forecasts: int
    mean_actual_l: float
    crps_l: float
    crps_best_l: float
    of_best: float
    of_best_se: float | None
    cover: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class _Case:
    as_of: np.datetime64
    actual_l: float
    ours_l: Floats
    best_l: Floats


def score_ahead(house: House, *, horizons: tuple[int, ...], own_years: bool) -> Iterator[Ahead]:
    """Foretell a building through its record by weather years, and score both."""
    cases: dict[int, list[_Case]] = {h: [] for h in horizons}
    predict, rng = best_fit_in_hindsight(house), np.random.default_rng(SEED)
    departures = {h: _departures(house, h) for h in horizons}
    every = EVERY_DAYS if len(house.date) <= LONG_D else EVERY_DAYS_LONG
    for as_of in as_of_days(house, shortest=min(horizons), every_days=every):
        history = int((as_of - house.date[0]).astype(int)) + 1
        came = {h: found[0] for h in horizons if (found := what_came(house, as_of, h)) is not None}
        if history < LEAST_HISTORY_D or not came or np.isnan(house.level_l[history - 1]):
            continue
        window = open_window(house, as_of)
        years = weather_ahead(window, days=max(horizons), own_years=own_years)
        burned_l = burned_over_years_l(fit(window), years)
        for h, actual in came.items():
            fitted = np.array([float(predict(cut_weather(year, 0, h))) for year in years])
            strayed = rng.choice(_of_season(departures[h], as_of), burned_l.shape[0])
            best = np.maximum(np.resize(fitted, burned_l.shape[0]) + strayed, 0.0)
            cases[h].append(_Case(as_of, actual, burned_l[:, :h].sum(axis=1), best))
    for h, found in cases.items():
        if found:
            yield _score(house.name, h, found)


def _departures(house: House, days: int) -> tuple[np.ndarray, Floats]:
    """First days, and by how much what was burned over so many days departed from the best fit."""
    predict = best_fit_in_hindsight(house)
    each = np.array([float(predict(cut_weather(house.weather, d, d + 1))) for d in range(len(house.date))])
    off = np.where(house.known, house.burned_l - each, 0.0)
    sums = np.concatenate([[0.0], np.cumsum(off)])
    unknown = np.concatenate([[0], np.cumsum(~house.known)])
    first = np.arange(len(house.date) - days + 1)
    whole = unknown[first + days] == unknown[first]
    return house.date[first[whole]], (sums[first + days] - sums[first])[whole]


def _of_season(departures: tuple[np.ndarray, Floats], as_of: np.datetime64) -> Floats:
    """Departures that began near the same day of some year; all of them where there are few."""
    date, off = departures
    day, now = _day_of_year(date), _day_of_year(np.array([as_of]))
    apart = np.abs(day - now)
    near = off[np.minimum(apart, 365 - apart) <= SEASON_D]
    return near if len(near) >= SEASON_D else off


def _day_of_year(date: np.ndarray) -> np.ndarray:
    return np.asarray((date - date.astype("datetime64[Y]")).astype(int))


def _score(name: str, days: int, cases: list[_Case]) -> Ahead:
    actual = np.array([c.actual_l for c in cases])
    ours, best = np.array([c.ours_l for c in cases]), np.array([c.best_l for c in cases])
    mine, theirs = crps(actual, ours), crps(actual, best)
    quarters = np.array([c.as_of for c in cases]).astype("datetime64[M]").astype(int) // 3
    ratio, error = paired_ratio(mine, theirs, record=quarters)
    return Ahead(
        name, days, len(cases), round(float(actual.mean()), 1), round(float(mine.mean()), 2),
        round(float(theirs.mean()), 2), round(ratio, 3), None if np.isnan(error) else round(error, 3),
        tuple(round(coverage(actual, ours, level=level), 2) for level in (0.5, 0.8, 0.95)),
    )  # fmt: skip
