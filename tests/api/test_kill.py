"""What was acknowledged survives `kill -9`: stored, once, with an intact database.

A real server is killed at random moments while clients send readings and repeat what got no answer.
That a kill cannot show lost page caches is known; the pragmas are checked at each connection instead.
"""

import http.client
import json
import os
import random
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from api.store import Store, make_engine, migrate
from api.store.tanks import save_tank

SERVE = """
import sys, uvicorn
from api.app import create_app
from api.settings import load_settings
from api.wiring import make_services
uvicorn.run(create_app(make_services(load_settings())), fd=int(sys.argv[1]), log_level="error")
"""
EARLY = """
import contextlib, threading
from sqlalchemy.orm import Session
from api.store import Store

@contextlib.contextmanager
def write(self):  # answers first, commits a second later
    session = Session(self.engine)
    session.connection()
    yield session
    threading.Timer(1.0, session.commit).start()

Store.write = write
"""
T0 = datetime(2020, 1, 1, tzinfo=UTC)


@dataclass
class Sender:
    """One client that sends numbered readings, each until it is acknowledged."""

    port: int
    path: str
    first: int
    stop: threading.Event
    acknowledged: dict[str, float] = field(default_factory=dict)
    sent: int = 0

    def run(self) -> None:
        while not self.stop.is_set():
            at = (T0 + timedelta(seconds=self.first + self.sent)).isoformat()
            body = json.dumps({"at": at, "dip_mm": float(self.sent % 1000)})
            while not self.stop.is_set():
                if self._is_acknowledged(body):
                    self.acknowledged[at[:19]] = float(self.sent % 1000)
                    break
                time.sleep(0.02)
            self.sent += 1

    def _is_acknowledged(self, body: str) -> bool:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=5)
        try:
            connection.request("POST", self.path, body, {"Content-Type": "application/json"})
            return connection.getresponse().status in (200, 201)
        except (OSError, http.client.HTTPException):
            return False
        finally:
            connection.close()


@dataclass(frozen=True)
class Outcome:
    """What a series of kills left: acknowledged, lost of them, rows beyond their keys, integrity."""

    acknowledged: int
    lost: int
    doubled: int
    integrity: str


def _kill_repeatedly(folder: Path, *, kills: int, answers: int = 20, sabotage: str = "") -> Outcome:
    file = folder / "dipcast.db"
    engine = make_engine(f"sqlite:///{file}")
    migrate(engine)
    with Store(engine).write() as session:
        tank = save_tank(
            session,
            name="Byre",
            zone="UTC",
            toml='shape = "moulded"\nproduct = "kerosene"\ncapacity_l = 1300\nheight_mm = 1200\n',
            created_at=T0,
        )
    engine.dispose()
    rng = random.Random(1)
    stop = threading.Event()
    with socket.create_server(("127.0.0.1", 0), backlog=128) as listener:
        port = listener.getsockname()[1]
        path = f"/api/tanks/{tank.public_id}/readings"
        senders = [Sender(port, path, 10**6 * i, stop) for i in range(4)]
        threads = [threading.Thread(target=sender.run) for sender in senders]
        for thread in threads:
            thread.start()
        for _ in range(kills):
            before = sum(len(s.acknowledged) for s in senders)
            server = subprocess.Popen(
                [sys.executable, "-c", sabotage + SERVE, str(listener.fileno())],
                pass_fds=[listener.fileno()],
                env={
                    **os.environ,
                    "DIPCAST_DATABASE": f"sqlite:///{file}",
                    "DIPCAST_REQUESTS_BURST": "1000000",
                },
            )
            deadline = time.monotonic() + 60
            while sum(len(s.acknowledged) for s in senders) < before + answers:
                assert time.monotonic() < deadline
                assert server.poll() is None
                time.sleep(0.01)
            time.sleep(rng.uniform(0.0, 0.5))
            server.kill()
            server.wait()
        stop.set()
        for thread in threads:
            thread.join()
    acknowledged = {at: value for s in senders for at, value in s.acknowledged.items()}
    database = sqlite3.connect(file)
    integrity = database.execute("PRAGMA integrity_check").fetchone()[0]
    rows = [
        (at[:19].replace(" ", "T"), value) for at, value in database.execute("SELECT at, value FROM reading")
    ]
    database.close()
    stored = dict(rows)
    return Outcome(
        acknowledged=len(acknowledged),
        lost=sum(stored.get(at) != value for at, value in acknowledged.items()),
        doubled=len(rows) - len(stored),
        integrity=integrity,
    )


def test_acknowledged_readings_survive_kills(tmp_path: Path) -> None:
    """After two kills under load every acknowledged reading is stored once."""
    outcome = _kill_repeatedly(tmp_path, kills=2)
    assert outcome.acknowledged >= 40
    assert (outcome.lost, outcome.doubled, outcome.integrity) == (0, 0, "ok")


def test_an_early_acknowledgement_is_caught(tmp_path: Path) -> None:
    """The same kill finds the fault in a service that answers before its commit."""
    assert _kill_repeatedly(tmp_path, kills=1, answers=2, sabotage=EARLY).lost > 0


@pytest.mark.long
def test_acknowledged_readings_survive_many_kills(tmp_path: Path) -> None:
    """After 200 kills under load every acknowledged reading is stored once."""
    outcome = _kill_repeatedly(tmp_path, kills=200)
    assert (outcome.lost, outcome.doubled, outcome.integrity) == (0, 0, "ok")
