"""The catalogue of bad readings, each variant a test named by its short id, on both databases.

A row is the body as bytes, so that what no JSON writer would write can be sent. In every case the
answer is problem details that echo nothing, and nothing is stored.
"""

import gzip
import json
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.app import create_app
from api.settings import Settings
from api.store import Store
from api.store.readings import count_readings, load_readings
from api.store.tanks import BEGINNING, load_tank
from api.wiring import Services, make_services
from tests.api.conftest import LYING_CYLINDER, NOW, StandingClock, create_database

JSON = {"Content-Type": "application/json"}
AT = b'"at": "2026-01-10T06:00:00Z"'


def _with(member: bytes) -> bytes:
    return b"{" + AT + b", " + member + b"}"


def _time(text: str) -> bytes:
    return b'{"dip_mm": 640, "at": ' + text.encode() + b"}"


SHAPE = [
    ("A1-nan", _with(b'"ullage_mm": NaN'), 422),
    ("A1-nan-temperature", _with(b'"ullage_mm": 600, "air_c": NaN'), 422),
    ("A2-infinity", _with(b'"ullage_mm": Infinity'), 422),
    ("A2-minus-infinity", _with(b'"ullage_mm": -Infinity'), 422),
    ("A2-1e400", _with(b'"ullage_mm": 1e400'), 422),
    ("A2-infinity-unconstrained", _with(b'"ullage_mm": 600, "air_c": 1e400'), 422),
    ("A3-nan-text", _with(b'"ullage_mm": "nan"'), 422),
    ("A4-true", _with(b'"ullage_mm": true'), 422),
    ("A4-true-temperature", _with(b'"ullage_mm": 600, "air_c": true'), 422),
    ("A5-spaces", _with(b'"ullage_mm": " 12.5 "'), 422),
    ("A5-underscore", _with(b'"ullage_mm": "1_000"'), 422),
    ("A6-comma", _with(b'"ullage_mm": "12,5"'), 422),
    ("A6-arabic-digits", _with('"ullage_mm": "٦٠٠"'.encode()), 422),
    ("A7-null", _with(b'"ullage_mm": null'), 422),
    ("A7-null-time", b'{"at": null, "ullage_mm": 600}', 422),
    ("A7-missing-level", b"{" + AT + b"}", 422),
    ("A7-missing-time", b'{"ullage_mm": 600}', 422),
    ("A7-empty-text", _with(b'"ullage_mm": ""'), 422),
    ("A7-two-levels", _with(b'"ullage_mm": 600, "dip_mm": 600'), 422),
    ("A7-not-an-object", b"[]", 422),
    ("A7-a-text", b'"at"', 422),
    ("A7-bare-null", b"null", 422),
    ("A8-two-to-63", _with(b'"ullage_mm": 9223372036854775808'), 422),
    ("A8-300-digits", _with(b'"ullage_mm": ' + b"9" * 300), 422),
    ("A8-400-digits", _with(b'"ullage_mm": 600, "air_c": ' + b"9" * 400), 422),
    ("A9-5000-digits", _with(b'"ullage_mm": ' + b"9" * 5000), 400),
    ("A10-lone-surrogate", _with(b'"ullage_mm": 600, "sensor": "\\ud800"'), 422),
    ("A10-lone-surrogate-wrong-field", _with(b'"ullage_mm": "\\ud800"'), 422),
    ("A10-lone-surrogate-time", b'{"at": "\\udfff", "ullage_mm": 600}', 422),
    ("A10-lone-surrogate-key", _with(b'"ullage_mm": 600, "\\ud800": 1'), 422),
    ("A11-nul", _with(b'"ullage_mm": 600, "sensor": "a\\u0000b"'), 422),
    ("A11-nul-time", b'{"at": "2026-01-10T06:00:00Z\\u0000", "ullage_mm": 600}', 422),
    ("A12-key-twice", _with(b'"ullage_mm": 1, "ullage_mm": 2'), 400),
    ("A12-key-twice-escaped", _with(b'"ullage_mm": 1, "ullage\\u005fmm": 2'), 400),
    ("A13-unknown-field", _with(b'"ullage_mm": 600, "owner_id": 7'), 422),
    ("A14-nested", b"[" * 200_000, 400),
    ("A14-nested-object", b'{"a":' * 100_000, 400),
    ("A14-nested-closed", _with(b'"ullage_mm": ' + b"[" * 500 + b"]" * 500), 400),
    ("A15-10-megabytes", _with(b'"ullage_mm": 600, "sensor": "' + b"x" * 10_000_000 + b'"'), 413),
    ("A15-single-over-64-KiB", _with(b'"ullage_mm": 600, "sensor": "' + b"x" * 70_000 + b'"'), 413),
    ("A16-truncated", b'{"ullage_mm": 600, "at": ', 400),
    ("A16-trailing", _with(b'"ullage_mm": 600') + b" {}", 400),
    ("A16-empty", b"", 400),
    ("A16-only-space", b"  \n", 400),
    ("A17-utf-16", _with(b'"ullage_mm": 600').decode().encode("utf-16"), 400),
    ("A17-utf-16-without-mark", _with(b'"ullage_mm": 600').decode().encode("utf-16-le"), 400),
    ("A17-byte-order-mark", b"\xef\xbb\xbf" + _with(b'"ullage_mm": 600'), 400),
    ("A17-invalid-utf-8", _with(b'"ullage_mm": 600, "sensor": "\xff"'), 400),
    ("A17-overlong-utf-8", _with(b'"ullage_mm": 600, "sensor": "\xc0\x80"'), 400),
    ("A17-surrogate-in-utf-8", _with(b'"ullage_mm": 600, "sensor": "\xed\xa0\x80"'), 400),
    ("A20-empty-batch", b'{"readings": []}', 422),
    ("A20-1001", b'{"readings": [' + b",".join([_with(b'"dip_mm": 1')] * 1001) + b"]}", 413),
    ("A20-readings-no-list", b'{"readings": {}}', 422),
    ("A20-unknown-field", b'{"readings": [' + _with(b'"dip_mm": 1') + b'], "owner": 1}', 422),
    ("A20-sensor-no-text", b'{"readings": [' + _with(b'"dip_mm": 1') + b'], "sensor": 1}', 422),
]

