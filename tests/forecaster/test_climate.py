"""Normals and weather years: means kept, spread and memory as designed, sun within the sky's limits."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.climate import (
    Normals,
    check_place,
    draw_weather_years,
    extraterrestrial_wh_m2,
    normal_day,
    normals_for,
    normals_from_record,
    resample_weather_years,
)
from forecaster.climate.curves import MONTH_OF_DAY, daily_curve, monthly_means
from forecaster.climate.generator import manner_of, without_skew
from forecaster.climate.persistence import autocorrelation, follow
from forecaster.errors import WeatherError
from forecaster.weather import Weather

YEAR = np.arange("2025-01-01", "2026-01-01", dtype="datetime64[D]")
NEW_YEAR = np.datetime64("2025-01-01")
PLACES = ["Dublin Airport", "Bedford", "Lerwick", "München", "Oslo-Blindern", "Duluth MN", "Highland"]


def generator(seed: int = 1) -> np.random.Generator:
    """Make a seeded source of chance."""
    return np.random.default_rng(seed)


def years_of(name: str, scenarios: int, *, trend: float = 0.0) -> tuple[Normals, np.ndarray, np.ndarray]:
    """Draw calendar years for a place of the table."""
    normals = normals_for(place=name)
    drawn = draw_weather_years(
        normals, start=NEW_YEAR, days=365, scenarios=scenarios, rng=generator(), trend_c_per_decade=trend
    )
    return normals, drawn.temp_c, drawn.ghi_wh_m2


def record_of(name: str, years: int, *, seed: int = 7, sun: bool = True) -> Weather:
    """Make a record of some years by the generator, unbroken from one into the next."""
    start = np.datetime64("1990-01-01")
    days = int(years * 365.25)
    drawn = draw_weather_years(
        normals_for(place=name),
        start=start,
        days=days,
        scenarios=1,
        rng=generator(seed),
        trend_c_per_decade=0.0,
    )
    nothing = np.full(days, np.nan)
    ghi = drawn.ghi_wh_m2[0] if sun else nothing
    return Weather(start + np.arange(days), drawn.temp_c[0], nothing, nothing, ghi)


# ---- curves and sun


@given(st.lists(st.floats(-20.0, 30.0), min_size=12, max_size=12))
def test_curves_keep_smooth_monthly_means(values: list[float]) -> None:
    """Whatever the 12 values, however unlike a season, the curve's monthly means are near: 5 % of their range."""
    spread = max(values) - min(values)
    curve = daily_curve(values)
    assert np.abs(monthly_means(curve) - values).mean() <= 0.05 * spread + 1e-9


@pytest.mark.parametrize("place", PLACES)
def test_normal_days_keep_the_normals(place: str) -> None:
    """The smooth course has the normals' monthly means: to 0.01 degC and 1 % of the sun."""
    normals = normals_for(place=place)
    temp, ghi = normal_day(normals, YEAR)
    np.testing.assert_allclose(monthly_means(temp), normals.temp_c, atol=0.01)
    np.testing.assert_allclose(monthly_means(ghi), normals.ghi_wh_m2, rtol=0.01)
    assert np.abs(np.diff(temp)).max() < 0.5


def test_leap_day_has_normals() -> None:
    """29 February takes the 28th's temperature."""
    temp, _ = normal_day(normals_for(place="Bedford"), np.array(["2024-02-28", "2024-02-29"], "M8[D]"))
    assert temp[0] == temp[1]


@given(day=st.integers(0, 20_000), latitude=st.floats(-89.0, 89.0))
def test_the_sky_is_never_brighter_than_its_ceiling(day: int, latitude: float) -> None:
    """Outside the atmosphere a day brings 0 to 13.6 kWh/m2."""
    sun = extraterrestrial_wh_m2(np.datetime64(day, "D"), latitude)
    assert 0.0 <= sun <= 13_600.0


@pytest.mark.parametrize("latitude", [43.0, 53.4, 60.0])
@pytest.mark.parametrize(
    "date", ["2024-01-10", "2024-03-20", "2024-05-05", "2024-06-21", "2024-09-01", "2024-10-15"]
)
def test_the_ceiling_is_that_of_pvlib(date: str, latitude: float) -> None:
    """A day's extraterrestrial sun equals pvlib's sun positions integrated over it, within 1.6 %.

    The declination is taken once a day here, which matters most at 60 degrees in January and October.
    """
    import pandas as pd
    from pvlib.irradiance import get_extra_radiation
    from pvlib.solarposition import get_solarposition

    times = pd.date_range(date, periods=288, freq="5min", tz="UTC")
    height = np.cos(np.radians(get_solarposition(times, latitude, 0.0)["zenith"].to_numpy()))
    strength = np.asarray(get_extra_radiation(times, solar_constant=1367.0))
    reference = (np.maximum(height, 0.0) * strength).sum() / 12.0
    assert extraterrestrial_wh_m2(np.datetime64(date), latitude) == pytest.approx(reference, rel=0.016)


