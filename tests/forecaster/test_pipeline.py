"""The whole way from readings to a forecast: what must hold whatever the house."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from forecaster.climate import WeatherYears, draw_weather_years
from forecaster.confidence import State, ToldForecast, WithheldForecast
from forecaster.deliveries import parse_deliveries
from forecaster.dwelling import Stove, Survey, parse_survey
from forecaster.errors import WeatherError
from forecaster.pipeline import Inputs, make_forecast, place_normals, work_out
from forecaster.readings import Readings, parse_readings
from forecaster.reorder import OrderSettings
from forecaster.tanks import parse_tank
from forecaster.weather import parse_outlook, parse_weather

HOUSE = Path(__file__).parents[2] / "fixtures" / "small_house"
AS_OF = datetime(2024, 1, 10, 7, tzinfo=UTC)
SLOW = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@cache
def small_house() -> Inputs:
    """The house that can be checked on paper; 240 days and 400 paths, so that examples are quick."""

    def text(name: str) -> str:
        return (HOUSE / name).read_text("utf-8")

    return Inputs(
        tank=parse_tank(text("tank.toml")), as_of=AS_OF, timezone="Europe/London",
        readings=parse_readings(text("readings.csv")).readings, weather=parse_weather(text("weather.csv")).weather,
        survey=parse_survey(text("survey.toml")),
        deliveries=parse_deliveries(text("deliveries.csv"), tz="Europe/London")[0],
        horizon_days=240, paths=400,
    )  # fmt: skip


@cache
def ahead() -> WeatherYears:
    """Weather years for the small house."""
    return draw_weather_years(
        place_normals(small_house()), start=np.datetime64("2024-01-10"), days=241, scenarios=200,
        rng=np.random.default_rng(5),
    )  # fmt: skip


def run(inputs: Inputs, seed: int = 1):
    """Work a forecast out with a fixed seed."""
    return work_out(inputs, rng=np.random.default_rng(seed))


def test_the_small_house_is_forecast_as_on_paper():
    """519.5 litres are left at 07:00, and in its own weather the house burns 45 litres a week.

    Nobody knows the weather ahead; what can be checked on paper is the level, and that the median
    date lies where the known burn of 6.4 l a day, less as spring comes, must put it.
    """
    forecast = run(small_house()).forecast
    assert isinstance(forecast, ToldForecast)
    assert forecast.litres.p50 == pytest.approx(519.5, abs=4.0)
    assert forecast.litres.p10 < 519.5 < forecast.litres.p90
    at_winter_pace = AS_OF.date() + timedelta(days=int((519.5 - 50) / (45 / 7)))
    assert forecast.run_dry.p50 is not None
    assert at_winter_pace - timedelta(days=10) < forecast.run_dry.p50 < at_winter_pace + timedelta(days=45)


def test_the_daily_rows_begin_with_the_day_of_as_of():
    """One row per end of civil day, the first being the end of as-of's own day."""
    forecast = run(small_house()).forecast
    assert isinstance(forecast, ToldForecast)
    assert forecast.daily[0].date == AS_OF.date()
    assert len(forecast.daily) == 241
    whole_day = forecast.daily[1].p50 - forecast.daily[2].p50
    rest_of_day = forecast.litres.p50 - forecast.daily[0].p50
    assert rest_of_day == pytest.approx(17 / 24 * whole_day, rel=0.5)


def test_run_dry_dates_are_those_of_the_daily_chances():
    """Each quantile is the first day on which the chance reaches it."""
    forecast = run(small_house()).forecast
    assert isinstance(forecast, ToldForecast)
    for name, chance in (
        ("p02", 0.02),
        ("p05", 0.05),
        ("p10", 0.1),
        ("p50", 0.5),
        ("p90", 0.9),
        ("p95", 0.95),
    ):
        first = next((d.date for d in forecast.daily if d.p_dry >= chance), None)
        assert getattr(forecast.run_dry, name) == first


def test_the_same_seed_gives_the_same_forecast():
    """Nothing is left to chance but the generator."""
    assert run(small_house()).forecast == run(small_house()).forecast