MEANING = [
    ("B1-no-offset", _time('"2026-01-10T06:00:00"'), 422),
    ("B1-zone-name", _time('"2026-01-10T06:00:00 Europe/Dublin"'), 422),
    ("B2-epoch-s", _time("1768024800"), 422),
    ("B2-epoch-ms", _time("1768024800000"), 422),
    ("B2-epoch-text", _time('"1768024800"'), 422),
    ("B2-19999999999", _time("19999999999"), 422),
    ("B3-date-only", _time('"2026-01-10"'), 422),
    ("B3-zero", _time('"0"'), 422),
    ("B3-minus-one", _time("-1"), 422),
    ("B3-minus-one-text", _time('"-1"'), 422),
    ("B3-no-such-day", _time('"2026-02-30T06:00:00Z"'), 422),
    ("B3-hour-24", _time('"2026-01-09T24:00:00Z"'), 422),
    ("B3-arabic-digits", _time('"٢٠٢٦-01-10T06:00:00Z"'), 422),
    ("B4-leap-second-nowhere", _time('"2026-01-09T23:59:61Z"'), 422),
    ("B5-year-9999", _time('"9999-12-31T23:59:59Z"'), 422),
    ("B5-year-9999-overflow", _time('"9999-12-31T23:59:59-14:00"'), 422),
    ("B5-year-0001", _time('"0001-01-01T00:00:00Z"'), 422),
    ("B5-year-0001-overflow", _time('"0001-01-01T00:00:00+14:00"'), 422),
    ("B5-year-1999", _time('"1999-12-31T23:59:59Z"'), 422),
    ("B5-offset-23-59", _time('"2026-01-10T06:00:00+23:59"'), 422),
    ("B6-25-hours-ahead", _time('"2026-01-11T13:00:00Z"'), 422),
    ("B11-negative", _with(b'"ullage_mm": -1'), 422),
    ("B11-a-little-negative", _with(b'"ullage_mm": -0.001'), 422),
    ("B12-beyond-any-tank", _with(b'"ullage_mm": 100001'), 422),
    ("B13-hexadecimal", _with(b'"ullage_mm": 0xFFFF'), 400),
    ("B13-hexadecimal-text", _with(b'"ullage_mm": "0xFFFF"'), 422),
]