# ---- which normals


def test_nearest_by_distance_and_height() -> None:
    """A valley beside a hill station takes the lower place a little further off."""
    low = normals_for(latitude=57.01, longitude=-3.4, elevation_m=330)
    assert low.name == "Braemar"
    coast = normals_for(latitude=57.15, longitude=-2.1, elevation_m=20)
    assert coast.name != "Braemar"


def test_height_moves_temperature() -> None:
    """A house 100 m above the place is 0.65 degC colder all year."""
    low = normals_for(place="Durham")
    high = normals_for(place="Durham", elevation_m=low.elevation_m + 100.0)
    np.testing.assert_allclose(low.temp_c - high.temp_c, 0.65)


def test_far_places_are_pointed_out_or_refused() -> None:
    """Normals from far away or another height carry a note; from another part of the world they are refused."""
    madrid = normals_for(latitude=40.4, longitude=-3.7)
    assert any("km away" in n for n in madrid.notes)
    summit = normals_for(latitude=47.0, longitude=8.5, elevation_m=1800)
    assert any("m above Basel-Binningen" in n for n in summit.notes)
    with pytest.raises(WeatherError, match="long record"):
        normals_for(latitude=-33.9, longitude=151.2)


@pytest.mark.parametrize(
    ("place", "name"),
    [
        ("BT47 6XX", "Northern Ireland"),
        ("bt47", "Northern Ireland"),
        ("ZE", "Shetland"),
        ("LA9 7QA", "West Pennines Wales / West Pennines England"),
        ("dublin airport", "Dublin Airport"),
        ("Munchen", "München"),
        ("valentia", "Valentia Observatory"),
        ("Shetland", "Shetland"),
        ("UK average", "UK average"),
    ],
)
def test_places_by_name_region_and_postcode(place: str, name: str) -> None:
    """A place's name, in any case or without accents, a region or a postcode finds its normals."""
    assert normals_for(place=place).name == name


@pytest.mark.parametrize(
    "given_",
    [{}, {"place": ""}, {"place": "Atlantis"}, {"latitude": 53.0}, {"latitude": 95.0, "longitude": 0.0}],
)
def test_a_place_that_says_nothing_is_refused(given_: dict[str, object]) -> None:
    """Nothing, an unknown name, half a coordinate and no coordinate are refused with what to give."""
    with pytest.raises(WeatherError) as caught:
        normals_for(**given_)  # type: ignore[arg-type]
    assert caught.value.problems[0].mend.startswith("give")


def test_every_place_has_whole_normals() -> None:
    """All places and regions have 12 temperatures, 12 suns within the sky's ceiling, and a source."""
    from forecaster.climate import normals as table

    held = [*table._places(), *table._regions()]
    assert len(held) == 60 + 22
    for normals in held:
        clear = normals.ghi_wh_m2 / monthly_means(extraterrestrial_wh_m2(YEAR, normals.latitude))
        assert np.isfinite(normals.temp_c).all()
        assert ((clear > 0.15) & (clear < 0.66)).all(), normals.name
        assert normals.source
        assert normals.region_class in {"ireland", "england", "continental", "nordic", "east_north_america"}


def test_scotland_and_wales_state_their_class() -> None:
    """Places whose weather class is assumed say so in their source."""
    assert "assumed for Wales" in normals_for(place="Valley").source
    assert "assumed for Scotland" in normals_for(place="Braemar").source
    assert "assumed" not in normals_for(place="Oxford").source


def test_weather_of_another_place_is_told() -> None:
    """Weather on average over 8 degC off the normals is a problem; a mild year is not."""
    normals = normals_for(place="Bedford")
    mild = record_of("Bedford", 1)
    assert check_place(mild, normals) is None
    assert check_place(replace(mild, temp_c=mild.temp_c + 3.0), normals) is None
    told = check_place(replace(mild, temp_c=32.0 + 1.8 * mild.temp_c), normals)
    assert told is not None
    assert "Bedford" in told.mend


# ---- drawn years


