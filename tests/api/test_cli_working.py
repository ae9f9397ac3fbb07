"""`dipcast work`, and `dipcast serve` that works too: real processes that do what is due, and stop when told."""

import os
import signal
import sqlite3
import subprocess
import sys
import time
import urllib.request
from contextlib import closing, suppress
from pathlib import Path

import pytest

from api.ports import SystemClock
from api.store import Store, make_engine
from api.usecases.register_tank import register_tank
from tests.api.worker.test_worker import TANK


def _run(folder: Path, sqlite_url: str, *words: str) -> subprocess.Popen[str]:
    """Start the command in a folder of its own, without a network."""
    engine = make_engine(sqlite_url)
    with Store(engine).write() as session:
        register_tank(session, SystemClock(), tank_toml=TANK, survey_toml='place = "East Anglia"\n')
    engine.dispose()
    settings = {
        "DIPCAST_DATABASE": sqlite_url, "DIPCAST_WEATHER_URL": "", "DIPCAST_BACKUP_FOLDER": str(folder / "copies"),
        "PYTHONUNBUFFERED": "1",
    }  # fmt: skip
    command = [sys.executable, "-c", "from api.cli import main; main()", *words]
    return subprocess.Popen(
        command, env={**os.environ, **settings}, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )


def _wait_for_claim(sqlite_url: str, job: str) -> bool:
    """Wait until a run of a job is finished."""
    for _ in range(600):
        with suppress(sqlite3.OperationalError), closing(sqlite3.connect(sqlite_url[10:])) as database:
            query = "SELECT count(*) FROM job_claim WHERE job = ? AND finished_at IS NOT NULL"
            if database.execute(query, (job,)).fetchone()[0]:
                return True
        time.sleep(0.1)
    return False


@pytest.mark.parametrize("words", [("work",), ("serve", "--port", "0")], ids=["work", "serve"])
def test_a_real_process_looks_at_the_tanks_and_stops(
    tmp_path: Path, sqlite_url: str, words: tuple[str, ...]
) -> None:
    """The process makes the tank's first forecast by itself, and ends in order when the system asks."""
    process = _run(tmp_path, sqlite_url, *words)
    try:
        looked = _wait_for_claim(sqlite_url, "look")
        if words[0] == "serve":
            assert process.stdout is not None
            address = process.stdout.readline().split(" at ")[1].split(" ")[0]
            with urllib.request.urlopen(f"{address}health/live") as answer:
                assert answer.status == 200
    finally:
        process.send_signal(signal.SIGTERM)
        output = process.communicate(timeout=40)[0]
    assert looked, output
    assert process.returncode == 0, output
    assert "Stopped." in output
    with closing(sqlite3.connect(sqlite_url[10:])) as database:
        assert database.execute("SELECT count(*) FROM forecast").fetchone()[0] >= 1