def _post(client: TestClient, tank: str, body: bytes, **headers: str) -> Any:
    return client.post(f"/api/tanks/{tank}/readings", content=body, headers={**JSON, **headers})


def _assert_problem(answer: Any, status: int) -> dict[str, Any]:
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    body: dict[str, Any] = answer.json()
    assert body["status"] == status
    assert body["title"]
    assert body["type"]
    for error in body.get("errors", []):
        assert set(error) == {"pointer", "code", "mend"}
    return body


@pytest.fixture
def stored(services: Services, tank_id: str) -> Iterator[Any]:
    """A function that counts the tank's readings."""

    def count() -> int:
        with services.store.read() as session:
            return count_readings(session, load_tank(session, tank_id).id)

    return count  # type: ignore[return-value]


@dataclass
class Desk:
    """A service, one of its tanks, and how many readings it has; shared, because nothing gets in."""

    client: TestClient
    tank: str
    store: Store

    def stored(self) -> int:
        with self.store.read() as session:
            return count_readings(session, load_tank(session, self.tank).id)


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def desk(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """One service for all refusals, on each of the two databases."""
    if request.param == "sqlite":
        url = f"sqlite:///{tmp_path_factory.mktemp('desk') / 'dipcast.db'}"
    else:
        url = create_database(request.getfixturevalue("postgresql_url"), "desk")
    made = make_services(Settings(database=url, requests_burst=100_000), clock=StandingClock())
    with TestClient(create_app(made), base_url="http://localhost", raise_server_exceptions=False) as client:
        tank = client.post("/api/tanks", json={"tank": LYING_CYLINDER}).json()["id"]
        yield Desk(client, tank, made.store)


@pytest.mark.parametrize(("body", "status"), [pytest.param(b, s, id=i) for i, b, s in SHAPE + MEANING])
def test_bad_reading_is_refused(desk: Desk, body: bytes, status: int) -> None:
    """A bad reading is answered with the right problem, and nothing is stored."""
    _assert_problem(_post(desk.client, desk.tank, body), status)
    assert desk.stored() == 0


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        pytest.param("text/plain", _with(b'"dip_mm": 1'), id="A18-text"),
        pytest.param("", _with(b'"dip_mm": 1'), id="A18-none"),
        pytest.param("application/xml", b"<r/>", id="A18-xml"),
        pytest.param("application/json; charset=utf-7", _with(b'"dip_mm": 1'), id="A18-utf-7"),
        pytest.param("application/json; charset=utf-16", _with(b'"dip_mm": 1'), id="A18-utf-16"),
        pytest.param("application/x-www-form-urlencoded", b"dip_mm=1", id="A18-form"),
        pytest.param("application/jsonx", _with(b'"dip_mm": 1'), id="A18-jsonx"),
    ],
)
def test_other_content_types_are_refused(desk: Desk, kind: str, body: bytes) -> None:
    """Only application/json is read."""
    headers = {"Content-Type": kind} if kind else {}
    answer = desk.client.post(f"/api/tanks/{desk.tank}/readings", content=body, headers=headers)
    _assert_problem(answer, 415)


