"""The sign of life: given while all is in order, and not while any one thing is not."""

import shutil
from collections import namedtuple
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from api.notify.heartbeat import HeartbeatError, beat
from api.settings import Settings
from api.store import Store
from api.store.contacts import Channel
from api.store.outbox import put_out
from api.store.tables import reach
from api.wiring import Services, make_services
from api.worker.assemble import make_worker
from api.worker.jobs import Heartbeats
from api.worker.worker import Worker
from tests.api.conftest import StandingClock
from tests.api.notify.receivers import HookServer, serve_hooks
from tests.api.worker.test_worker import add_tank

Disk = namedtuple("Disk", "total used free")


@dataclass
class Refreshing:
    """Stands for the making of forecasts, until it is broken."""

    is_broken: bool = False

    def __call__(self, store: Store, clock: StandingClock, tank: str) -> None:
        if self.is_broken:
            raise FloatingPointError


@dataclass
class Running:
    """A service in order: its worker, its watcher, and time that passes."""

    services: Services
    clock: StandingClock
    worker: Worker
    watcher: HookServer
    refreshing: Refreshing

    def pass_time(self, **span: float) -> int:
        """Let time pass, tick every five minutes of its last half hour, and count the signs of life."""
        self.clock.at += timedelta(**span) - timedelta(minutes=30)
        before = len(self.watcher.posts)
        for _ in range(6):
            self.clock.move(minutes=5)
            self.worker.tick()
        return len(self.watcher.posts) - before


@pytest.fixture
def running(sqlite_url: str, tmp_path: Path) -> Iterator[Running]:
    """A service with a tank, a watcher, and nothing wrong."""
    clock = StandingClock()
    with serve_hooks() as watcher:
        settings = Settings(
            database=sqlite_url, weather_url="", backup_folder=tmp_path / "copies",
            heartbeat_url=f"http://127.0.0.1:{watcher.port}/alive",
        )  # fmt: skip
        services = make_services(settings, clock=clock)
        add_tank(services.store, clock, "Europe/London")
        refreshing = Refreshing()
        worker = make_worker(services, refresh=refreshing)
        began = clock.now()
        worker.watch.monotonic = lambda: (clock.now() - began).total_seconds()
        made = Running(services, clock, worker, watcher, refreshing)
        assert made.pass_time(minutes=30) == 6
        yield made
        services.store.engine.dispose()


def _stop_backups(running: Running, patch: pytest.MonkeyPatch) -> None:
    running.worker.jobs = [job for job in running.worker.jobs if job.name != "backup"]


def _break_refits(running: Running, patch: pytest.MonkeyPatch) -> None:
    running.refreshing.is_broken = True


def _fill_disk(running: Running, patch: pytest.MonkeyPatch) -> None:
    patch.setattr(shutil, "disk_usage", lambda path: Disk(1000, 905, 95))


def _refuse_writing(running: Running, patch: pytest.MonkeyPatch) -> None:
    @sa.event.listens_for(running.services.store.engine, "begin")
    def refuse(connection: sa.Connection) -> None:
        connection.exec_driver_sql("PRAGMA query_only = ON")


def _leave_mail(running: Running, patch: pytest.MonkeyPatch) -> None:
    now = running.clock.now()
    with running.services.store.write() as session:
        body = {"kind": "notice", "title": "", "paragraphs": [], "at": now.isoformat()}
        put_out(session, Channel.MAIL, "ann@example.org", body, now=now, not_after=now + timedelta(days=9))


Break = Callable[[Running, pytest.MonkeyPatch], None]
BREAKS: dict[str, tuple[Break, timedelta]] = {
    "readings": (_refuse_writing, timedelta(minutes=35)),
    "refit": (_break_refits, timedelta(hours=42)),
    "unsent": (_leave_mail, timedelta(minutes=95)),
    "backup": (_stop_backups, timedelta(hours=42)),
    "disk": (_fill_disk, timedelta(minutes=35)),
    "clock": (lambda running, patch: None, timedelta(days=400)),
}
"""What goes wrong, and after how long it must be heard."""


@pytest.mark.parametrize("what", BREAKS)
def test_the_sign_of_life_ends_when_anything_is_wrong_P20(  # noqa: N802
    running: Running, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    """P20: writing, forecasts, messages, copies, disk, clock: with any one of them broken no sign is given."""
    go_wrong, after = BREAKS[what]
    go_wrong(running, monkeypatch)
    if what == "clock":
        running.worker.watch.monotonic = lambda: 0.0
    if (
        after > timedelta(hours=30) and what != "clock"
    ):  # two nights without work, the worker running all along
        for _ in range(2):
            running.clock.move(hours=20)
            running.worker.tick()
        after = timedelta(hours=2)
    try:
        given = running.pass_time(seconds=after.total_seconds())
    except Exception:  # a database that takes nothing ends the tick itself
        given = len(running.watcher.posts) - 6
    assert given == 0


def test_all_in_order_gives_a_sign_every_five_minutes_for_days(running: Running) -> None:
    """A service in order is heard on each of three days, nights' work and copies being done."""
    for _ in range(3):
        assert running.pass_time(hours=20) == 6


def test_a_message_put_off_by_its_receiver_is_no_trouble_of_the_service(running: Running) -> None:
    """One broken receiver, who was offered the message, does not end the sign of life."""
    _leave_mail(running, pytest.MonkeyPatch())
    with running.services.store.write() as session:
        session.execute(sa.update(reach.outbox).values(attempts=3))
    assert running.pass_time(hours=3) == 6


def test_the_sign_is_given_by_the_worker_itself(store: Store, clock: StandingClock) -> None:
    """A worker that hangs in its work gives no sign: there is no thread beside it that would."""
    given: list[int] = []
    job = Heartbeats(tuple, lambda: given.append(1))
    assert list(job.due(clock.now())) == ["2026-01-10T12:00"]
    job.run("2026-01-10T12:00")
    assert given == [1]
    Heartbeats(lambda: ("nothing works",), lambda: given.append(2)).run("")
    assert given == [1]


def test_a_watcher_that_does_not_take_it_is_told_from_one_that_does() -> None:
    """A refusal, a redirect and nobody there are errors; a success is none."""
    with serve_hooks() as watcher:
        address = f"http://127.0.0.1:{watcher.port}/"
        beat(address)
        for status, headers in ((500, {}), (302, {"Location": "/elsewhere"})):
            watcher.status, watcher.answer_headers = status, headers
            with pytest.raises(HeartbeatError, match=str(status)):
                beat(address)
    assert [post.path for post in watcher.posts] == ["/"] * 3
    with pytest.raises(HeartbeatError):
        beat(address)
