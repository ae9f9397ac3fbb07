"""SenML over HTTP: stored once, refused with its place, never half."""

import json
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.store.readings import load_readings
from api.store.tanks import BEGINNING, load_tank
from api.wiring import Services
from tests.api.conftest import NOW

SENML = {"Content-Type": "application/senml+json"}
PACK = [
    {
        "bn": "urn:dev:mac:0024befffe804ff1:",
        "bt": NOW.timestamp() - 7200,
        "bu": "m",
        "n": "ullage",
        "v": 0.61,
    },
    {"n": "ullage", "t": 3600, "v": 0.62},
    {"n": "air", "u": "Cel", "v": 4.5},
    {"n": "battery", "u": "%EL", "v": 87},
]


def _post(client: TestClient, tank: str, pack: Any, **headers: str) -> Any:
    content = pack if isinstance(pack, bytes) else json.dumps(pack).encode()
    return client.post(f"/api/tanks/{tank}/senml", content=content, headers={**SENML, **headers})


def _stored(services: Services, tank_id: str) -> list[float]:
    with services.store.read() as session:
        tank = load_tank(session, tank_id)
        readings = load_readings(session, tank.id, since=BEGINNING, until=NOW)
    return [] if readings is None else readings.value.tolist()


def test_a_pack_is_stored_once(client: TestClient, services: Services, tank_id: str) -> None:
    """A pack's levels are new at first and known ever after; what is no level is counted."""
    first, again = _post(client, tank_id, PACK), _post(client, tank_id, PACK)
    assert (first.status_code, again.status_code) == (201, 200)
    assert (first.json()["new"], first.json()["passed_over"], again.json()["known"]) == (2, 1, 2)
    assert _stored(services, tank_id) == [610.0, 620.0]


def test_another_value_of_the_same_time_is_a_conflict(
    client: TestClient, services: Services, tank_id: str
) -> None:
    """The first value stays, the other is named with its record (B10)."""
    _post(client, tank_id, PACK)
    answer = _post(client, tank_id, [{**PACK[0], "v": 0.5}])
    assert answer.status_code == 207
    assert answer.json()["results"][0]["errors"][0] == {
        "pointer": "/0",
        "code": "conflict",
        "mend": "another value is kept under this sensor and time; the first stays",
    }
    assert _stored(services, tank_id) == [610.0, 620.0]


def test_a_bad_record_costs_only_itself(client: TestClient, services: Services, tank_id: str) -> None:
    """Of a pack with a record in feet the others are stored (A21)."""
    answer = _post(client, tank_id, [*PACK, {"n": "ullage", "u": "ft", "t": 60, "v": 2}])
    assert answer.status_code == 207
    assert (answer.json()["new"], answer.json()["refused"]) == (2, 1)
    assert _stored(services, tank_id) == [610.0, 620.0]


BAD = [
    ("A1-nan", b'[{"n":"ullage","u":"m","v":NaN}]', 422),
    ("A2-infinity", b'[{"n":"ullage","u":"m","v":1e400}]', 422),
    ("A4-true", b'[{"n":"ullage","u":"m","v":true}]', 422),
    ("A8-two-to-63", b'[{"n":"ullage","u":"m","v":9223372036854775808}]', 422),
    ("A9-5000-digits", b'[{"n":"ullage","u":"m","v":' + b"9" * 5000 + b"}]", 400),
    ("A10-lone-surrogate", b'[{"n":"\\ud800","u":"m","v":1}]', 422),
    ("A11-nul", b'[{"n":"ullage\\u0000","u":"m","v":1}]', 422),
    ("A12-key-twice", b'[{"n":"ullage","u":"m","v":1,"v":2}]', 400),
    ("A14-nested", b"[" * 200_000, 400),
    ("A15-10-megabytes", b'["' + b"x" * 10_000_000 + b'"]', 413),
    ("A16-truncated", b'[{"n":"ullage"', 400),
    ("A16-empty", b"", 400),
    ("A17-utf-16", '[{"n":"ullage","u":"m","v":1}]'.encode("utf-16"), 400),
    ("A20-empty-pack", b"[]", 422),
    ("A20-1001", b"[" + b",".join([b'{"n":"ullage","u":"m","v":1}'] * 1001) + b"]", 422),
    ("B5-year-1999", b'[{"n":"ullage","u":"m","v":1,"t":900000000}]', 422),
    ("B11-negative", b'[{"n":"ullage","u":"m","v":-1}]', 422),
    ("not-a-pack", b"{}", 422),
    ("must-understand", b'[{"n":"ullage","u":"m","v":1,"x_":1}]', 422),
]


@pytest.mark.parametrize(("body", "status"), [pytest.param(b, s, id=i) for i, b, s in BAD])
def test_bad_packs_are_refused(
    client: TestClient, services: Services, tank_id: str, body: bytes, status: int
) -> None:
    """A pack without a usable level is answered with problem details, and nothing is stored."""
    answer = _post(client, tank_id, body)
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert _stored(services, tank_id) == []


def test_only_the_media_type_of_senml_is_taken(client: TestClient, tank_id: str) -> None:
    """Plain JSON goes to the readings' own address (A18)."""
    answer = _post(client, tank_id, PACK, **{"Content-Type": "application/json"})
    assert answer.status_code == 415
    assert answer.headers["accept"] == "application/senml+json"
    assert _post(client, "no-such-tank", PACK).status_code == 404


def test_a_pack_of_other_things_stores_nothing(client: TestClient, services: Services, tank_id: str) -> None:
    """A pack that holds no level at all is no fault: its records are passed over."""
    answer = _post(client, tank_id, [{"n": "battery", "u": "%EL", "v": 87}])
    assert (answer.status_code, answer.json()["passed_over"]) == (200, 1)
    assert _stored(services, tank_id) == []