@pytest.mark.parametrize("place", ["Dublin Airport", "Bedford", "Oslo-Blindern", "Duluth MN"])
def test_monthly_means_are_the_normals(place: str) -> None:
    """Over 4,000 years the drawn monthly means are within 0.1 degC of the normals, the sun within 2 %.

    The standard error of a monthly mean of 4,000 years is 0.04 degC at Duluth, the worst. The sun's
    mean moves a little where the clearness is held within its limits.
    """
    normals, temp, ghi = years_of(place, 4000)
    np.testing.assert_allclose(monthly_means(temp.mean(axis=0)), normals.temp_c, atol=0.1)
    np.testing.assert_allclose(monthly_means(ghi.mean(axis=0)), normals.ghi_wh_m2, rtol=0.02)


def test_anomalies_have_unit_variance_and_the_stated_memory() -> None:
    """The anomaly x has mean 0, variance 1 and lag-1 autocorrelation phi + w (0.96 - phi), each day.

    4,000 draws: standard error of a variance 0.022, of a correlation 0.009, and averaged over a season
    a fraction of that.
    """
    normals, temp, _ = years_of("Dublin Airport", 4000)
    manner = manner_of(normals)
    x = without_skew((temp - manner.mean_c) / manner.sd_c, manner.skew)
    assert x.mean() == pytest.approx(0.0, abs=0.01)
    np.testing.assert_allclose(x.var(axis=0), 1.0, atol=0.1)
    assert x.var() == pytest.approx(1.0, abs=0.01)
    for first in (10, 100, 190, 280):  # mid-season
        span = slice(first, first + 20)
        after = slice(first + 1, first + 21)
        measured = (x[:, span] * x[:, after]).mean()
        expected = np.mean(
            [
                autocorrelation(1, slow_share=w, phi_fast=manner.phi_fast, phi_slow=manner.phi_slow)
                for w in manner.slow_share[span]
            ]
        )
        assert measured == pytest.approx(expected, abs=0.02)


def test_spread_grows_with_the_annual_range() -> None:
    """Inland weather varies more than the coast's: Duluth's January spread is over twice Dublin's."""
    dublin, inland = manner_of(normals_for(place="Dublin Airport")), manner_of(normals_for(place="Duluth MN"))
    assert inland.sd_c[15] > 2.0 * dublin.sd_c[15]


def test_sun_stays_below_the_ceiling_and_goes_with_temperature() -> None:
    """Clearness stays within 0.03 and its top; mild winter days are dull, warm summer days bright."""
    normals, temp, ghi = years_of("Bedford", 1000)
    clear = ghi / extraterrestrial_wh_m2(YEAR, normals.latitude)
    assert clear.min() >= 0.03
    assert clear.max() <= 0.8
    winter, summer = MONTH_OF_DAY == 0, MONTH_OF_DAY == 6
    off = temp - temp.mean(axis=0)

    def together(days: np.ndarray) -> float:
        return float(np.corrcoef(off[:, days].ravel(), (clear - clear.mean(axis=0))[:, days].ravel())[0, 1])

    assert together(winter) == pytest.approx(-0.29, abs=0.05)
    assert together(summer) == pytest.approx(0.43, abs=0.05)


def test_warming_is_a_setting() -> None:
    """A trend of 0.3 degC per decade adds 0.03 degC for each year since the middle of the normals."""
    normals, still, _ = years_of("Bedford", 500)
    _, warmer, _ = years_of("Bedford", 500, trend=0.3)
    added = 0.03 * (2025.5 - normals.middle_year)
    assert (warmer - still).mean() == pytest.approx(added, abs=0.002)


def test_same_seed_same_weather() -> None:
    """Chance comes from the generator alone."""
    one, two = years_of("Bedford", 50), years_of("Bedford", 50)
    np.testing.assert_array_equal(one[1], two[1])
    np.testing.assert_array_equal(one[2], two[2])


def cold_weeks(off_c: float, normals: Normals) -> Weather:
    """Make two months before 2025 that are off the normals by so much."""
    date = NEW_YEAR - 60 + np.arange(60)
    nothing = np.full(60, np.nan)
    return Weather(date, normal_day(normals, date)[0] + off_c, nothing, nothing, nothing)


def test_draws_start_from_the_last_weeks() -> None:
    """After a cold spell the next days are cold and surer; two months later nothing is left of it."""
    normals = replace(normals_for(place="Bedford"), trend_c_per_decade=0.0)
    how = {"start": NEW_YEAR, "days": 90, "scenarios": 4000}
    usual = draw_weather_years(normals, rng=generator(), **how).temp_c  # type: ignore[arg-type]
    recent = cold_weeks(-5.0, normals)
    cold = draw_weather_years(normals, rng=generator(), recent=recent, **how).temp_c  # type: ignore[arg-type]
    change = (cold - usual).mean(axis=0)
    assert change[0] < -3.0
    assert change[10] < -0.5
    assert abs(change[80:].mean()) < 0.15
    assert cold[:, 0].std() < 0.8 * usual[:, 0].std()
    assert cold[:, 60:].std() == pytest.approx(usual[:, 60:].std(), rel=0.05)


