"""A tank that was not seen for long, and then once."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from forecaster.confidence import Forecast, ToldForecast, WithheldForecast
from forecaster.document import public_document
from forecaster.dwelling import parse_survey
from forecaster.pipeline import Inputs, make_forecast
from forecaster.readings import parse_readings
from forecaster.states import State
from forecaster.tanks import parse_tank
from forecaster.weather import parse_weather

HOUSE = Path(__file__).parents[2] / "fixtures" / "small_house"
LATER = ["2024-02-20", "2024-03-20", "2024-07-25", "2026-11-25"]
"""Days of one more reading; the last before it, of 10 January 2024, showed 520 litres."""


def seen_again(day: str, *, ullage_mm: float, step_mm: float) -> Forecast:
    """The small house, whose tank holds a litre a millimetre, read once more; nan: by its sensor."""
    rows = (HOUSE / "readings.csv").read_text(encoding="utf-8").rstrip()
    readings = parse_readings(f"{rows}\n{day}T18:00:00Z,{ullage_mm},15.0\n".encode()).readings
    step = np.full(len(readings), np.nan)
    step[-1] = step_mm
    inputs = Inputs(
        tank=parse_tank((HOUSE / "tank.toml").read_bytes()),
        readings=replace(readings, step=step),
        weather=parse_weather((HOUSE / "weather.csv").read_bytes()).weather,
        survey=parse_survey((HOUSE / "survey.toml").read_bytes()),
        as_of=datetime.fromisoformat(f"{day}T19:00").replace(tzinfo=UTC),
        timezone="Europe/London",
    )
    return make_forecast(inputs, rng=np.random.default_rng(1))


@pytest.mark.parametrize("day", LATER[1:])
def test_one_higher_level_of_a_sensor_ends_no_long_silence(day: str) -> None:
    """A sensor that was silent for months and hears one echo, higher than before, gives no date yet."""
    forecast = seen_again(day, ullage_mm=605.0, step_mm=np.nan)
    assert isinstance(forecast, WithheldForecast)
    assert forecast.state is State.STALE
    asked = {reason.code: reason.text for reason in forecast.reasons}
    assert "A delivery?" in asked["unreported_delivery"]


@pytest.mark.parametrize("day", LATER)
def test_what_a_person_reads_after_a_long_silence_is_believed(day: str) -> None:
    """Who looks at the gauge after months is answered from what it shows, and asked about a delivery."""
    forecast = seen_again(day, ullage_mm=605.0, step_mm=10.0)
    assert isinstance(forecast, ToldForecast)
    assert forecast.litres.p10 < 645.0 < forecast.litres.p90
    assert forecast.litres.p90 - forecast.litres.p10 < 40.0
    asked = {reason.code: reason.text for reason in forecast.reasons}
    assert "since Wed 10 January" in asked["unreported_delivery"]


def test_no_litres_below_nothing_are_told() -> None:
    """A tank that may be empty holds nothing at the least, today and on each day ahead."""
    forecast = seen_again("2024-02-20", ullage_mm=1150.0, step_mm=np.nan)
    assert isinstance(forecast, ToldForecast)
    days = public_document(forecast)["daily"]
    assert min(forecast.litres.p10, *(day["p10"] for day in days)) == 0.0
    assert min(day["p025"] for day in days) == 0.0
    assert {day["p_dry"] for day in days} >= {0.0, 1.0}