@pytest.mark.parametrize("encoding", ["gzip", "deflate", "br", "gzip, gzip"])
def test_encoded_body_is_refused_A19(desk: Desk, encoding: str) -> None:  # noqa: N802
    """A19: a compressed body, which could unpack to anything, is refused unread."""
    _assert_problem(
        _post(desk.client, desk.tank, gzip.compress(b" " * 10_000_000), **{"Content-Encoding": encoding}), 415
    )


def test_charset_utf_8_is_read_A18(client: TestClient, tank_id: str) -> None:  # noqa: N802
    """A18: the one charset that JSON has may be named."""
    answer = client.post(
        f"/api/tanks/{tank_id}/readings",
        content=_with(b'"dip_mm": 640'),
        headers={"Content-Type": 'Application/JSON; charset="UTF-8"'},
    )
    assert answer.status_code == 201


@pytest.mark.parametrize("body", [b"[" * 200_000, b'{"readings": ' + b"[" * 200_000])
def test_deep_nesting_is_refused_quickly_A14(desk: Desk, body: bytes) -> None:  # noqa: N802
    """A14: 200,000 brackets cost less than 50 ms more than an ordinary refusal."""
    _post(desk.client, desk.tank, b"[")
    took = []
    for content in (b"[", body):
        tries = []
        for _ in range(5):
            start = time.perf_counter()
            _assert_problem(_post(desk.client, desk.tank, content), 400)
            tries.append(time.perf_counter() - start)
        took.append(min(tries))
    assert took[1] - took[0] < 0.05


def test_too_long_a_body_is_not_read_to_its_end_A15(desk: Desk) -> None:  # noqa: N802
    """A15: a body without a declared length is cut off at the limit."""
    sent = 0

    def endless() -> Iterator[bytes]:
        nonlocal sent
        while sent < 50_000_000:
            sent += 65_536
            yield b"x" * 65_536

    _assert_problem(_post(desk.client, desk.tank, endless()), 413)  # type: ignore[arg-type]


def test_one_bad_in_a_hundred_A21(client: TestClient, tank_id: str, stored: Any) -> None:  # noqa: N802
    """A21: of a batch with one bad reading 99 are stored, the bad one is named, a retry changes nothing."""
    readings = [{"at": (NOW - timedelta(hours=h)).isoformat(), "dip_mm": 640.0 + h} for h in range(100)]
    readings[37]["dip_mm"] = "bad"
    first = client.post(f"/api/tanks/{tank_id}/readings", json={"readings": readings})
    assert first.status_code == 207
    assert {k: first.json()[k] for k in ("new", "known", "conflict", "refused")} == {
        "new": 99,
        "known": 0,
        "conflict": 0,
        "refused": 1,
    }
    assert first.json()["results"][37]["errors"][0]["pointer"] == "/readings/37/dip_mm"
    assert stored() == 99
    again = client.post(f"/api/tanks/{tank_id}/readings", json={"readings": readings})
    assert (again.status_code, again.json()["known"], stored()) == (207, 99, 99)


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        pytest.param("2026-01-09T23:59:60Z", "2026-01-09T23:59:59", id="B4-leap-second"),
        pytest.param("2025-03-30T02:30:00+01:00", "2025-03-30T01:30:00", id="B8-hour-that-is-not"),
        pytest.param("2025-10-26T02:30:00+02:00", "2025-10-26T00:30:00", id="B8-hour-twice-first"),
        pytest.param("2025-10-26T02:30:00+01:00", "2025-10-26T01:30:00", id="B8-hour-twice-second"),
        pytest.param("2024-12-06T06:00:00Z", "2024-12-06T06:00:00", id="B7-400-days-old"),
        pytest.param("2026-01-10T12:04:00Z", "2026-01-10T12:04:00", id="B6-4-min-ahead"),
        pytest.param("2026-01-10t06:00:00.999z", "2026-01-10T06:00:00", id="B1-lower-case"),
    ],
)
def test_time_is_taken_by_its_offset(
    client: TestClient, services: Services, tank_id: str, text: str, kept: str
) -> None:
    """A time with its offset is kept as that instant, to the second."""
    answer = _post(client, tank_id, _time(f'"{text}"'))
    assert answer.status_code == 201, answer.text
    assert answer.json()["results"][0]["at"] == kept + "Z"
    with services.store.read() as session:
        readings = load_readings(
            session, load_tank(session, tank_id).id, since=BEGINNING, until=NOW + timedelta(days=1)
        )
    assert readings is not None
    assert readings.at.astype(str).tolist() == [kept]


