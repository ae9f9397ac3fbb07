"""The same readings through several doors at once, again and again, in any order: each is stored once.

And a database that fails at any one step of a message leaves nothing of it behind.
"""

import json
import random
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi.testclient import TestClient
from sqlalchemy.exc import OperationalError

from api.mqtt import Message, take_in
from api.store import StoreUnavailableError
from api.store.mappings import StoredMapping, mappings_by_topic
from api.store.readings import count_readings, load_readings
from api.store.tanks import BEGINNING, load_tank
from api.wiring import Services
from tests.api.conftest import NOW

TOPIC = "oil/level"
DRAFT = {"level": "/d", "quantity": "ullage", "unit": "mm", "time": "/t", "time_form": "epoch_s"}
T0 = datetime(2025, 6, 1, tzinfo=UTC)
JSON = {"Content-Type": "application/json"}
SENML = {"Content-Type": "application/senml+json"}


@pytest.fixture
def mappings(client: TestClient, services: Services, tank_id: str) -> dict[str, StoredMapping]:
    """The tank's level sensor publishes on a topic."""
    made = client.post(f"/api/tanks/{tank_id}/mappings", json={"mapping": DRAFT, "topic": TOPIC})
    assert made.status_code == 201
    with services.store.read() as session:
        return mappings_by_topic(session)


def _value(i: int) -> float:
    return 300.0 + i % 700


class Doors:
    """Three doors to one tank; each sends some readings and is content when they are stored."""

    def __init__(self, client: TestClient, services: Services, tank: str, mappings: Any) -> None:
        self.client, self.services, self.tank, self.mappings = client, services, tank, mappings

    def by_json(self, some: list[int]) -> None:
        batch = [{"at": (T0 + timedelta(minutes=i)).isoformat(), "ullage_mm": _value(i)} for i in some]
        self._post("readings", {"readings": batch}, JSON)

    def by_senml(self, some: list[int]) -> None:
        base = {"bn": "ullage", "bu": "mm", "bt": T0.timestamp()}
        self._post("senml", [base, *({"n": "", "t": 60 * i, "v": _value(i)} for i in some)], SENML)

    def by_mqtt(self, some: list[int]) -> None:
        start = int(T0.timestamp())
        messages = [Message(TOPIC, json.dumps({"d": _value(i), "t": start + 60 * i}).encode()) for i in some]
        while True:
            try:
                taken = take_in(self.services, messages, self.mappings)
            except StoreUnavailableError:
                continue
            assert taken.new + taken.known == len(some)
            return

    def _post(self, path: str, body: Any, headers: dict[str, str]) -> None:
        there = f"/api/tanks/{self.tank}/{path}"
        while True:
            answer = self.client.post(there, content=json.dumps(body), headers=headers)
            if answer.status_code not in (429, 503):
                assert answer.status_code in (200, 201), answer.text
                return


