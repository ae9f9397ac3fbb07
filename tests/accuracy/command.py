"""The forecast as a user gets it: files in a folder, `dipcast forecast`, and what its JSON says.

The weather of the days ahead is not known, neither to the command nor to its rivals: the command lays
its own weather years ahead, and each rival foretells the mean over a hundred of the same kind, as the
trade does with normal degree-days.

Flow     house -> files as of a day -> **`dipcast forecast --json`** -> litres burned, band, state -> scores
Formula  litres burned over h days = litres now (50 %) - litres after h days (50 %), nothing delivered
         litres left after h days = true litres at as-of - litres burned, nothing delivered
"""

import json
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from forecaster.climate import (
    WeatherYears,
    draw_weather_years,
    normals_for,
    normals_from_record,
    resample_weather_years,
)
from forecaster.scores import mean_bias, mean_error_ratio
from forecaster.weather import Weather
from tests.accuracy.data import Floats
from tests.accuracy.replay import Method, Window, cut_weather, open_window
from tests.accuracy.tanks import House, input_files

COMMAND = "dipcast forecast"
OWN_YEARS_D = 6 * 366
"""From so much weather of its own on, a house far from all normals gives it as `--years`. [d]"""
EVER_D = 1_000_000
EVERY_DAYS, FIRST_AFTER_DAYS = 28, 28
FIRST_AS_OF = np.datetime64("2000-01-29")
"""The command takes no reading from before 2000: four weeks of them are wanted."""
RIVAL_SCENARIOS = 100
RECENT_DAYS = 60
SEED = 20240110


@dataclass(frozen=True, slots=True)
class Answer:
    """What the command said at the end of one day, with the day and how many days were known."""

    as_of: np.datetime64
    history_days: int
    exit_code: int
    document: Mapping[str, Any]

    @property
    def state(self) -> str:
        """OK, WIDE, CHECK, STALE, BLIND or URGENT; or "not usable" when nothing was answered."""
        return str(self.document["state"]) if self.document else "not usable"

    @property
    def is_told(self) -> bool:
        """Whether it says litres and dates."""
        return self.state in ("OK", "WIDE")

    @property
    def withheld_for(self) -> str:
        """State and codes of the reasons that made it withhold; empty where it was told."""
        if self.is_told:
            return ""
        if not self.document:
            return "not usable"
        codes = [r["code"] for r in self.document["reasons"] if r["state"] == self.state]
        return " ".join([self.state, *codes])

    def burned_l(self, days: int) -> float:
        """Litres foretold to be burned over so many days: 50 % now less 50 % then."""
        return float(self.document["litres"]["p50"] - self.document["daily"][days - 1]["p50"])

    def band_l(self, days: int) -> tuple[float, float]:
        """The 80 % band of the litres left after so many days, nothing delivered."""
        then = self.document["daily"][days - 1]
        return float(then["p10"]), float(then["p90"])


def ask(house: House, as_of: np.datetime64, *, own_years: bool = False) -> Answer:
    """Hand a house's files, up to a day, to the command in this process, and read its JSON.

    With ``own_years`` its own weather is given as `--years` too, as soon as that is long enough.
    """
    from typer.testing import CliRunner

    from api.cli import app

    known_days = int((as_of - house.date[0]).astype(int)) + 1
    with TemporaryDirectory() as name:
        folder = Path(name)
        for file, text in input_files(house, until=as_of).items():
            (folder / file).write_text(text, encoding="utf-8")
        given = {part: f"{part}.csv" for part in ("readings", "weather", "deliveries")}
        given |= {"tank": "tank.toml", "survey": "survey.toml"}
        if own_years and known_days >= OWN_YEARS_D:
            given["years"] = "weather.csv"
        options = [text for part, file in given.items() for text in (f"--{part}", str(folder / file))]
        result = CliRunner().invoke(app, ["forecast", *options, "--as-of", str(as_of), "--json"])
    if result.exit_code not in (0, 2, 3):
        raise RuntimeError(f"{house.name}, {as_of}: {result.output}") from result.exception
    document = json.loads(result.stdout) if result.exit_code != 2 else {}
    return Answer(as_of, known_days, result.exit_code, document)


def as_of_days(house: House, *, shortest: int, every_days: int = EVERY_DAYS) -> Iterator[np.datetime64]:
    """Days at whose end the house is asked for: with a reading, and ``shortest`` known days behind them."""
    for known_days in range(FIRST_AFTER_DAYS, len(house.date) - shortest + 1, every_days):
        as_of = house.date[known_days - 1]
        if np.isfinite(house.level_l[known_days - 1]) and as_of >= FIRST_AS_OF:
            yield as_of


def what_came(house: House, as_of: np.datetime64, days: int) -> tuple[float, float] | None:
    """Litres burned, and litres that would be left with nothing delivered; None where not measured."""
    first = int((as_of - house.date[0]).astype(int)) + 1
    ahead = slice(first, first + days)
    if first + days > len(house.date) or not house.known[ahead].all():
        return None
    burned_l = float(house.burned_l[ahead].sum())
    return burned_l, float(house.true_level_l[first - 1]) - burned_l


