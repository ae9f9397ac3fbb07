"""What holds for every operation: unknown paths, hosts, headers, failures, and relations declared."""

import logging
import socket
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
import uvicorn
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.app import PROTECTIONS, create_app
from api.schemas.relation import Relation, relation
from api.settings import Settings
from api.store import StoreUnavailableError
from api.store.tanks import list_tanks
from api.wiring import Services, make_services
from tests.api.conftest import StandingClock


@pytest.fixture
def services(sqlite_url: str, clock: StandingClock) -> Iterator[Services]:
    """The service on SQLite: nothing here depends on the database."""
    made = make_services(Settings(database=sqlite_url), clock=clock)
    yield made
    made.store.engine.dispose()


def _assert_problem(answer: Any, status: int) -> None:
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["status"] == status


@pytest.mark.parametrize(
    "tank",
    [
        pytest.param("..%2f1", id="I9-up"),
        pytest.param("1%00", id="I9-nul"),
        pytest.param("1e3", id="I9-1e3"),
        pytest.param("x" * 10_000, id="I9-long"),
        pytest.param("3f2b8c1e-7d54-4f0e-9d53-0c1f2d6a7b88", id="I9-uuid"),
        pytest.param("3F2B8C1E-7D54-4F0E-9D53-0C1F2D6A7B88", id="I9-uuid-upper-case"),
        pytest.param("%F0%9F%9B%A2", id="I9-emoji"),
        pytest.param("%ff", id="I9-not-utf-8"),
        pytest.param("' OR 1=1--", id="I1-sql"),
    ],
)
def test_other_ids_are_not_found(client: TestClient, tank: str) -> None:
    """Whatever else stands for a tank's id is not found, for reading and for writing."""
    _assert_problem(client.get(f"/api/tanks/{tank}/forecast"), 404)
    reading = {"at": "2026-01-10T06:00:00Z", "dip_mm": 640}
    _assert_problem(client.post(f"/api/tanks/{tank}/readings", json=reading), 404)


def test_an_id_in_another_case_is_not_found_I9(client: TestClient, tank_id: str) -> None:  # noqa: N802
    """I9: an id counts letter by letter."""
    _assert_problem(client.get(f"/api/tanks/{tank_id.swapcase()}/forecast"), 404)


@pytest.mark.parametrize("value", ["-1", "0", "100000000000000000000", "1_0", "%207%20", "1&limit=2"])
@pytest.mark.parametrize("path", ["/health/live", "/health/ready", "/api/tanks/{tank}/forecast"])
def test_unknown_parameters_are_refused_I10(  # noqa: N802
    client: TestClient, tank_id: str, path: str, value: str
) -> None:
    """I10: no operation has a parameter, so any is refused rather than passed over."""
    _assert_problem(client.get(f"{path.format(tank=tank_id)}?limit={value}"), 422)


@pytest.mark.parametrize("query", ["sort=password", "fields=owner.email", "filter=(a%2B)%2B%24", "x"])
def test_unknown_parameters_are_refused_I11(client: TestClient, tank_id: str, query: str) -> None:  # noqa: N802
    """I11: neither sorting nor fields nor filters can be slipped in; an empty query is none."""
    answer = client.get(f"/api/tanks/{tank_id}/forecast?{query}")
    _assert_problem(answer, 422)
    assert "password" not in answer.text


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        pytest.param("GET", "/nothing", 404, id="I17-unknown"),
        pytest.param("GET", "/api/tanks/x/forecast/", 404, id="I17-slash"),
        pytest.param("GET", "/docs", 404, id="I17-docs"),
        pytest.param("GET", "/redoc", 404, id="I17-redoc"),
        pytest.param("TRACE", "/nothing", 404, id="I17-trace-unknown"),
        pytest.param("TRACE", "/api/tanks", 405, id="I17-trace"),
        pytest.param("DELETE", "/api/tanks/x/readings", 405, id="I17-delete"),
        pytest.param("GET", "/api/tanks/x/readings", 405, id="I17-get"),
        pytest.param("POST", "/health/live", 405, id="I17-post"),
        pytest.param("QUERY", "/health/live", 405, id="I17-query"),
    ],
)
def test_unknown_path_or_method(client: TestClient, method: str, path: str, status: int) -> None:
    """An unknown path is not found; another method is not allowed, and the allowed ones are named."""
    answer = client.request(method, path)
    _assert_problem(answer, status)
    assert ("allow" in answer.headers) == (status == 405)


@pytest.mark.parametrize("host", ["evil.example", "localhost.evil.example", "", "127.0.0.1@evil", "[::2]"])
def test_other_hosts_are_refused_I14(client: TestClient, host: str) -> None:  # noqa: N802
    """I14: a request for another host is not served, so no foreign page can reach in by a name of its own."""
    _assert_problem(client.get("/health/live", headers={"Host": host}), 400)


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:8000", "127.0.0.1:8000", "[::1]:8000"])
def test_own_hosts_are_served(client: TestClient, host: str) -> None:
    """The names of the own machine are served, with any port."""
    assert client.get("/health/live", headers={"Host": host}).json() == {"status": "live"}


def test_forwarded_headers_are_ignored_I14(client: TestClient, tank_id: str) -> None:  # noqa: N802
    """I14: nothing in an answer follows from a forwarded host."""
    answer = client.get(
        "/nothing", headers={"X-Forwarded-Host": "evil.example", "X-Forwarded-Proto": "https"}
    )
    _assert_problem(answer, 404)
    assert "evil" not in answer.text + str(answer.headers)