@SLOW
@given(st.integers(1, 40), st.integers(1, 400), st.floats(-15, 25))
def test_nothing_after_as_of_changes_a_forecast(days_back, litres, temp):
    """Readings, tickets and weather later than as-of make no difference to the last digit."""
    base = replace(small_house(), as_of=AS_OF - timedelta(days=days_back))
    assert base.readings is not None
    assert base.deliveries is not None
    assert base.weather is not None
    now = np.datetime64(base.as_of.replace(tzinfo=None), "s")
    value = np.where(base.readings.at > now, base.readings.value * 0 + 300.0 + litres, base.readings.value)
    today = now.astype("datetime64[D]")
    spoiled = replace(
        base,
        readings=replace(base.readings, value=value),
        deliveries=replace(
            base.deliveries, litres=np.where(base.deliveries.at > now, 9.0, base.deliveries.litres)
        ),
        weather=replace(base.weather, temp_c=np.where(base.weather.date >= today, temp, base.weather.temp_c)),
    )
    cut = replace(
        base,
        readings=base.readings.where(base.readings.at <= now),
        weather=base.weather.window(base.weather.date[0], today),
    )
    assert run(spoiled).forecast == run(base).forecast == run(cut).forecast


@SLOW
@given(st.lists(st.floats(0, 12), min_size=241, max_size=241), st.booleans())
def test_a_colder_future_never_runs_dry_later(colder, with_stove):
    """With the same draws, taking any number of degrees off any days never moves a path's day later.

    Heating is never negative and the stove's share is bounded, so this holds path by path.
    """
    survey = replace(small_house().survey or Survey(), stove=Stove(8.0, 6.0, 6.0) if with_stove else None)
    mild = replace(small_house(), survey=survey, weather_ahead=ahead())
    cold = replace(mild, weather_ahead=replace(ahead(), temp_c=ahead().temp_c - np.array(colder)))
    one, other = run(mild), run(cold)
    assert (other.paths.litres <= one.paths.litres + 1e-9).all()
    assert (other.p_dry >= one.p_dry).all()


@SLOW
@given(st.floats(0, 300))
def test_a_deeper_heel_never_runs_dry_later(deeper):
    """Raising the draw-off brings the day forward or leaves it."""
    base = replace(small_house(), weather_ahead=ahead())
    deep = replace(base, tank=replace(base.tank, heel_l=base.tank.heel_l + deeper))
    assert (run(deep).p_dry >= run(base).p_dry).all()


@pytest.mark.parametrize("silent_days", [1, 2, 3, 5, 8, 13, 21, 34])
def test_a_dead_sensor_never_moves_the_appointment_later(silent_days):
    """After the last reading the date promised is kept, or moved earlier, day after day."""
    told = run(small_house()).forecast
    assert told.appointment is not None
    appointment = told.appointment
    later = replace(small_house(), as_of=AS_OF + timedelta(days=silent_days), appointment=appointment)
    forecast = run(later).forecast
    if isinstance(forecast, WithheldForecast):
        assert forecast.appointment is not None
        assert forecast.appointment.order_by <= appointment.order_by
    else:
        assert forecast.state is (State.OK if silent_days == 1 else State.WIDE)


def test_a_tank_never_seen_is_blind():
    """A survey and weather without any level give no number at all."""
    forecast = run(replace(small_house(), readings=None, deliveries=None)).forecast
    assert isinstance(forecast, WithheldForecast)
    assert forecast.state is State.BLIND


def test_a_tank_known_by_one_level_is_wide_but_told():
    """A survey and one known level give a wide answer, not none."""
    base = small_house()
    assert base.readings is not None
    one = replace(base, readings=base.readings.where(np.arange(len(base.readings)) == len(base.readings) - 1))
    forecast = run(one).forecast
    assert isinstance(forecast, ToldForecast)
    assert forecast.state is State.WIDE
    full = run(base).forecast
    assert isinstance(full, ToldForecast)
    assert full.run_dry.p10 is not None
    assert forecast.run_dry.p10 is not None
    assert forecast.run_dry.p10 < full.run_dry.p10


