"""What people tell, over HTTP: stored once, said back in words, refused at its member."""

import json
from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.store.deliveries import load_deliveries, load_receipts
from api.store.readings import load_readings
from api.store.tanks import BEGINNING, TextKind, load_tank, load_tank_version, load_text
from api.wiring import Services
from forecaster.diary import parse_changes, parse_diary
from forecaster.stove import parse_stove_log
from forecaster.tanks import parse_tank
from tests.api.conftest import NOW, StandingClock

DELIVERY = {"litres": 900, "at": "2026-01-09T10:30:00Z", "ticket": "A 17"}


def _tell(client: TestClient, tank: str, kind: str, **told: Any) -> Any:
    headers = {"Content-Type": "application/json"}  # what no writer of JSON would write is sent escaped
    return client.post(f"/api/tanks/{tank}/{kind}", content=json.dumps(told), headers=headers)


def _text(services: Services, tank_id: str, kind: TextKind) -> str:
    with services.store.read() as session:
        found = load_text(session, load_tank(session, tank_id).id, kind, as_of=services.clock.now())
    assert found is not None
    return found


def test_a_dip_in_inches_has_its_own_spread_and_its_source(
    client: TestClient, services: Services, tank_id: str
) -> None:
    """25 3/8 inches, as the supplier said on the phone, is a reading of the dip stick with a step of 5 mm."""
    answer = _tell(client, tank_id, "dips", dip="25 3/8", unit="in", who="supplier")
    assert answer.status_code == 201, answer.text
    words = answer.json()["words"]
    assert words.startswith("Stored: 645 mm of oil in Byre, ")
    assert "as the supplier said: about 1,110 litres, give or take 10." in words
    with services.store.read() as session:
        readings = load_readings(session, load_tank(session, tank_id).id, since=BEGINNING, until=NOW)
        row = session.connection().exec_driver_sql("SELECT source, step FROM reading").one()
    assert readings is not None
    assert (readings.value.tolist(), readings.quantity.tolist()) == ([644.525], ["dip_mm"])
    assert readings.step is not None
    assert readings.step.tolist() == [5.0]
    assert tuple(row) == ("supplier", 5.0)


def test_a_gauge_is_known_as_a_gauge_is(client: TestClient, services: Services, tank_id: str) -> None:
    """Three eighths of the tank, give or take what a gauge cannot show."""
    answer = _tell(client, tank_id, "gauges", fraction="3/8", who="carer")
    assert "38% by the gauge" in answer.json()["words"]
    assert "as a carer said" in answer.json()["words"]
    assert "about 764 litres" not in answer.json()["words"]  # no finer than a gauge is read


def test_a_button_pressed_twice_is_one_dip_i8(
    client: TestClient, services: Services, clock: StandingClock, tank_id: str
) -> None:
    """The same dip a moment later is known; a corrected one is another reading, and so is the same next day."""
    assert _tell(client, tank_id, "dips", dip=640).json()["status"] == "new"
    clock.move(seconds=3)
    assert _tell(client, tank_id, "dips", dip=640).json()["status"] == "known"
    assert _tell(client, tank_id, "dips", dip=460).json()["status"] == "new"
    clock.move(days=1)
    assert _tell(client, tank_id, "dips", dip=460).json()["status"] == "new"


def test_another_dip_of_the_same_time_is_a_conflict(client: TestClient, tank_id: str) -> None:
    """The first stays."""
    at = "2026-01-09T08:00:00Z"
    assert _tell(client, tank_id, "dips", dip=640, at=at).status_code == 201
    assert _tell(client, tank_id, "dips", dip=640, at=at).status_code == 200
    assert _tell(client, tank_id, "dips", dip=650, at=at).status_code == 409