def test_weather_from_the_start_on_is_not_looked_at() -> None:
    """Later rows in ``recent`` change no draw."""
    normals = normals_for(place="Bedford")
    recent = cold_weeks(-5.0, normals)
    longer = Weather(
        np.concatenate([recent.date, NEW_YEAR + np.arange(30)]),
        *[np.concatenate([c, np.full(30, 25.0)]) for c in (recent.temp_c, *[np.full(60, np.nan)] * 3)],
    )
    draws = [
        draw_weather_years(normals, start=NEW_YEAR, days=20, scenarios=50, rng=generator(), recent=r).temp_c
        for r in (recent, longer)
    ]
    np.testing.assert_array_equal(*draws)


def test_no_recent_weather_is_no_condition() -> None:
    """Two months of gaps leave the draws as wide as ever."""
    normals = normals_for(place="Bedford")
    blank = replace(cold_weeks(0.0, normals), temp_c=np.full(60, np.nan))
    drawn = draw_weather_years(normals, start=NEW_YEAR, days=5, scenarios=4000, rng=generator(), recent=blank)
    assert drawn.temp_c[:, 0].std() == pytest.approx(manner_of(normals).sd_c[0], rel=0.05)


def test_the_filter_knows_what_the_states_were() -> None:
    """Followed through simulated anomalies, the two components are found with the stated error."""
    rng = generator(3)
    phi, share = np.array([0.65, 0.96]), 0.17
    state = rng.standard_normal((4000, 2))
    x = np.empty((4000, 60))
    for day in range(60):
        state = state * phi + np.sqrt(1.0 - phi**2) * rng.standard_normal((4000, 2))
        x[:, day] = state @ np.sqrt([1.0 - share, share])
    mean, cov = follow(x, slow_share=np.full(60, share), phi_fast=phi[0], phi_slow=phi[1])
    error = mean - state
    np.testing.assert_allclose(error.mean(axis=0), 0.0, atol=0.05)
    np.testing.assert_allclose(error.var(axis=0), cov[0].diagonal(), rtol=0.1)
    assert cov[0, 1, 1] < 0.7


# ---- resampled years


def test_resampled_years_are_days_of_the_record() -> None:
    """At the same season the drawn temperatures have the record's own mean and spread."""
    record = record_of("Bedford", 30)
    drawn = resample_weather_years(
        record, start=NEW_YEAR, days=365, scenarios=900, rng=generator(), trend_c_per_decade=0.0
    )
    assert drawn.effective_years == 30
    assert drawn.source.startswith(f"{drawn.effective_years} years of the record given (1990 to ")
    month = record.date.astype("datetime64[M]").astype(int) % 12
    own = np.bincount(month, record.temp_c) / np.bincount(month)
    np.testing.assert_allclose(monthly_means(drawn.temp_c.mean(axis=0)), own, atol=0.35)
    assert drawn.temp_c.std() == pytest.approx(record.temp_c.std(), rel=0.03)
    assert np.isfinite(drawn.ghi_wh_m2).all()
    assert drawn.ghi_wh_m2.mean() == pytest.approx(record.ghi_wh_m2.mean(), rel=0.03)


def test_temperature_and_sun_of_a_day_stay_together() -> None:
    """Resampled years keep the record's correlation of temperature and sun."""
    record = record_of("München", 40)
    drawn = resample_weather_years(
        record, start=np.datetime64("2025-07-01"), days=31, scenarios=800, rng=generator()
    )
    off = drawn.temp_c - drawn.temp_c.mean(axis=0)
    bright = drawn.ghi_wh_m2 - drawn.ghi_wh_m2.mean(axis=0)
    assert np.corrcoef(off.ravel(), bright.ravel())[0, 1] == pytest.approx(0.5, abs=0.12)


def test_a_warming_record_is_brought_to_today() -> None:
    """With a trend of 0.5 degC per decade in the record, years drawn ahead have today's mean."""
    record = record_of("Bedford", 34)
    warmed = replace(record, temp_c=record.temp_c + 0.05 * np.arange(record.date.size) / 365.25)
    how = {"start": np.datetime64("2024-01-10"), "days": 350, "scenarios": 800}
    still = resample_weather_years(record, rng=generator(), trend_c_per_decade=0.0, **how)  # type: ignore[arg-type]
    today = resample_weather_years(warmed, rng=generator(), trend_c_per_decade=0.5, **how)  # type: ignore[arg-type]
    assert (today.temp_c - still.temp_c).mean() == pytest.approx(0.05 * 34.5, abs=0.1)
    found = resample_weather_years(warmed, rng=generator(), **how)  # type: ignore[arg-type]
    assert (found.temp_c - still.temp_c).mean() == pytest.approx(0.05 * 34.5, abs=0.5)