def weather_ahead(window: Window, *, days: int, own_years: bool) -> tuple[Weather, ...]:
    """Weather years for the rivals, drawn as the engine draws them for the place."""
    start, rng = window.as_of + 1, np.random.default_rng(SEED)
    near = normals_for(latitude=window.latitude, longitude=window.longitude)
    recent = cut_weather(window.weather, -RECENT_DAYS, len(window.date))
    if own_years and len(window.date) >= OWN_YEARS_D:
        normals = normals_from_record(window.weather, like=near)
        years = resample_weather_years(
            window.weather, start=start, days=days, scenarios=RIVAL_SCENARIOS, rng=rng, recent=recent,
            normals=normals,
        )  # fmt: skip
    else:
        years = draw_weather_years(
            near, start=start, days=days, scenarios=RIVAL_SCENARIOS, rng=rng, recent=recent
        )
    return tuple(_as_weather(years, scenario) for scenario in range(RIVAL_SCENARIOS))


def foretell_over(method: Method, window: Window, years: tuple[Weather, ...], *, days: int) -> float:
    """Litres that a rival foretells, the mean over weather years."""
    predict = method(window)
    return float(np.mean([predict(cut_weather(weather, 0, days)) for weather in years]))


@dataclass(frozen=True, slots=True)
class CommandScore:
    """The command or a rival on one building, span and horizon, over the answers that were told.

    ``error_pct`` mean absolute error and ``bias_pct`` mean of foretold less actual, of the mean actual
    litres; ``cover_80`` share of true levels within the 80 % band, ``band_pct`` mean width of that band
    over the mean burn; both None for a rival.
    """

    building: str
    span: str
    method: str
    horizon_days: int
    forecasts: int
    mean_actual_l: float
    error_pct: float
    bias_pct: float
    cover_80: float | None
    band_pct: float | None


@dataclass(frozen=True, slots=True)
class Telling:
    """How often the command told, by building: states, and what it withheld for."""

    building: str
    asked: int
    states: dict[str, int]
    withheld_for: dict[str, int]


@dataclass(frozen=True, slots=True)
class _Case:
    """One told answer at one horizon, with what came and what the rivals foretold."""

    history_days: int
    actual_l: float
    left_l: float
    band_l: tuple[float, float]
    foretold_l: Mapping[str, float]


def score_command(
    houses: tuple[House, ...],
    *,
    name: str,
    horizons: tuple[int, ...],
    rivals: Mapping[str, Method],
    every_days: int = EVERY_DAYS,
    own_years: bool = False,
) -> tuple[list[CommandScore], Telling]:
    """Ask the command through each house's record, and score what it told.

    A rival is scored on the days on which the command told, and on no other.
    """
    answers: list[Answer] = []
    cases: dict[int, list[_Case]] = {h: [] for h in horizons}
    for house in houses:
        for as_of in as_of_days(house, shortest=min(horizons), every_days=every_days):
            answer = ask(house, as_of, own_years=own_years)
            answers.append(answer)
            if not answer.is_told:
                continue
            window = open_window(house, as_of)
            years = weather_ahead(window, days=max(horizons), own_years=own_years)
            for h in horizons:
                came = what_came(house, as_of, h)
                if came is None:
                    continue
                foretold = {r: foretell_over(method, window, years, days=h) for r, method in rivals.items()}
                foretold[COMMAND] = answer.burned_l(h)
                cases[h].append(_Case(answer.history_days, *came, answer.band_l(h), foretold))
    scores = [
        score
        for span, first, stop in _spans(own_years)
        for h in horizons
        for method in (COMMAND, *rivals)
        for score in _score([c for c in cases[h] if first <= c.history_days < stop], method)
        for score in [replace(score, building=name, span=span, horizon_days=h)]
    ]
    return scores, count_answers(name, answers)


def count_answers(name: str, answers: list[Answer]) -> Telling:
    """Count the states, and what was withheld for."""
    withheld = Counter(answer.withheld_for for answer in answers if not answer.is_told)
    states = Counter(answer.state for answer in answers)
    return Telling(name, len(answers), dict(states.most_common()), dict(withheld.most_common()))


def _spans(own_years: bool) -> tuple[tuple[str, int, int], ...]:
    if not own_years:
        return (("from day 28", 0, EVER_D),)
    return (("normals of 212 km away", 0, OWN_YEARS_D), ("own weather years", OWN_YEARS_D, EVER_D))


def _score(cases: list[_Case], method: str) -> Iterator[CommandScore]:
    if not cases:
        return
    actual = np.array([c.actual_l for c in cases])
    foretold = np.array([c.foretold_l[method] for c in cases])
    left = np.array([c.left_l for c in cases])
    low, high = np.array([c.band_l for c in cases]).T
    mean_l = float(actual.mean())
    is_command = method == COMMAND
    yield CommandScore(
        building="",
        span="",
        method=method,
        horizon_days=0,
        forecasts=len(cases),
        mean_actual_l=round(mean_l, 1),
        error_pct=round(100.0 * mean_error_ratio(actual, foretold), 2),
        bias_pct=round(100.0 * mean_bias(actual, foretold) / mean_l, 2),
        cover_80=round(float(((low <= left) & (left <= high)).mean()), 3) if is_command else None,
        band_pct=round(100.0 * float((high - low).mean()) / mean_l, 1) if is_command else None,
    )


def _as_weather(years: WeatherYears, scenario: int) -> Weather:
    temp_c: Floats = years.temp_c[scenario]
    unknown = np.full(len(temp_c), np.nan)
    date = years.start + np.arange(len(temp_c))
    return Weather(date, temp_c, unknown, unknown, years.ghi_wh_m2[scenario])
