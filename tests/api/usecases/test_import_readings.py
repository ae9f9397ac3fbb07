"""A file of readings goes in once, whatever is wrong with some of its rows."""

from datetime import timedelta

import pytest

from api.store import NotFoundError, Store
from api.store.readings import count_readings, load_readings
from api.store.tanks import BEGINNING, StoredTank, list_tanks
from api.usecases.import_readings import import_readings
from api.usecases.record_readings import Measurement, judge_readings, record_readings
from api.usecases.register_tank import register_tank
from forecaster.errors import ReadingsError, SurveyError, TankError
from forecaster.readings import Quantity
from tests.api.conftest import NOW, StandingClock

TANK = (
    'shape = "moulded"\nproduct = "kerosene"\ncapacity_l = 1300\nheight_mm = 1200\nsensor_height_mm = 1250\n'
)


@pytest.fixture
def tank(store: Store, clock: StandingClock) -> StoredTank:
    """A registered tank."""
    with store.write() as session:
        return register_tank(session, clock, tank_toml=TANK, survey_toml='timezone = "Europe/Dublin"\n')


def test_good_rows_are_stored_and_bad_rows_named(
    store: Store, clock: StandingClock, tank: StoredTank
) -> None:
    """Of a file with a bad row the others are stored; the same file again changes nothing."""
    file = (
        "at,ullage_cm,air_c\n"
        "2026-01-08T06:00:00Z,81.2,4.5\n"
        "2026-01-09T06:00:00Z,bad,4.0\n"
        "2026-01-10T06:00:00Z,82.0,\n"
        "2026-02-10T06:00:00Z,83.0,\n"
    )
    for new, known in ((2, 0), (0, 2)):
        with store.write() as session:
            done = import_readings(session, clock, tank, file)
        assert (done.new, done.known, done.conflict, done.far_future) == (new, known, 0, 1)
        assert [p.row for p in done.problems] == [3]
    with store.read() as session:
        readings = load_readings(session, tank.id, since=BEGINNING, until=NOW)
    assert readings is not None
    assert readings.quantity.tolist() == ["ullage_mm", "ullage_mm"]
    assert readings.value.tolist() == pytest.approx([812.0, 820.0])
    assert str(readings.air_c.tolist()) == "[4.5, nan]"


def test_a_file_and_a_message_share_their_keys(store: Store, clock: StandingClock, tank: StoredTank) -> None:
    """A reading sent as a message and found again in a file is one reading."""
    measured = Measurement(NOW - timedelta(hours=6), Quantity.DIP_MM, 640.0)
    with store.write() as session:
        record_readings(session, clock, tank, [measured], source="http")
        done = import_readings(session, clock, tank, "at,dip_cm\n2026-01-10T07:00:00+01:00,64\n")
    assert (done.new, done.known) == (0, 1)


def test_a_file_of_no_use_stores_nothing(store: Store, clock: StandingClock, tank: StoredTank) -> None:
    """A file without a level column is refused whole."""
    with store.write() as session:
        with pytest.raises(ReadingsError):
            import_readings(session, clock, tank, "at,depth\n2026-01-10T07:00:00Z,64\n")
        assert count_readings(session, tank.id) == 0


def test_an_ullage_without_sensor_height_is_kept_and_said(store: Store, clock: StandingClock) -> None:
    """Where the tank's file gives no sensor height an ullage is stored, and said not to be usable."""
    with store.write() as session:
        tank = register_tank(session, clock, tank_toml=TANK.replace("sensor_height_mm = 1250\n", ""))
        measured = [Measurement(NOW - timedelta(hours=1), Quantity.ULLAGE_MM, 640.0)]
        recorded = record_readings(session, clock, tank, measured, source="http")
        assert judge_readings(session, tank, recorded) == [("no_sensor_height",)]


def test_a_named_sensor_takes_the_reading(store: Store, clock: StandingClock, tank: StoredTank) -> None:
    """Readings of two sensors at one time are two readings; a foreign sensor is not found."""
    measured = [Measurement(NOW, Quantity.DIP_MM, 640.0)]
    with store.write() as session:
        for sensor in (None, tank.sensors[2].public_id):
            record_readings(session, clock, tank, measured, sensor=sensor, source="http")
        assert count_readings(session, tank.id) == 2
        with pytest.raises(NotFoundError):
            record_readings(session, clock, tank, measured, sensor="x", source="http")


@pytest.mark.parametrize(
    ("tank_toml", "survey_toml", "error"),
    [("shape = 7", None, TankError), (TANK, "latitude = 91", SurveyError), (TANK, "[", SurveyError)],
)
def test_a_bad_description_registers_nothing(
    store: Store, clock: StandingClock, tank_toml: str, survey_toml: str | None, error: type[Exception]
) -> None:
    """A tank with a bad file or a bad survey is not stored."""
    with store.write() as session:
        with pytest.raises(error):
            register_tank(session, clock, tank_toml=tank_toml, survey_toml=survey_toml)
        assert list_tanks(session) == ()