def _send_all(doors: Doors, *, readings: int, threads: int) -> None:
    """Send each reading one to five times, shuffled, in batches, by a door drawn for each batch."""
    rng = random.Random(7)
    sent = [i for i in range(readings) for _ in range(rng.randint(1, 5))]
    rng.shuffle(sent)
    batches = [sent[k : k + 40] for k in range(0, len(sent), 40)]
    trouble: list[BaseException] = []

    def work(mine: list[list[int]], seed: int) -> None:
        draw = random.Random(seed)
        try:
            for batch in mine:
                draw.choice((doors.by_json, doors.by_senml, doors.by_mqtt))(batch)
        except BaseException as bad:  # told to the test, which fails
            trouble.append(bad)

    workers = [threading.Thread(target=work, args=(batches[k::threads], k)) for k in range(threads)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert trouble == []


def _assert_each_once(services: Services, tank_id: str, readings: int) -> None:
    with services.store.read() as session:
        tank = load_tank(session, tank_id)
        found = load_readings(session, tank.id, since=BEGINNING, until=NOW)
        assert count_readings(session, tank.id) == readings
    assert found is not None
    assert found.value.tolist() == [_value(i) for i in range(readings)]


def test_each_reading_is_stored_once_whatever_the_doors(
    client: TestClient, services: Services, tank_id: str, mappings: Any
) -> None:
    """400 readings, each sent one to five times, shuffled, by four senders through three doors: 400 rows."""
    _send_all(Doors(client, services, tank_id, mappings), readings=400, threads=4)
    _assert_each_once(services, tank_id, 400)


@pytest.mark.long
def test_each_of_ten_thousand_readings_is_stored_once(
    client: TestClient, services: Services, tank_id: str, mappings: Any
) -> None:
    """10,000 readings by eight senders: 10,000 rows."""
    _send_all(Doors(client, services, tank_id, mappings), readings=10_000, threads=8)
    _assert_each_once(services, tank_id, 10_000)


@contextmanager
def failing_at(services: Services, number: int) -> Iterator[list[str]]:
    """Let one statement fail as a database does that goes away; the statements seen."""
    seen: list[str] = []

    def fail(connection: Any, cursor: Any, statement: str, *more: Any) -> None:
        seen.append(statement)
        if len(seen) == number:
            raise OperationalError(statement, {}, Exception("gone"))

    sa.event.listen(services.store.engine, "before_cursor_execute", fail)
    try:
        yield seen
    finally:
        sa.event.remove(services.store.engine, "before_cursor_execute", fail)


def test_a_batch_that_fails_at_any_step_is_whole_or_not_there(
    services: Services, tank_id: str, mappings: Any
) -> None:
    """Whichever statement fails, nothing of an MQTT batch is stored or kept as a letter; sent again, all of it is."""
    messages = [Message(TOPIC, b'{"d": 600, "t": 1750000000}'), Message(TOPIC, b"poison")]
    number = 0
    while True:
        number += 1
        with failing_at(services, number) as seen:
            try:
                taken = take_in(services, messages, mappings)
            except StoreUnavailableError:
                taken = None
        with services.store.read() as session:
            stored = count_readings(session, load_tank(session, tank_id).id)
            letters = session.connection().exec_driver_sql("SELECT count(*) FROM letter").scalar()
        if taken is not None:
            break
        assert (stored, letters) == (0, 0), seen[-1]
    assert number > 5
    assert (stored, letters) == (1, 1)


DIARIES = "SELECT count(*) FROM tank_text WHERE kind = 'diary'"
TOLD = [
    ("dips", {"dip": "25 3/8", "unit": "in"}, 1, "SELECT count(*) FROM reading"),
    ("deliveries", {"litres": 500, "at": "2026-01-09T10:30:00Z"}, 1, "SELECT count(*) FROM delivery"),
    ("diary", {"start": "2026-02-01", "end": "2026-02-03", "what": "away"}, 1, DIARIES),
    ("sensor-moves", {"sensor_height_mm": 1300}, 2, "SELECT count(*) FROM tank_version"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "told", "rows", "question"), TOLD, ids=[t[0] for t in TOLD])
def test_what_is_told_is_whole_or_not_there(
    client: TestClient,
    services: Services,
    tank_id: str,
    kind: str,
    told: dict[str, Any],
    rows: int,
    question: str,
) -> None:
    """Whichever statement fails, the answer is 503 and nothing is stored; the same again is stored once."""
    number = 0
    while True:
        number += 1
        with failing_at(services, number) as seen:
            answer = client.post(f"/api/tanks/{tank_id}/{kind}", json=told)
        with services.store.read() as session:
            count = session.connection().exec_driver_sql(question).scalar()
        if answer.status_code != 503:
            break
        assert answer.headers["retry-after"]
        assert count == rows - 1, seen[-1]
    assert (answer.status_code, count) == (201, rows), answer.text
    assert number > 4
