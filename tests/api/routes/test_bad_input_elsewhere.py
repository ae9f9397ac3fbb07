"""Bad input beside readings, tanks and tickets: what nobody is asked for, and what is passed over."""

import csv
import io
import zipfile
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.cli.values import parse_lead_days
from api.settings import Settings
from api.store.readings import count_readings
from api.store.tanks import load_tank
from api.usecases.accounts.exporting import export_tank
from api.wiring import Services, make_services
from forecaster.dwelling import parse_survey
from forecaster.errors import InputError
from forecaster.reorder import OrderSettings
from tests.api.conftest import LYING_CYLINDER, StandingClock

READING = {"at": "2026-01-10T06:00:00Z", "dip_mm": 640}
PROBLEM = "application/problem+json"


@pytest.fixture
def services(sqlite_url: str, clock: StandingClock) -> Iterator[Services]:
    """The service on SQLite: nothing here depends on the database."""
    made = make_services(Settings(database=sqlite_url), clock=clock)
    yield made
    made.store.engine.dispose()


def _readings(services: Services, tank_id: str) -> int:
    with services.store.read() as session:
        return count_readings(session, load_tank(session, tank_id).id)


def test_two_sensors_at_one_time_are_two_readings_D8(  # noqa: N802
    client: TestClient, services: Services, tank_id: str
) -> None:
    """D8: a sensor, a stick and a gauge may speak of the same time; each is kept under its own name."""
    at = READING["at"]
    readings = [{"at": at, "ullage_mm": 610}, {"at": at, "dip_mm": 640}, {"at": at, "fraction": 0.5}]
    assert client.post(f"/api/tanks/{tank_id}/readings", json={"readings": readings[:1]}).status_code == 201
    told = client.post(f"/api/tanks/{tank_id}/dips", json={"dip": 640, "at": at})
    assert told.status_code == 201
    assert client.post(f"/api/tanks/{tank_id}/gauges", json={"fraction": 0.5, "at": at}).status_code == 201
    assert _readings(services, tank_id) == len(readings)


def test_a_tank_is_not_taken_away_in_passing_D10(client: TestClient, tank_id: str) -> None:  # noqa: N802
    """D10: no operation of machines takes a tank away; the page that does asks for its name, typed."""
    assert client.delete(f"/api/tanks/{tank_id}").status_code == 404
    for typed in ("", "yes", "Another"):
        answer = client.post(
            f"/tanks/{tank_id}/erase", data={"name": typed}, headers={"Origin": "http://localhost"}
        )
        assert answer.status_code >= 400
    assert client.get(f"/api/tanks/{tank_id}/orders").status_code == 200


@pytest.mark.parametrize("name", ["=cmd()", "+1", "-1", "@x"])
def test_a_name_like_a_formula_is_none_in_a_table_D12(  # noqa: N802
    client: TestClient, services: Services, name: str
) -> None:
    """D12: in the tables that are taken out no cell begins as a formula does."""
    made = client.post("/api/tanks", json={"tank": {**LYING_CYLINDER, "name": name}}).json()["id"]
    with services.store.read() as session:
        packed = export_tank(session, load_tank(session, made).id)
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        tables = [n for n in archive.namelist() if n.endswith(".csv")]
        cells = [
            cell
            for table in tables
            for row in csv.reader(io.StringIO(archive.read(table).decode()))
            for cell in row
        ]
    assert f"'{name}" in cells
    assert name not in cells


def test_places_that_are_none_D13() -> None:  # noqa: N802
    """D13: swapped coordinates are refused with what is wrong; 0, 0 lies in the sea and is taken as not known."""
    with pytest.raises(InputError) as refused:
        parse_survey("latitude = -8.5\nlongitude = 52.0\n")
    assert "swapped" in str(refused.value)
    survey = parse_survey("latitude = 0\nlongitude = 0\n")
    assert (survey.latitude, survey.longitude) == (None, None)


@pytest.mark.parametrize("method", ["PUT", "PATCH", "DELETE"])
def test_a_ticket_is_not_changed_afterwards_E8(client: TestClient, tank_id: str, method: str) -> None:  # noqa: N802
    """E8: a ticket stays as it was told; oil that was not delivered is told as taken out."""
    told = {"litres": 900, "at": "2026-01-09T10:30:00Z", "ticket": "A 17"}
    assert client.post(f"/api/tanks/{tank_id}/deliveries", json=told).status_code == 201
    changed = client.request(method, f"/api/tanks/{tank_id}/deliveries", json={**told, "litres": 800})
    assert changed.status_code == 405
    undone = {"litres": 100, "at": "2026-01-09T10:31:00Z"}
    assert client.post(f"/api/tanks/{tank_id}/removals", json=undone).status_code == 201


