"""What belongs to a tank besides its readings: stored once, and found again by its forecasts."""

from datetime import UTC, datetime

import numpy as np
import pytest

from api.store import Store
from api.store.deliveries import load_deliveries, load_receipts
from api.store.tanks import StoredTank, TextKind, load_tank, load_text
from api.store.weather import load_weather
from api.usecases.import_house import (
    find_same_tank,
    import_deliveries,
    import_diary,
    import_outlook,
    import_receipts,
    import_stove_log,
    import_survey,
    import_weather,
)
from api.usecases.register_tank import register_tank
from forecaster.errors import SurveyError, WeatherError
from forecaster.stove import parse_stove_log
from forecaster.weather import parse_weather
from tests.api.conftest import NOW, StandingClock

TANK = 'shape = "rectangular"\nproduct = "kerosene"\nlength_mm = 1000\nwidth_mm = 1000\nheight_mm = 1200\n'
WEATHER = "date,temp_c\n2026-01-01,4.0\n2026-01-02,5.0\n"


@pytest.fixture
def tank(store: Store, clock: StandingClock) -> StoredTank:
    """A tank that is stored."""
    with store.write() as session:
        return register_tank(session, clock, tank_toml=TANK)


def test_same_description_is_found_again_and_another_is_not(store: Store, tank: StoredTank) -> None:
    """A tank is known by its very description."""
    with store.read() as session:
        found = find_same_tank(session, TANK)
        assert found is not None
        assert found.public_id == tank.public_id
        assert find_same_tank(session, TANK + "heel_l = 60\n") is None


def test_weather_and_record_are_what_the_tank_rests_on(store: Store, tank: StoredTank) -> None:
    """Past weather and the long record go to stations of their own; a day given again is replaced."""
    with store.write() as session:
        import_weather(session, tank, parse_weather(WEATHER), role="weather")
        import_weather(session, tank, parse_weather("date,temp_c\n1990-01-01,1.0\n"), role="years")
        corrected = parse_weather("date,temp_c\n2026-01-02,6.5\n")
        assert import_weather(session, tank, corrected, role="weather").words == "1 day of weather"
    with store.read() as session:
        now = load_tank(session, tank.public_id)
        assert now.station_id is not None
        assert now.years_station_id is not None
        weather = load_weather(session, now.station_id, before=NOW.date())
        record = load_weather(session, now.years_station_id, before=NOW.date())
    assert weather is not None
    assert weather.temp_c.tolist() == [4.0, 6.5]
    assert record is not None
    assert record.date.tolist() == [datetime(1990, 1, 1, tzinfo=UTC).date()]


def test_other_kind_of_temperature_is_refused(store: Store, tank: StoredTank) -> None:
    """Means and half-way temperatures are never mixed for one tank."""
    with store.write() as session:
        import_weather(session, tank, parse_weather(WEATHER), role="weather")
    with store.write() as session, pytest.raises(WeatherError, match="give the same kind as before"):
        import_weather(session, tank, parse_weather(WEATHER, kind="midrange"), role="weather")


def test_outlook_needs_weather_behind_it(store: Store, clock: StandingClock, tank: StoredTank) -> None:
    """A short-range forecast is put in front of the tank's weather, so there has to be some."""
    text = "issued_at,date,temp_c\n2026-01-10T06:00:00Z,2026-01-10,3.0\n"
    with store.write() as session, pytest.raises(WeatherError, match="weather first"):
        import_outlook(session, clock, tank, text)
    with store.write() as session:
        import_weather(session, tank, parse_weather(WEATHER), role="weather")
        placed = load_tank(session, tank.public_id)
        assert import_outlook(session, clock, placed, text).words == "an outlook of 1 day"


def test_tickets_and_bills_are_stored_once(store: Store, clock: StandingClock, tank: StoredTank) -> None:
    """The same tickets and bills again are nothing new, and bad rows are told."""
    tickets, bills = "at,litres\n2025-12-01T10:00:00Z,900\nsoon,5\n", "date,litres\n2025-11-01,700\n"
    with store.write() as session:
        first = import_deliveries(session, clock, tank, tickets)
        again = import_deliveries(session, clock, tank, tickets)
        assert (first.words, again.words) == ("1 new ticket", "0 new tickets")
        assert [p.row for p in first.problems] == [3]
        assert import_receipts(session, clock, tank, bills).words == "1 new bill"
        assert import_receipts(session, clock, tank, bills).words == "0 new bills"
    with store.read() as session:
        deliveries = load_deliveries(session, tank.id, until=NOW)
        receipts = load_receipts(session, tank.id, until=NOW.date())
    assert deliveries is not None
    assert deliveries.litres.tolist() == [900.0]
    assert receipts is not None
    assert receipts.litres.tolist() == [700.0]


def test_wood_is_kept_as_heat_whatever_the_decimal_sign(
    store: Store, clock: StandingClock, tank: StoredTank
) -> None:
    """A stove log with commas comes back with the same heat, day by day."""
    text = "date;kg;moisture\n2026-01-03;9,5;0,2\n2026-01-05;4;0,25\n"
    with store.write() as session:
        import_stove_log(session, clock, tank, text, decimal=",")
    with store.read() as session:
        kept = load_text(session, tank.id, TextKind.STOVE_LOG, as_of=NOW)
    assert kept is not None
    log, problems = parse_stove_log(kept)
    np.testing.assert_array_equal(log.kwh, parse_stove_log(text, decimal=",")[0].kwh)
    assert problems == ()


def test_first_diary_holds_from_the_beginning_and_the_next_from_now(
    store: Store, clock: StandingClock, tank: StoredTank
) -> None:
    """What is told first holds for the past too; what is told later does not rewrite what was known."""
    first, later = (
        "start,end,what\n2026-01-02,2026-01-04,away\n",
        "start,end,what\n2026-02-01,2026-02-02,guests\n",
    )
    with store.write() as session:
        import_diary(session, clock, tank, first)
    before = clock.now()
    clock.move(days=1)
    with store.write() as session:
        import_diary(session, clock, tank, later)
    with store.read() as session:
        assert load_text(session, tank.id, TextKind.DIARY, as_of=datetime(2020, 1, 1, tzinfo=UTC)) == first
        assert load_text(session, tank.id, TextKind.DIARY, as_of=before) == first
        assert load_text(session, tank.id, TextKind.DIARY, as_of=clock.now()) == later


def test_survey_that_cannot_be_used_is_not_stored(
    store: Store, clock: StandingClock, tank: StoredTank
) -> None:
    """A survey is checked before it is stored."""
    with store.write() as session, pytest.raises(SurveyError):
        import_survey(session, clock, tank, "occupants = -3\n")
    with store.read() as session:
        assert load_text(session, tank.id, TextKind.SURVEY, as_of=NOW) is None