def test_a_record_without_sun() -> None:
    """Without sun in the record it is unknown, or drawn beside the temperature where normals are given."""
    record, normals = record_of("Bedford", 12, sun=False), normals_for(place="Bedford")
    how = {"start": NEW_YEAR, "days": 365, "scenarios": 500}
    unknown = resample_weather_years(record, rng=generator(), **how)  # type: ignore[arg-type]
    assert np.isnan(unknown.ghi_wh_m2).all()
    drawn = resample_weather_years(record, rng=generator(), normals=normals, **how)  # type: ignore[arg-type]
    np.testing.assert_allclose(monthly_means(drawn.ghi_wh_m2.mean(axis=0)), normals.ghi_wh_m2, rtol=0.06)


def test_gaps_in_a_record_cost_their_stretches_only() -> None:
    """A year with a month of gaps is not drawn from where the stretch would cross it."""
    record = record_of("Bedford", 12)
    record.temp_c[
        (record.date >= np.datetime64("1995-02-01")) & (record.date < np.datetime64("1995-03-01"))
    ] = np.nan
    drawn = resample_weather_years(record, start=NEW_YEAR, days=90, scenarios=120, rng=generator())
    assert drawn.effective_years == 11
    assert np.isfinite(drawn.temp_c).all()


@pytest.mark.parametrize("years", [1, 4])
def test_a_short_record_is_refused(years: int) -> None:
    """Fewer than five whole years do not show the spread: refused, with what to give."""
    with pytest.raises(WeatherError, match="longer record, or a place"):
        resample_weather_years(
            record_of("Bedford", years), start=NEW_YEAR, days=300, scenarios=10, rng=generator()
        )


def test_a_short_record_gives_its_means() -> None:
    """A year's record replaces the 12 means; what cannot be seen in a year is borrowed."""
    like = normals_for(place="Bedford")
    own = normals_from_record(record_of("München", 2), like=like)
    assert own.region_class == like.region_class
    assert own.middle_year == pytest.approx(1991.0, abs=0.1)
    assert np.ptp(own.temp_c) > np.ptp(like.temp_c)
    with pytest.raises(WeatherError, match="whole year"):
        normals_from_record(record_of("Bedford", 2).window(NEW_YEAR, NEW_YEAR + 5), like=like)


def test_resampled_years_start_from_the_last_weeks() -> None:
    """After a cold spell the first days are cold and surer, and the memory fades as it does in draws."""
    record, normals = record_of("Bedford", 40), normals_for(place="Bedford")
    how = {"start": NEW_YEAR, "days": 90, "scenarios": 1000, "trend_c_per_decade": 0.0}
    usual = resample_weather_years(record, rng=generator(), **how).temp_c  # type: ignore[arg-type]
    recent = cold_weeks(-5.0, normals)
    cold = resample_weather_years(record, rng=generator(), recent=recent, normals=normals, **how).temp_c  # type: ignore[arg-type]
    change = (cold - usual).mean(axis=0)
    assert change[0] < -2.5
    assert -2.5 < change[10] < -0.3
    assert abs(change[80:].mean()) < 0.2
    assert cold[:, 0].std() < 0.85 * usual[:, 0].std()
    assert cold[:, 60:].std() == pytest.approx(usual[:, 60:].std(), rel=0.05)


@given(year=st.integers(1995, 2035), day=st.integers(0, 365), days=st.integers(1, 400))
def test_weather_years_have_the_days_asked_for(year: int, day: int, days: int) -> None:
    """Any start, leap days and year ends included, gives whole arrays without a gap."""
    start = np.datetime64(f"{year}-01-01") + day
    drawn = draw_weather_years(NORMALS, start=start, days=days, scenarios=3, rng=generator())
    assert drawn.start == start
    assert drawn.temp_c.shape == drawn.ghi_wh_m2.shape == (3, days)
    assert np.isfinite(drawn.temp_c).all()
    again = resample_weather_years(RECORD, start=start, days=days, scenarios=3, rng=generator())
    assert again.temp_c.shape == (3, days)
    assert np.isfinite(again.temp_c).all()
    assert np.isfinite(again.ghi_wh_m2).all()


NORMALS = normals_for(place="Dublin Airport")
RECORD = record_of("Dublin Airport", 15)
