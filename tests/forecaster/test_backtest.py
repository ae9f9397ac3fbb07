"""Replays of the past: nothing can be seen too early, and what came is scored as it came."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from forecaster import backtest
from forecaster.backtest import (
    LEVELS,
    Cases,
    LookAheadError,
    Record,
    Window,
    end_of_day,
    open_window,
    paired_ratio,
    replay,
    season_of,
    summarise,
)
from forecaster.confidence import Appointment
from forecaster.deliveries import Deliveries, Receipts
from forecaster.pipeline import Inputs, work_out
from forecaster.stove import StoveLog
from forecaster.weather import Outlook, Weather
from tests.forecaster.homes import Home, ahead

HOME = Home(days=60, poured={20: 500.0})
FIRST = np.datetime64(HOME.first, "D")
DAY = FIRST + 44
SLOW = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def everything() -> Inputs:
    """Inputs with something of every kind, some of it later than any as-of day of these tests."""
    date = FIRST + np.arange(-300, 60)
    nan = np.full(len(date), np.nan)
    late = datetime(2024, 1, 5, 6, tzinfo=UTC)
    return replace(
        HOME.inputs(),
        years=Weather(date, np.full(len(date), 8.0), nan, nan, nan),
        receipts=Receipts(FIRST + np.array([-200, 50]), np.array([900.0, 700.0]), np.array(["yes", "yes"])),
        stove_log=StoveLog(FIRST + np.array([10, 50]), np.array([20.0, 20.0])),
        outlook=Outlook(
            late, np.datetime64("2024-01-05") + np.arange(7), np.full(7, 3.0), np.full(7, np.nan)
        ),
        appointment=Appointment(late.date(), late),
    )


@cache
def record() -> Record:
    """The home with its true burn."""
    burned = 1.0 + np.maximum(15.0 - HOME.temp_c(), 0.0) / 2.0
    return Record("home", HOME.inputs(), FIRST + np.arange(60), burned)


def engine(window: Window):
    """Foretell through the pipeline, with few weather years."""
    inputs = replace(window.inputs, weather_ahead=ahead(window.today))
    burned = work_out(inputs, rng=np.random.default_rng(1)).paths.burned_l
    return lambda days: burned[:, :days].sum(axis=1)


def last_level(window: Window):
    """Foretell nonsense that hangs on everything a window holds."""
    held = window.inputs
    parts = [held.readings.value, held.deliveries.litres, held.weather.temp_c]
    return lambda days: np.array([days + sum(float(p.sum()) for p in parts)])


@pytest.mark.parametrize("days", range(46, 60, 4))
def test_a_window_of_a_whole_record_holds_only_what_was_known(days: int) -> None:
    """Cut at the end of a day, no part reaches beyond it, and all that was known is still there."""
    day = FIRST + days - 2
    whole = everything()
    window = open_window(whole, end_of_day(day.item(), whole.timezone))
    held = window.inputs
    assert window.today == day + 1
    assert window.history_days == days - 1
    assert len(held.readings.at) == days - 1
    assert held.weather.date[-1] == day
    assert held.years.date[-1] == day
    assert (held.receipts.date <= day).all()
    assert (held.stove_log.date <= day).all()
    assert held.outlook is None or held.outlook.issued_at <= held.as_of
    assert held.appointment is None or held.appointment.told_at <= held.as_of


@pytest.mark.parametrize(
    "part", ["readings", "deliveries", "weather", "years", "receipts", "stove_log", "outlook", "appointment",
             "weather_ahead"],
)  # fmt: skip
def test_a_window_refuses_each_kind_of_later_knowledge(part: str) -> None:
    """Put back uncut, any single part makes the window impossible."""
    whole = replace(everything(), deliveries=_tickets(50))
    held = open_window(whole, end_of_day(DAY.item(), whole.timezone)).inputs
    with pytest.raises(LookAheadError, match="nobody knew"):
        Window(replace(held, **{part: getattr(whole, part)}))


def _tickets(day: int) -> Deliveries:
    one = HOME.inputs().deliveries
    return replace(one, at=(FIRST + np.array([day])).astype("datetime64[s]"))


def test_a_window_stays_shut_for_a_minute_too_late() -> None:
    """A reading at the instant of knowledge is known, a second later it is not."""
    whole = HOME.inputs()
    at = whole.readings.at[-1].item().replace(tzinfo=UTC)
    assert len(open_window(whole, at).inputs.readings.at) == HOME.days
    held = open_window(whole, at - timedelta(seconds=1)).inputs
    assert len(held.readings.at) == HOME.days - 1
    with pytest.raises(LookAheadError, match="the reading of"):
        Window(replace(held, readings=whole.readings))


@SLOW
@given(day=st.integers(5, 50), factor=st.floats(0.0, 3.0), temp=st.floats(-20, 30), litres=st.floats(50, 900))
def test_nothing_after_as_of_reaches_a_method(day: int, factor: float, temp: float, litres: float) -> None:
    """With another future of readings, tickets and weather a method is given the same, to the last digit."""
    whole, later = record(), FIRST + day
    spoiled = _other_future(whole.inputs, later, factor=factor, temp=temp, litres=litres)
    first, second = (
        replay(replace(whole, inputs=inputs), last_level, as_of=np.array([later]), horizons=(1, 5))
        for inputs in (whole.inputs, spoiled)
    )
    assert len(first) == 2
    assert np.array_equal(first.quantile_l, second.quantile_l)
    assert np.array_equal(first.crps_l, second.crps_l)


def test_nothing_after_as_of_changes_the_engine_s_score() -> None:
    """The same through the whole pipeline: score and place of the truth are the same to the last digit."""
    spoiled = _other_future(record().inputs, DAY, factor=0.1, temp=25.0, litres=300.0)
    first, second = (
        replay(replace(record(), inputs=i), engine, as_of=np.array([DAY]), horizons=(7, 14))
        for i in (record().inputs, spoiled)
    )
    assert first.crps_l.tolist() == second.crps_l.tolist()
    assert first.pit.tolist() == second.pit.tolist()
    assert (first.crps_l < 0.3 * first.actual_l).all()


def _other_future(inputs: Inputs, day: np.datetime64, *, factor: float, temp: float, litres: float) -> Inputs:
    now = np.datetime64(end_of_day(day.item(), inputs.timezone).replace(tzinfo=None), "s")
    readings, weather, tickets = inputs.readings, inputs.weather, inputs.deliveries
    later = tickets.at > now
    more = replace(tickets, litres=np.where(later, litres, tickets.litres))
    return replace(
        inputs,
        readings=replace(
            readings, value=np.where(readings.at > now, factor * readings.value, readings.value)
        ),
        weather=replace(weather, temp_c=np.where(weather.date > day, temp, weather.temp_c)),
        deliveries=more,
    )


def test_what_came_is_summed_over_the_days_after_as_of() -> None:
    """The actual litres are those of the civil days that follow, and a horizon not measured is left out."""
    burned = np.arange(60.0)
    burned[55] = np.nan
    made = Record("home", HOME.inputs(), FIRST + np.arange(60), burned)
    cases = replay(made, last_level, as_of=FIRST + np.array([40, 50, 58]), horizons=(1, 7, 14))
    assert cases.actual_l.tolist() == [41.0, sum(range(41, 48)), sum(range(41, 55)), 51.0, 59.0]
    assert cases.horizon_days.tolist() == [1, 7, 14, 1, 1]
    assert cases.history_days.tolist() == [41, 41, 41, 51, 59]
    assert set(cases.record.tolist()) == {"home"}


def test_a_record_without_any_measured_day_gives_no_case() -> None:
    """Nothing measured, nothing scored: an empty table, and no summary of it."""
    made = replace(record(), burned_l=np.full(60, np.nan))
    cases = replay(made, last_level, as_of=FIRST + np.arange(30, 40), horizons=(7,))
    assert len(cases) == 0
    with pytest.raises(ValueError, match="at least one case"):
        summarise(cases)


def _cases(actual: np.ndarray, samples: np.ndarray, record: np.ndarray) -> Cases:
    parts = []
    for truth, drawn, name in zip(actual, samples, record, strict=True):
        made = Record(str(name), HOME.inputs(), FIRST + np.arange(60), np.full(60, truth))
        parts.append(replay(made, lambda w, d=drawn: lambda days: d, as_of=np.array([DAY]), horizons=(1,)))
    return Cases.together(parts)


def test_a_summary_of_an_honest_forecast_has_its_nominal_cover() -> None:
    """Truth and samples from one law: the bands hold half, 80 and 95 % within three standard errors."""
    rng = np.random.default_rng(7)
    actual, samples = rng.normal(50, 5, 600), rng.normal(50, 5, (600, 400))
    found = summarise(_cases(actual, samples, np.arange(600) % 20))
    for level, share in zip(LEVELS, found.cover, strict=True):
        assert abs(share - level) < 3 * np.sqrt(level * (1 - level) / 600)
    assert found.records == 20
    # of a normal law the score is its spread over the root of pi
    assert found.crps_l == pytest.approx(5 / np.sqrt(np.pi), rel=0.08)
    assert abs(found.bias_l) < 1.0
    assert found.pinball_l > 0


def test_too_narrow_bands_are_seen_in_cover_and_place() -> None:
    """With half the spread that is true, the 80 % band holds some 48 %, and the places heap at the ends."""
    rng = np.random.default_rng(8)
    cases = _cases(rng.normal(50, 5, 400), rng.normal(50, 2.5, (400, 300)), np.arange(400))
    assert summarise(cases).cover[1] == pytest.approx(0.48, abs=0.08)
    assert np.mean((cases.pit < 0.1) | (cases.pit > 0.9)) > 0.4


@given(st.integers(2, 12), st.integers(1, 6), st.floats(0.3, 3.0), st.integers(0, 10_000))
def test_the_ratio_of_a_scaled_score_is_its_scale(records: int, each: int, scale: float, seed: int) -> None:
    """Scores that are a multiple of the rival's in every case have that ratio, without any error."""
    theirs = np.random.default_rng(seed).uniform(1, 10, records * each)
    ratio, error = paired_ratio(scale * theirs, theirs, record=np.repeat(np.arange(records), each))
    assert ratio == pytest.approx(scale)
    assert error == pytest.approx(0.0, abs=1e-9)