def test_six_minutes_ahead_B6(  # noqa: N802
    client: TestClient, clock: StandingClock, tank_id: str, stored: Any
) -> None:
    """B6: a reading from a clock 6 minutes ahead is kept under our time, flagged, and known again later."""
    body = _time('"2026-01-10T12:06:00Z"')
    first = _post(client, tank_id, body).json()["results"][0]
    assert (first["status"], first["clock"], first["at"]) == ("new", True, "2026-01-10T12:00:00Z")
    clock.move(minutes=10)
    again = _post(client, tank_id, body)
    assert again.status_code == 200
    assert again.json()["results"][0] == {**first, "status": "known"}
    assert stored() == 1


def test_a_batch_from_a_clock_ahead_keeps_its_distances_B6(client: TestClient, tank_id: str) -> None:  # noqa: N802
    """B6: of readings from a clock that is ahead the newest gets our time, the others keep their distance."""
    batch = {
        "readings": [
            {"at": "2026-01-10T14:00:00Z", "dip_mm": 641},
            {"at": "2026-01-10T15:00:00Z", "dip_mm": 640},
            {"at": "2026-01-12T15:00:00Z", "dip_mm": 639},
        ]
    }
    answer = client.post(f"/api/tanks/{tank_id}/readings", json=batch)
    assert answer.status_code == 207
    results = answer.json()["results"]
    assert [r["at"] for r in results] == ["2026-01-10T11:00:00Z", "2026-01-10T12:00:00Z", None]
    assert [r["clock"] for r in results] == [True, True, False]
    assert results[2]["errors"][0] == {
        "pointer": "/readings/2/at",
        "code": "far_future",
        "mend": "set the clock: the time is more than 24 hours ahead",
    }


def test_same_reading_again_B9(client: TestClient, tank_id: str, stored: Any) -> None:  # noqa: N802
    """B9: the same reading again is known, and no new row."""
    body = _with(b'"dip_mm": 640')
    assert [_post(client, tank_id, body).status_code for _ in range(3)] == [201, 200, 200]
    assert stored() == 1


def test_other_value_for_the_same_time_B10(client: TestClient, tank_id: str, services: Services) -> None:  # noqa: N802
    """B10: another value for the same sensor and time is a conflict; the first is kept."""
    assert _post(client, tank_id, _with(b'"dip_mm": 640')).status_code == 201
    _assert_problem(_post(client, tank_id, _with(b'"dip_mm": 641')), 409)
    with services.store.read() as session:
        readings = load_readings(session, load_tank(session, tank_id).id, since=BEGINNING, until=NOW)
    assert readings is not None
    assert readings.value.tolist() == [640.0]


def test_conflict_inside_a_batch_B10(client: TestClient, tank_id: str) -> None:  # noqa: N802
    """B10: in a batch a conflict is told per reading, and the others are stored."""
    at = "2026-01-10T06:00:00Z"
    answer = client.post(
        f"/api/tanks/{tank_id}/readings",
        json={"readings": [{"at": at, "dip_mm": 640}, {"at": at, "dip_mm": 641}, {"at": at, "litres": 900}]},
    )
    assert answer.status_code == 207
    assert [r["status"] for r in answer.json()["results"]] == ["new", "conflict", "new"]