@pytest.mark.parametrize("path", ["/health/live", "/nothing", "/openapi.json"])
def test_every_answer_is_protected(client: TestClient, path: str) -> None:
    """Every answer forbids loading from, showing in and telling other hosts, and is not kept."""
    headers = client.get(path).headers
    assert {name: headers[name] for name in PROTECTIONS} == PROTECTIONS
    assert headers["cache-control"] == "no-store"
    assert "unsafe" not in headers["content-security-policy"]


def test_document_has_no_other_host(client: TestClient) -> None:
    """The description of the operations is served, and names no other host."""
    document = client.get("/openapi.json").json()
    assert document["paths"]
    assert "http://" not in str(document).replace("http://localhost", "")


def test_a_failure_tells_nothing(
    client: TestClient, tank_id: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """A failure of the program is logged, and answered as a plain 500 with its protections."""

    def fail(*args: object, **more: object) -> None:
        raise ZeroDivisionError("secret 4711")

    monkeypatch.setattr("api.routes.recording.record_readings", fail)
    with caplog.at_level(logging.ERROR):
        answer = client.post(
            f"/api/tanks/{tank_id}/readings", json={"at": "2026-01-10T06:00:00Z", "dip_mm": 640}
        )
    _assert_problem(answer, 500)
    assert "4711" not in answer.text
    assert answer.headers["content-security-policy"] == PROTECTIONS["Content-Security-Policy"]
    assert "ZeroDivisionError" in caplog.text


def test_an_unavailable_database_says_when_to_come_again(
    client: TestClient, tank_id: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While the database is away a reading is refused with 503; the process lives and is not ready."""

    def away(*args: object, **more: object) -> None:
        raise StoreUnavailableError

    monkeypatch.setattr("api.store.engine.Session", away)
    for answer in (
        client.post(f"/api/tanks/{tank_id}/readings", json={"at": "2026-01-10T06:00:00Z", "dip_mm": 640}),
        client.get(f"/api/tanks/{tank_id}/forecast"),
        client.get("/health/ready"),
    ):
        _assert_problem(answer, 503)
        assert int(answer.headers["retry-after"]) > 0
    assert client.get("/health/live").status_code == 200


def test_ready_when_migrated(client: TestClient) -> None:
    """With its database in shape the service is ready."""
    assert client.get("/health/ready").json() == {"status": "ready"}


def test_an_operation_without_a_row_is_not_found(services: Services) -> None:
    """An operation that stands in no row of the policy is not found, wherever it is mounted."""
    app = create_app(services)

    def forgotten() -> str:
        return "secret"

    @relation(Relation.ANYONE)
    def declared() -> str:
        return "open"

    app.add_api_route("/forgotten", forgotten)
    app.add_api_route("/declared", declared)
    with TestClient(app, base_url="http://localhost") as client:
        _assert_problem(client.get("/forgotten"), 404)
        _assert_problem(client.get("/declared"), 404)


@pytest.fixture
def port(services: Services) -> Iterator[int]:
    """A port of this machine on which the service runs in a real web server."""
    server = uvicorn.Server(
        uvicorn.Config(create_app(services), port=0, log_level="critical", http="h11", lifespan="on")
    )
    thread = threading.Thread(target=server.run)
    thread.start()
    deadline = time.monotonic() + 20
    while not server.started:
        assert time.monotonic() < deadline
        time.sleep(0.01)
    yield int(server.servers[0].sockets[0].getsockname()[1])
    server.should_exit = True
    thread.join()


def _send(port: int, raw: bytes) -> bytes:
    with socket.create_connection(("127.0.0.1", port), timeout=10) as connection:
        connection.sendall(raw)
        answer = b""
        while part := connection.recv(65_536):
            answer += part
    return answer


_HEAD = b"POST /api/tanks HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"


@pytest.mark.parametrize(
    "raw",
    [
        pytest.param(
            _HEAD + b"Content-Length: 2\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n", id="A22-both-lengths"
        ),
        pytest.param(_HEAD + b"Content-Length: 2\r\n\r\n{}{smuggled\r\n\r\n", id="A22-length-too-small"),
        pytest.param(_HEAD + b"Content-Length: -1\r\n\r\n{}", id="A22-negative"),
        pytest.param(_HEAD + b"Content-Length: 2\r\nContent-Length: 3\r\n\r\n{}", id="A22-two-lengths"),
        pytest.param(_HEAD + b"Host: localhost\r\nContent-Length: 2\r\n\r\n{}", id="I14-two-hosts"),
    ],
)
def test_ambiguous_framing_is_refused(port: int, raw: bytes) -> None:
    """A message whose end is ambiguous is answered 400 and the connection is closed."""
    answers = _send(port, raw).split(b"HTTP/1.1 ")[1:]
    assert answers[-1].startswith(b"400")
    assert b"connection: close" in answers[-1].lower()


def test_a_cut_off_body_stores_nothing(port: int, services: Services) -> None:
    """A sender that goes away in the middle of its body leaves nothing behind, and no failure."""
    with socket.create_connection(("127.0.0.1", port), timeout=10) as connection:
        connection.sendall(_HEAD + b'Content-Length: 500\r\n\r\n{"tank": {')
    assert b"200 OK" in _send(
        port, b"GET /health/ready HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
    )
    with services.store.read() as session:
        assert list_tanks(session) == ()


def test_framework_pages_are_off(services: Services) -> None:
    """The framework's own pages, which load from other hosts, are not there."""
    app = create_app(services)
    assert isinstance(app, FastAPI)
    assert (app.docs_url, app.redoc_url, app.openapi_url) == (None, None, None)
