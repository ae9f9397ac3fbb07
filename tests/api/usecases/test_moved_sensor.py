"""A moved sensor is no oil, and costs nothing of what was read before."""

from datetime import timedelta

import numpy as np
import pytest

from api.store import Store
from api.store.tanks import StoredTank, load_tank
from api.usecases.moved_sensor import load_readings_as_now
from api.usecases.record_readings import Measurement, record_readings
from api.usecases.refresh_forecast import refresh_forecast
from api.usecases.register_tank import redescribe_tank, register_tank
from api.usecases.told.sensor import record_sensor_moved
from forecaster.confidence import ToldForecast
from forecaster.readings import Quantity
from tests.api.conftest import NOW, StandingClock

TANK = (
    'shape = "rectangular"\nproduct = "kerosene"\nlength_mm = 1800\nwidth_mm = 1200\nheight_mm = 1300\n'
    "sensor_height_mm = 1350\ndead_band_mm = 100\n"
)
DAYS = 40
MOVED = NOW - timedelta(days=20, hours=2)


def _fill(store: Store, clock: StandingClock, *, raised_mm: float) -> StoredTank:
    """A tank read every day, its sensor raised half-way."""
    with store.write() as session:
        tank = register_tank(session, clock, tank_toml=TANK, survey_toml='place = "East Anglia"\n')
        readings = [
            Measurement(at, Quantity.ULLAGE_MM, 400.0 + 4.0 * i + (raised_mm if at > MOVED else 0.0))
            for i, at in enumerate(NOW - timedelta(days=DAYS - i) for i in range(DAYS + 1))
        ]
        record_readings(session, clock, tank, readings, source="http")
        if raised_mm:
            record_sensor_moved(session, clock, tank, at=MOVED, sensor_height_mm=1350.0 + raised_mm)
    return tank


def _values(store: Store, tank: StoredTank) -> list[float]:
    with store.read() as session:
        readings = load_readings_as_now(session, load_tank(session, tank.public_id), as_of=NOW)
    assert readings is not None
    return [float(v) for v in readings.value]


def test_a_move_leaves_no_step_in_what_was_read(store: Store, clock: StandingClock) -> None:
    """The readings from before are those that the sensor would have shown from where it is now."""
    tank = _fill(store, clock, raised_mm=60.0)
    assert np.diff(_values(store, tank)) == pytest.approx(np.full(DAYS, 4.0))


def test_a_forecast_feels_no_move(store: Store, clock: StandingClock) -> None:
    """Litres and dates are those of a sensor that was never moved, and nobody asks about a delivery."""
    still, moved = (
        refresh_forecast(store, clock, _fill(store, clock, raised_mm=raised_mm).public_id)
        for raised_mm in (0.0, 60.0)
    )
    assert isinstance(still, ToldForecast)
    assert isinstance(moved, ToldForecast)
    assert moved.litres.p50 == pytest.approx(still.litres.p50, abs=2.0)
    assert [r.code for r in moved.reasons] == [r.code for r in still.reasons]


def test_what_is_no_level_is_not_moved(store: Store, clock: StandingClock) -> None:
    """An echo that failed stays one; a level in the dead band, which bounds another height, is left out."""
    with store.write() as session:
        tank = register_tank(session, clock, tank_toml=TANK)
        times = [NOW - timedelta(days=30, hours=i) for i in range(5)]
        values = (65535.0, 0.0, 80.0, 500.0, 0.25)
        quantities = (*[Quantity.ULLAGE_MM] * 4, Quantity.FRACTION)
        told = [Measurement(*one) for one in zip(times, quantities, values, strict=True)]
        record_readings(session, clock, tank, told, source="http")
        record_sensor_moved(session, clock, tank, at=MOVED, sensor_height_mm=1410.0)
    assert _values(store, tank) == [0.25, 560.0, 0.0, 65535.0]


def test_another_tank_has_no_past(store: Store, clock: StandingClock) -> None:
    """Where more than the sensor's height was changed, older readings are left out, as before."""
    tank = _fill(store, clock, raised_mm=0.0)
    with store.write() as session:
        wider = TANK.replace("width_mm = 1200", "width_mm = 1250")
        redescribe_tank(session, clock, tank, tank_toml=wider, valid_from=MOVED)
    assert len(_values(store, tank)) == 21