def test_a_ticket_is_stored_once(client: TestClient, services: Services, tank_id: str) -> None:
    """The same ticket again is known, the same number with other litres refused, and so is its very time (E6)."""
    first, again = (_tell(client, tank_id, "deliveries", **DELIVERY) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json()["words"] == (
        "Stored: 900 litres delivered to Byre, Fri 9 January 10:30, ticket A 17."
    )
    other = {**DELIVERY, "litres": 800, "at": "2026-01-08T10:30:00Z"}
    assert _tell(client, tank_id, "deliveries", **other).status_code == 409
    assert _tell(client, tank_id, "deliveries", **{**DELIVERY, "ticket": "B"}).status_code == 409
    with services.store.read() as session:
        kept = load_deliveries(session, load_tank(session, tank_id).id, until=NOW)
    assert kept is not None
    assert (kept.litres.tolist(), kept.basis.tolist(), kept.filled.tolist()) == (
        [900.0],
        ["unknown"],
        ["unknown"],
    )


def test_more_than_the_tank_has_room_for_is_asked_about(
    client: TestClient, services: Services, tank_id: str
) -> None:
    """A delivery that does not fit is refused with the room there was, and taken when it is said to be right (E2)."""
    _tell(client, tank_id, "dips", dip=900, at="2026-01-09T08:00:00Z")
    answer = _tell(client, tank_id, "deliveries", **{**DELIVERY, "litres": 1900})
    assert answer.status_code == 422
    (error,) = answer.json()["errors"]
    assert (error["pointer"], error["code"]) == ("/litres", "does_not_fit")
    assert "had room for 3" in error["mend"]
    right = _tell(client, tank_id, "deliveries", **{**DELIVERY, "litres": 1900}, fits_anyway=True)
    assert right.status_code == 201


def test_gallons_are_litres_by_their_unit(client: TestClient, services: Services, tank_id: str) -> None:
    """200 imperial gallons are 909 litres (E3: the unit is asked, not guessed)."""
    told = {"litres": 200, "unit": "imperial_gallon", "at": "2026-01-09T10:30:00Z"}
    assert "909 litres" in _tell(client, tank_id, "deliveries", **told).json()["words"]


def test_oil_taken_out_and_bills(client: TestClient, services: Services, tank_id: str) -> None:
    """Oil taken out is its own record, never a negative delivery; a bill has a day and no hour."""
    assert _tell(client, tank_id, "removals", litres=50, at="2026-01-09T10:30:00Z").status_code == 201
    bill = {"date": "2026-01-05", "litres": 500, "filled": "no"}
    assert [_tell(client, tank_id, "bills", **bill).status_code for _ in range(2)] == [201, 200]
    with services.store.read() as session:
        tank = load_tank(session, tank_id)
        kept, bills = (
            load_deliveries(session, tank.id, until=NOW),
            load_receipts(session, tank.id, until=NOW.date()),
        )
    assert kept is not None
    assert bills is not None
    assert (kept.removed.tolist(), bills.litres.tolist(), bills.filled.tolist()) == ([True], [500.0], ["no"])


def test_wood_days_and_changes_are_added_to_what_is_kept(
    client: TestClient, services: Services, clock: StandingClock, tank_id: str
) -> None:
    """Each is a row more in a new version of its table; the same row again is known."""
    assert _tell(client, tank_id, "wood", date="2026-01-08", kg=12.5).status_code == 201
    assert _tell(client, tank_id, "wood", date="2026-01-09", kwh=30).status_code == 201
    days = {"start": "2026-02-01", "end": "2026-02-09", "what": "away"}
    assert [_tell(client, tank_id, "diary", **days).status_code for _ in range(2)] == [201, 200]
    assert _tell(client, tank_id, "changes", date="2025-10-01", what="new boiler").status_code == 201
    log, problems = parse_stove_log(_text(services, tank_id, TextKind.STOVE_LOG))
    assert (len(log.date), problems) == (2, ())
    diary = _text(services, tank_id, TextKind.DIARY)
    assert parse_diary(diary)[0][0].what == "away"
    assert parse_changes(diary)[0].what == "new boiler"
    overlapping = _tell(client, tank_id, "diary", start="2026-02-05", end="2026-02-12", what="guests")
    assert overlapping.status_code == 422


def test_a_moved_sensor_is_an_event_and_no_oil(
    client: TestClient, services: Services, clock: StandingClock, tank_id: str
) -> None:
    """From its time on the tank has another sensor height; what was before stays as it was."""
    at = NOW - timedelta(hours=1)
    told = {"sensor_height_mm": 1300, "at": at.isoformat()}
    answer = _tell(client, tank_id, "sensor-moves", **told)
    assert answer.status_code == 201, answer.text
    assert "1,300 mm above the inside bottom" in answer.json()["words"]
    assert _tell(client, tank_id, "sensor-moves", **told).status_code == 200
    with services.store.read() as session:
        tank = load_tank(session, tank_id)
        before = parse_tank(load_tank_version(session, tank.id, as_of=at - timedelta(seconds=1)).toml)
        after = parse_tank(load_tank_version(session, tank.id, as_of=at).toml)
        assert load_deliveries(session, tank.id, until=NOW) is None
    assert (before.sensor_height_mm, after.sensor_height_mm) == (1250.0, 1300.0)
    assert after.capacity_l == before.capacity_l
    early = {"sensor_height_mm": 1280, "at": (at - timedelta(hours=1)).isoformat()}
    assert _tell(client, tank_id, "sensor-moves", **early).status_code == 422


BAD = [
    ("A7-dip-missing", "dips", {}, "/dip"),
    ("A4-dip-true", "dips", {"dip": True}, "/dip"),
    ("A3-dip-nan", "dips", {"dip": "nan"}, "/dip"),
    ("A6-dip-arabic", "dips", {"dip": "٦٤٠"}, "/dip"),
    ("A13-unknown", "dips", {"dip": 640, "owner_id": 7}, ""),
    ("A10-surrogate", "dips", {"dip": "\ud800"}, "/dip"),
    ("A11-nul", "dips", {"dip": "6\u00000"}, "/dip"),
    ("B5-ahead", "dips", {"dip": 640, "at": "2026-01-10T12:06:00Z"}, "/at"),
    ("B1-never", "dips", {"dip": 640, "at": "yesterday"}, "/at"),
    ("B12-above-the-tank", "dips", {"dip": 640, "unit": "cm"}, "/dip"),
    ("who", "dips", {"dip": 640, "who": "a stranger"}, "/who"),
    ("gauge-45", "gauges", {"fraction": 45}, "/fraction"),
    ("E1-nought", "deliveries", {**DELIVERY, "litres": 0}, "/litres"),
    ("E1-negative", "deliveries", {**DELIVERY, "litres": -900}, "/litres"),
    ("E1-huge", "deliveries", {**DELIVERY, "litres": 1e7}, "/litres"),
    ("E1-infinite", "deliveries", {**DELIVERY, "litres": "Infinity"}, "/litres"),
    ("E5-future", "deliveries", {**DELIVERY, "at": "2026-01-11T10:30:00Z"}, "/at"),
    ("E5-before-anything", "deliveries", {**DELIVERY, "at": "1999-01-11T10:30:00Z"}, "/at"),
    ("E10-price", "deliveries", {**DELIVERY, "price": "1.23.4"}, ""),
    ("E4-basis", "deliveries", {**DELIVERY, "basis": "warm"}, "/basis"),
    ("ticket-long", "deliveries", {**DELIVERY, "ticket": "x" * 81}, "/ticket"),
    ("bill-future", "bills", {"date": "2026-01-11", "litres": 1}, "/date"),
    ("bill-no-day", "bills", {"date": "2026-02-30", "litres": 1}, "/date"),
    ("wood-both", "wood", {"date": "2026-01-08", "kg": 1, "kwh": 1}, "/kg"),
    ("wood-tonne", "wood", {"date": "2026-01-08", "kg": 1000}, "/kg"),
    ("diary-backwards", "diary", {"start": "2026-02-09", "end": "2026-02-01", "what": "away"}, "/end"),
    ("diary-word", "diary", {"start": "2026-02-01", "end": "2026-02-01", "what": "skiing"}, "/what"),
    ("change-word", "changes", {"date": "2026-02-01", "what": "new cat"}, "/what"),
    ("sensor-low", "sensor-moves", {"sensor_height_mm": 5}, "/sensor_height_mm"),
    ("D6-sensor-inside", "sensor-moves", {"sensor_height_mm": 600}, "/sensor_height_mm"),
]


@pytest.mark.parametrize(("kind", "told", "pointer"), [pytest.param(k, t, p, id=i) for i, k, t, p in BAD])
def test_what_cannot_be_is_refused_at_its_member(
    client: TestClient, tank_id: str, kind: str, told: dict[str, Any], pointer: str
) -> None:
    """Problem details name the member, and echo nothing."""
    answer = _tell(client, tank_id, kind, **told)
    assert answer.status_code == 422, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["errors"][0]["pointer"] == pointer
    assert "skiing" not in answer.text


def test_nobody_elses_tank(client: TestClient, tank_id: str) -> None:
    """An unknown tank is not found, whatever is told."""
    assert _tell(client, "nobody", "dips", dip=640).status_code == 404