def test_tickets_alone_are_wide_but_told():
    """A tank filled on a known day, without any sensor, is told widely."""
    deliveries = parse_deliveries("at,litres,filled\n2023-12-14T11:00:00Z,700,yes\n", tz="Europe/London")[0]
    forecast = run(replace(small_house(), readings=None, deliveries=deliveries)).forecast
    assert isinstance(forecast, ToldForecast)
    assert forecast.state is State.WIDE
    # filled to 1,140 l; by the table of the house 28 days of about 6.4 l have gone
    assert forecast.litres.p10 < 1140 - 28 * 6.4 < forecast.litres.p90


def test_a_stuck_sensor_withholds_the_date():
    """A level that does not move through three weeks of frost is not believed."""
    base = small_house()
    assert base.readings is not None
    stuck = np.where(np.arange(60) > 38, base.readings.value[38], base.readings.value)
    forecast = run(replace(base, readings=replace(base.readings, value=stuck))).forecast
    assert isinstance(forecast, WithheldForecast)
    assert forecast.state is State.CHECK
    assert "exactly the same level" in forecast.reasons[0].text


def test_without_a_place_or_years_there_is_no_forecast():
    """Weather ahead has to come from somewhere: the error says from where."""
    with pytest.raises(WeatherError, match="--years"):
        make_forecast(replace(small_house(), survey=None), rng=np.random.default_rng(1))


def test_an_order_already_placed_counts_as_promised():
    """Litres on their way move the run-dry dates later and the next order with them."""
    base = replace(small_house(), weather_ahead=ahead())
    promised = replace(base, settings=OrderSettings(ordered={AS_OF.date() + timedelta(days=5): 500.0}))
    one, other = run(base).forecast, run(promised).forecast
    assert isinstance(one, ToldForecast)
    assert isinstance(other, ToldForecast)
    assert other.daily[10].p50 == pytest.approx(one.daily[10].p50 + 500.0, abs=3.0)
    assert one.order.latest is not None
    assert other.order.latest is None or other.order.latest > one.order.latest


def test_a_cold_outlook_brings_the_date_forward():
    """A forecast of a fortnight of frost moves the run-dry date earlier."""
    rows = [f"2024-01-10T05:00:00Z,{(AS_OF + timedelta(days=i)).date()},-8.0" for i in range(14)]
    csv = "\n".join(["issued_at,date,temp_c", *rows])
    outlook, problems, _ = parse_outlook(csv, as_of=AS_OF, tz="Europe/London")
    assert outlook is not None
    assert not problems
    one = run(small_house()).forecast
    other = run(replace(small_house(), outlook=outlook)).forecast
    assert isinstance(one, ToldForecast)
    assert isinstance(other, ToldForecast)
    assert other.run_dry.p50 is not None
    assert one.run_dry.p50 is not None
    assert other.run_dry.p50 < one.run_dry.p50


def test_empty_readings_are_no_readings():
    """A file whose rows all lie after as-of leaves the tank unseen."""
    base = small_house()
    assert base.readings is not None
    late = replace(base, as_of=datetime(2023, 11, 1, tzinfo=UTC), readings=base.readings, deliveries=None)
    forecast = run(late).forecast
    assert forecast.state is State.BLIND
    assert isinstance(Readings.none(), Readings)


def test_readings_after_an_old_unexplained_rise_count():
    """A rise long ago that a single reading showed does not shut out the readings since.

    Dips at long intervals, or a false reading on the morning of a delivery, leave such rises.
    """
    base = small_house()
    assert base.readings is not None
    # weekly dips and no tickets: the delivery of 14 December is seen by the one dip within a week of it
    weekly = base.readings.where(np.arange(60) % 8 == 3)
    forecast = run(replace(base, readings=weekly, deliveries=None)).forecast
    assert isinstance(forecast, ToldForecast)
    assert forecast.litres.p10 < 519.5 < forecast.litres.p90
    assert forecast.run_dry.p50 is not None


def test_what_its_owner_confirmed_is_told_with_every_answer():
    """A tank whose plate and dimensions disagree, and were confirmed, is answered wide and says so."""
    inputs = small_house()
    doubted = replace(inputs, tank=replace(inputs.tank, notes=("Plate and dimensions disagree.",)))
    told = run(doubted).forecast
    assert told.state is State.WIDE
    assert "Plate and dimensions disagree." in [reason.text for reason in told.reasons]