PICTURES = [
    pytest.param("image/svg+xml", b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", id="E11-svg"),
    pytest.param("image/jpeg", b"\xff\xd8\xff\xe1" + b"x" * 5000, id="E11-jpeg"),
    pytest.param("application/pdf", b"%PDF-1.7\n" + b"x" * 5000, id="E11-pdf"),
]


@pytest.mark.parametrize(("kind", "data"), PICTURES)
def test_pictures_are_no_tickets_E11(  # noqa: N802
    client: TestClient, tank_id: str, kind: str, data: bytes
) -> None:
    """E11: a picture is refused unread as a ticket, and no page keeps it as a file of readings."""
    path = f"/api/tanks/{tank_id}/deliveries"
    answer = client.post(path, content=data, headers={"Content-Type": kind})
    assert (answer.status_code, answer.headers["content-type"]) == (415, PROBLEM)
    sent = client.post(
        f"/tanks/{tank_id}/tell/file",
        files={"file": ("../../x.svg", data, kind)},
        headers={"Origin": "http://localhost"},
    )
    assert 400 <= sent.status_code < 500


def test_there_are_no_schedules_to_give_G1_G7(client: TestClient, tank_id: str) -> None:  # noqa: N802
    """G1, G3, G4, G7: when to remind follows from the tank; schedules, quiet hours and levels are unknown members."""
    for member, value in (
        ("cron", "* * * * *"),
        ("schedule", "0 0 30 2 *"),
        ("rrule", "FREQ=SECONDLY"),
        ("quiet_hours", ["00:00", "24:00"]),
        ("threshold_l", 0),
    ):
        silence = client.post(f"/api/tanks/{tank_id}/silences", json={"until": "2026-01-20", member: value})
        assert silence.status_code == 422, member
        way = {"channel": "mail", "address": "ann@example.org", member: value}
        assert client.post(f"/api/tanks/{tank_id}/contacts", json=way).status_code == 422, member


@pytest.mark.parametrize(
    "zone", ["Europe/Lundon", "../../etc/localtime", "UTC+25", "/etc/localtime", "\0", ""]
)
def test_zones_that_are_none_G2(client: TestClient, zone: str) -> None:  # noqa: N802
    """G2: a zone is one of the list of zones, never a path."""
    answer = client.post("/api/tanks", json={"tank": {**LYING_CYLINDER, "timezone": zone}})
    assert answer.status_code == 422
    assert "/tank/timezone" in [error["pointer"] for error in answer.json()["errors"]]


@pytest.mark.parametrize("text", ["-1-5", "10-3", "400-500", "0.5-2", "", "3-", "٣-٥", "1e1-2"])
def test_lead_times_that_cannot_be_G5(text: str) -> None:  # noqa: N802
    """G5: working days to a delivery are whole, in order, and no year."""
    with pytest.raises((InputError, ValueError), match="give working days"):
        OrderSettings(lead_days=parse_lead_days(text))


def test_ways_to_be_reached_have_an_end_G8(client: TestClient, tank_id: str) -> None:  # noqa: N802
    """G8: beyond ten ways to be reached the next is refused."""
    path = f"/api/tanks/{tank_id}/contacts"
    answers = [
        client.post(path, json={"channel": "mail", "address": f"ann{i}@example.org"}) for i in range(11)
    ]
    assert [answer.status_code for answer in answers] == [201] * 10 + [422]


def test_a_hook_to_ourselves_changes_nothing_H7(client: TestClient, services: Services, tank_id: str) -> None:  # noqa: N802
    """H7: our own address is refused as a target, and our own message is no reading."""
    own = {"channel": "webhook", "address": f"https://localhost/api/tanks/{tank_id}/readings"}
    assert client.post(f"/api/tanks/{tank_id}/contacts", json=own).status_code == 422
    ours = {"type": "reminder", "timestamp": "2026-01-10T06:00:00Z", "data": {"title": "t"}}
    assert client.post(f"/api/tanks/{tank_id}/readings", json=ours).status_code == 422
    assert _readings(services, tank_id) == 0


@pytest.mark.parametrize("path", ["/new-password", "/reset", "/forgot", "/api/password"])
def test_nobody_asks_for_a_new_password_from_outside_I6(client: TestClient, path: str) -> None:  # noqa: N802
    """I6: a new password is asked for from the operator, who sends an address: no page sends mail to anybody."""
    assert client.post(path, data={"email": "ann@example.org"}).status_code in (404, 405)


@pytest.mark.parametrize("query", ["cursor=x", "after=10", "page=-1", "offset=1e9"])
def test_lists_have_no_places_to_alter_I12(client: TestClient, tank_id: str, query: str) -> None:  # noqa: N802
    """I12: lists are short and whole: there is no place in them that could be altered."""
    for kind in ("orders", "reminders", "contacts", "silences", "letters", "mappings"):
        assert client.get(f"/api/tanks/{tank_id}/{kind}?{query}").status_code == 422


def test_odd_headers_I13(client: TestClient, tank_id: str) -> None:  # noqa: N802
    """I13: languages and forms that nobody has are passed over; the answer is the usual one."""
    usual = client.get(f"/api/tanks/{tank_id}/orders")
    for headers in ({"Accept-Language": "../.."}, {"Accept": "application/xml"}, {"Cookie": "a=b; " * 1000}):
        answer = client.get(f"/api/tanks/{tank_id}/orders", headers=headers)
        assert (answer.status_code, answer.json()) == (usual.status_code, usual.json())


@pytest.mark.parametrize("key", ["x", "x" * 10_000, "\xff"])
def test_keys_against_sending_twice_change_nothing_I15(  # noqa: N802
    client: TestClient, services: Services, tank_id: str, key: Any
) -> None:
    """I15: sensor and time are the key of a reading; one in a header neither hides nor repeats anything."""
    headers = {"Idempotency-Key": key.encode("latin-1")}
    path = f"/api/tanks/{tank_id}/readings"
    others = [{**READING, "dip_mm": 641}, {**READING, "at": "2026-01-10T07:00:00Z"}]
    statuses = [client.post(path, json=r, headers=headers).status_code for r in (READING, READING, *others)]
    assert statuses == [201, 200, 409, 201]
    assert _readings(services, tank_id) == 2