@pytest.mark.parametrize(
    ("member", "flag"),
    [
        pytest.param('"ullage_mm": 0', "no_echo", id="B11-zero"),
        pytest.param('"ullage_mm": -0.0', "no_echo", id="B11-minus-zero"),
        pytest.param('"ullage_mm": 1600', "below_tank", id="B12-below"),
        pytest.param('"dip_mm": 1300', "above_tank", id="B12-above"),
        pytest.param('"ullage_mm": 65535', "no_echo", id="B13-65535"),
        pytest.param('"ullage_mm": 32767', "no_echo", id="B13-32767"),
        pytest.param('"ullage_mm": 9999', "no_echo", id="B13-9999"),
    ],
)
def test_impossible_level_is_kept_and_flagged(
    client: TestClient, tank_id: str, stored: Any, member: str, flag: str
) -> None:
    """A level that this tank cannot have is kept as it came, and said not to be used."""
    answer = _post(client, tank_id, _with(member.encode()))
    assert answer.status_code == 201, answer.text
    assert flag in answer.json()["results"][0]["flags"]
    assert stored() == 1


def test_sentinel_999_in_a_higher_tank_is_doubtful_only_in_context_B13(  # noqa: N802
    client: TestClient, tank_id: str
) -> None:
    """B13: 999 mm is a possible ullage of this tank, so alone it is kept without a flag."""
    answer = _post(client, tank_id, _with(b'"ullage_mm": 999'))
    assert answer.status_code == 201
    assert answer.json()["results"][0]["flags"] in ([], ["no_echo"])


@pytest.mark.parametrize("factor", [pytest.param(10.0, id="B14-cm"), pytest.param(25.4, id="B14-inches")])
def test_other_unit_is_flagged(client: TestClient, tank_id: str, factor: float) -> None:
    """B14: readings that from one day on are a tenth, or an inch's share, are flagged as another unit."""
    days = [(NOW - timedelta(days=d)) for d in range(12, 0, -1)]
    values = [700.0 + 5 * i for i in range(8)] + [(740.0 + 5 * i) / factor for i in range(4)]
    readings = [{"at": at.isoformat(), "ullage_mm": v} for at, v in zip(days, values, strict=True)]
    answer = client.post(f"/api/tanks/{tank_id}/readings", json={"readings": readings})
    assert answer.status_code == 201
    flags = [r["flags"] for r in answer.json()["results"]]
    assert flags[:8] == [[]] * 8
    assert all(flags[8:])
    assert any("unit" in f for f in flags[8:])


def test_forty_identical_values_are_stored_B15(client: TestClient, tank_id: str, stored: Any) -> None:  # noqa: N802
    """B15: a value that stays is stored each time; whether the sensor is stuck the forecast decides."""
    readings = [{"at": (NOW - timedelta(hours=h)).isoformat(), "ullage_mm": 742} for h in range(40)]
    answer = client.post(f"/api/tanks/{tank_id}/readings", json={"readings": readings})
    assert (answer.status_code, stored()) == (201, 40)
    assert all(r["flags"] == [] for r in answer.json()["results"])


def test_creeping_rise_is_flagged_B16(client: TestClient, tank_id: str) -> None:  # noqa: N802
    """B16: a level that rises a little every day without a delivery is kept and flagged."""
    readings = [
        {"at": (NOW - timedelta(days=40 - d)).isoformat(), "dip_mm": 500.0 + 5.0 * d} for d in range(40)
    ]
    answer = client.post(f"/api/tanks/{tank_id}/readings", json={"readings": readings})
    assert answer.status_code == 201
    assert any("trend" in r["flags"] for r in answer.json()["results"])


def test_a_thousand_a_second_B17(sqlite_url: str, clock: StandingClock) -> None:  # noqa: N802
    """B17: a sender of too many messages is told when to come again, and is served then."""
    made = make_services(Settings(database=sqlite_url, requests_burst=5, requests_per_s=0.5), clock=clock)
    with TestClient(create_app(made), base_url="http://localhost") as client:
        tank = client.post("/api/tanks", json={"tank": LYING_CYLINDER}).json()["id"]
        answers = [_post(client, tank, _with(b'"dip_mm": 640')) for _ in range(6)]
        assert [a.status_code for a in answers[:5]] == [201, 200, 200, 200, 200]
        _assert_problem(answers[5], 429)
        assert answers[5].headers["retry-after"] == "2"
        clock.move(seconds=2)
        assert [_post(client, tank, _with(b'"dip_mm": 640')).status_code for _ in range(2)] == [200, 429]