def test_the_error_of_a_ratio_is_that_of_repeated_trials() -> None:
    """The jackknife over tanks gives the spread that the ratio has from trial to trial."""
    rng = np.random.default_rng(3)
    found = []
    for _ in range(300):
        tank = np.repeat(rng.lognormal(0, 0.3, 30), 4)  # what the cases of a tank have in common
        theirs = rng.uniform(5, 10, 120)
        found.append(paired_ratio(tank * theirs, theirs, record=np.repeat(np.arange(30), 4)))
    ratio, error = np.array(found).T
    assert error.mean() == pytest.approx(ratio.std(), rel=0.15)


def test_scores_must_be_of_the_same_cases() -> None:
    """Two methods are compared on equally many cases, of which each has its record."""
    with pytest.raises(ValueError, match="as many scores"):
        paired_ratio([1.0], [1.0, 2.0], record=["a", "b"])
    assert np.isnan(paired_ratio([1.0], [2.0], record=["a"])[1])


def test_seasons_have_three_months_each() -> None:
    """Over a leap year each season has the months that meteorology gives it."""
    days = np.arange("2024-01-01", "2025-01-01", dtype="datetime64[D]")
    names, counts = np.unique(season_of(days), return_counts=True)
    assert dict(zip(names.tolist(), counts.tolist(), strict=True)) == {
        "winter": 91, "spring": 92, "summer": 92, "autumn": 91,
    }  # fmt: skip


def test_the_end_of_a_day_is_that_of_the_place() -> None:
    """The day on which clocks go forward ends an hour early."""
    assert end_of_day(date(2024, 3, 31), "Europe/London") == datetime(2024, 3, 31, 23, tzinfo=UTC)
    assert end_of_day(date(2024, 3, 30), "Europe/London") == datetime(2024, 3, 31, 0, tzinfo=UTC)
    assert "replay" in backtest.__all__