def test_unknown_sensor_B18(client: TestClient, tank_id: str, stored: Any) -> None:  # noqa: N802
    """B18: a sensor that is unknown, or of another tank, is not found, in the same words."""
    other = client.post("/api/tanks", json={"tank": {**LYING_CYLINDER, "name": "Other"}}).json()
    bodies = []
    for sensor in ("no-such-sensor", other["sensors"][0]["id"], "' OR 1=1--", "x" * 10_000):
        body = json.dumps({"at": "2026-01-10T06:00:00Z", "dip_mm": 640, "sensor": sensor}).encode()
        answer = _post(client, tank_id, body)
        _assert_problem(answer, 404)
        bodies.append(answer.content)
    bodies.append(_post(client, "no-such-tank", _with(b'"dip_mm": 640')).content)
    assert len(set(bodies)) == 1
    assert stored() == 0


@pytest.mark.parametrize("air_c", [-300, 900])
def test_impossible_temperature_B19(  # noqa: N802
    client: TestClient, services: Services, tank_id: str, air_c: int
) -> None:
    """B19: a reading with an impossible temperature is kept without it, and that is said."""
    answer = _post(client, tank_id, _with(f'"dip_mm": 640, "air_c": {air_c}, "oil_c": 4.5'.encode()))
    assert answer.status_code == 201
    assert [e["pointer"] for e in answer.json()["results"][0]["errors"]] == ["/air_c"]
    with services.store.read() as session:
        readings = load_readings(session, load_tank(session, tank_id).id, since=BEGINNING, until=NOW)
    assert readings is not None
    assert str(readings.air_c.tolist()) == "[nan]"
    assert readings.oil_c.tolist() == [4.5]


def test_petrol_is_no_heating_oil_B20(client: TestClient) -> None:  # noqa: N802
    """B20: a tank of petrol is refused."""
    answer = client.post("/api/tanks", json={"tank": {**LYING_CYLINDER, "product": "petrol"}})
    body = _assert_problem(answer, 422)
    assert "/tank/product" in [e["pointer"] for e in body["errors"]]
    assert "petrol" not in answer.text


_CANARY = "CANARY9f3"
_scalars = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.just(_CANARY),
    st.text(max_size=5).map(lambda t: t + _CANARY),
)
_values = st.recursive(
    _scalars,
    lambda v: st.one_of(
        st.lists(v, max_size=3), st.dictionaries(st.just(_CANARY) | st.text(max_size=4), v, max_size=3)
    ),
    max_leaves=6,
)
_members = st.sampled_from(
    ["at", "sensor", "ullage_mm", "dip_mm", "litres", "fraction", "air_c", "oil_c", "readings", _CANARY]
)


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    database=None,
)
@given(body=st.dictionaries(_members, _values, max_size=5) | _values)
def test_no_body_is_echoed_or_fails(desk: Desk, body: Any) -> None:
    """Whatever JSON is sent, the answer is no failure of the program and holds nothing of a text sent."""
    answer = _post(desk.client, desk.tank, json.dumps(body).encode())
    assert answer.status_code in (200, 201, 207, 400, 404, 409, 413, 422), answer.text
    assert _CANARY not in answer.text


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    database=None,
)
@given(body=st.binary(max_size=60))
def test_no_bytes_make_it_fail(desk: Desk, body: bytes) -> None:
    """Whatever bytes are sent, the answer is a problem of the sender's."""
    assert _post(desk.client, desk.tank, body).status_code in (400, 422)
