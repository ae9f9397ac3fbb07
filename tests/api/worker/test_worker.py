"""The worker: each run once, missed runs made up once, faults kept to their own tank and job."""

import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from api.store import Store
from api.store.claims import list_notices
from api.store.forecasts import load_forecast
from api.store.refits import load_refit
from api.store.tanks import list_tanks
from api.usecases.refresh_forecast import refresh_forecast
from api.usecases.register_tank import register_tank
from api.usecases.watch_clock import ClockWatch
from api.worker.jobs import Backups, Job, Nights, Weather
from api.worker.worker import Worker
from tests.api.conftest import NOW, StandingClock

TANK = """
product = "kerosene"
shape = "rectangular"
length_mm = 1200
width_mm = 600
height_mm = 900
sensor_height_mm = 960
"""


@dataclass
class Counted:
    """Stands for the making of a forecast; counts, and fails for the tanks that are named."""

    poison: set[str] = field(default_factory=set)
    seen: list[tuple[str, datetime]] = field(default_factory=list)

    def __call__(self, store: Store, clock: StandingClock, public_id: str) -> None:
        self.seen.append((public_id, clock.now()))
        if public_id in self.poison:
            raise FloatingPointError("nan")


def make_worker(store: Store, clock: StandingClock, jobs: Sequence[Job], *, owner: str = "one") -> Worker:
    """Make a worker whose machine's other clock keeps pace with the clock of the test."""
    began = clock.now()
    watch = ClockWatch(store, clock, monotonic=lambda: (clock.now() - began).total_seconds())
    return Worker(store, clock, jobs, watch, owner=owner)


def add_tank(store: Store, clock: StandingClock, zone: str) -> str:
    """Register a tank in a zone."""
    with store.write() as session:
        return register_tank(session, clock, tank_toml=f'{TANK}timezone = "{zone}"\n').public_id


def test_two_workers_run_each_night_once_over_both_changes_P23(store: Store, clock: StandingClock) -> None:  # noqa: N802
    """P23: two workers, five zones, both weeks in which clocks change: one run for each tank and date."""
    zones = ("Europe/London", "America/St_Johns", "Australia/Lord_Howe", "Pacific/Chatham", "Asia/Tokyo")
    check_runs_once(store, clock, zones)


def check_runs_once(store: Store, clock: StandingClock, zones: Sequence[str]) -> None:
    """Run two workers through both weeks and count."""
    clock.at = datetime(2026, 3, 26, 12, tzinfo=UTC)
    tanks = {add_tank(store, clock, zone): zone for zone in zones}
    count = Counted()
    for day in (28, 28 + 7, 28 + 7 * 30):  # the days before clocks change in the north, the south, the north
        clock.at = datetime(2026, 3, 1, 0, tzinfo=UTC) + timedelta(days=day - 1)
        # what was said of an earlier season is no clock that jumped
        workers = [make_worker(store, clock, [Nights(store, clock, count)], owner=o) for o in "ab"]
        for worker in workers:
            worker.watch = _Trusting(store, clock, monotonic=lambda: 0.0)
        for _ in range(24):
            for worker in workers:
                worker.tick()
            clock.move(hours=2)
    runs = [(tank, at.astimezone(_zone(tanks[tank])).date()) for tank, at in count.seen]
    assert len(runs) == len(set(runs))
    assert len(runs) >= 3 * 2 * len(zones)


class _Trusting(ClockWatch):
    def trouble(self) -> str | None:
        return None


def _zone(name: str) -> "object":
    from zoneinfo import ZoneInfo

    return ZoneInfo(name)


def test_a_missed_night_is_made_up_once_P24(store: Store, clock: StandingClock) -> None:  # noqa: N802
    """P24: switched off from two to seven, the tank is renewed at the first tick, and once."""
    tank = add_tank(store, clock, "Europe/London")
    count = Counted()
    worker = make_worker(store, clock, [Nights(store, clock, count)])
    clock.at = datetime(2026, 1, 11, 2, 0, tzinfo=UTC)
    assert worker.tick() == []
    clock.move(hours=5)
    restarted = make_worker(store, clock, [Nights(store, clock, count)], owner="two")
    assert restarted.tick() == [("night", "2026-01-11 Europe/London")]
    assert restarted.tick() == worker.tick() == []
    assert [seen for seen, _ in count.seen] == [tank]


def test_a_week_switched_off_is_made_up_once(store: Store, clock: StandingClock) -> None:
    """After two days without a worker only the newest night is made up."""
    add_tank(store, clock, "Europe/London")
    count = Counted()
    worker = make_worker(store, clock, [Nights(store, clock, count)])
    worker.tick()
    clock.move(hours=47)
    worker.tick()
    assert len(count.seen) == 2


def test_a_dead_workers_run_is_taken_over(store: Store, clock: StandingClock) -> None:
    """A run that was begun and never finished is another worker's once its lease is over, not before."""
    add_tank(store, clock, "Europe/London")

    class PowerCut(BaseException):
        pass

    def die(*args: object) -> None:
        raise PowerCut

    count = Counted()
    with pytest.raises(PowerCut):
        make_worker(store, clock, [Nights(store, clock, die)], owner="dead").tick()
    heir = make_worker(store, clock, [Nights(store, clock, count)], owner="heir")
    clock.move(minutes=59)
    assert heir.tick() == []
    clock.move(minutes=2)
    assert len(heir.tick()) == 1
    assert len(count.seen) == 1


def test_one_poisonous_tank_stops_no_other_P31(store: Store, clock: StandingClock) -> None:  # noqa: N802
    """P31: of ten tanks one fails; nine are renewed, its failure is kept, and the night is done."""
    tanks = [add_tank(store, clock, "Europe/London") for _ in range(10)]
    count = Counted(poison={tanks[3]})
    worker = make_worker(store, clock, [Nights(store, clock, count)])
    assert len(worker.tick()) == 1
    clock.move(days=1)
    worker.tick()
    with store.read() as session:
        refits = [load_refit(session, tank.id) for tank in list_tanks(session)]
    assert [r.failures for r in refits if r is not None] == [0, 0, 0, 2, 0, 0, 0, 0, 0, 0]
    failed = refits[3]
    assert failed is not None
    assert failed.error == "FloatingPointError"
    assert failed.done_at is None
    assert len(count.seen) == 20


def test_a_failed_renewal_keeps_the_forecast_before_it(store: Store, clock: StandingClock) -> None:
    """Where renewing fails, the forecast that was kept before is the one that stands."""
    with store.write() as session:
        survey = 'place = "East Anglia"\n'
        tank = register_tank(session, clock, tank_toml=TANK, survey_toml=survey)
    make_worker(store, clock, [Nights(store, clock, refresh_forecast)]).tick()
    with store.read() as session:
        before = load_forecast(session, tank.id, as_of=clock.now())
    clock.move(days=1)
    make_worker(store, clock, [Nights(store, clock, Counted(poison={tank.public_id}))]).tick()
    with store.read() as session:
        assert load_forecast(session, tank.id, as_of=clock.now()) == before
    assert before is not None


@pytest.mark.parametrize("jump", [timedelta(days=-1), timedelta(days=3), timedelta(days=400), None])
def test_a_jumping_clock_destroys_nothing_P25(  # noqa: N802
    store: Store, clock: StandingClock, tmp_path: Path, jump: timedelta | None
) -> None:
    """P25: a day back, days or years ahead, 1970: nothing is renewed, sent or deleted; somebody is told once."""
    add_tank(store, clock, "Europe/London")
    count, sent, right = Counted(), [], clock.at

    def make(owner: str) -> Worker:
        jobs: list[Job] = [
            Nights(store, clock, count),
            Weather(lambda: None),
            Backups(store, clock, tmp_path / "copies", keep=1),
        ]
        worker = make_worker(store, clock, jobs, owner=owner)
        worker.send = lambda: sent.append(clock.now())
        return worker

    worker = make("one")
    worker.tick()
    done, copies = len(count.seen), sorted(tmp_path.glob("copies/*"))
    clock.at = right + jump if jump is not None else datetime(1970, 1, 1, tzinfo=UTC)
    worker.watch.monotonic = lambda: 0.0
    for moved in (worker, make("two")):
        assert moved.tick() == moved.tick() == []
    assert (len(count.seen), len(sent), sorted(tmp_path.glob("copies/*"))) == (done, 1, copies)
    with store.read() as session:
        assert [notice.cause for notice in list_notices(session)] == ["clock"]
    clock.at = right + timedelta(minutes=1)
    worker.tick()
    with store.read() as session:
        assert list_notices(session) == ()
    assert len(sent) == 2


def test_a_clock_that_was_set_ahead_for_good_is_believed_after_a_day(
    store: Store, clock: StandingClock
) -> None:
    """After a long time switched off, a clock that has run steadily for a day counts as right."""
    add_tank(store, clock, "Europe/London")
    worker = make_worker(store, clock, [])
    assert worker.watch.trouble() is None
    clock.move(days=30)
    restarted = make_worker(store, clock, [])
    assert restarted.watch.trouble() is not None
    clock.move(hours=23)
    assert restarted.watch.trouble() is not None
    clock.move(hours=1)
    assert restarted.watch.trouble() is None


def test_a_failing_job_is_told_once_and_stops_no_other_P21(  # noqa: N802
    store: Store, clock: StandingClock
) -> None:
    """P21: weather that cannot be fetched for a day gives one notice, and the nights go on."""
    add_tank(store, clock, "Europe/London")

    def fail() -> None:
        raise OSError("no route")

    count = Counted()
    jobs: list[Job] = [Weather(fail), Nights(store, clock, count)]
    worker = make_worker(store, clock, jobs)
    written: list[str] = []
    worker.tell = lambda session, words: written.append(words)
    for _ in range(24):
        worker.tick()
        clock.move(hours=1)
    with store.read() as session:
        notices = list_notices(session)
    assert [(n.cause, n.words, n.since) for n in notices] == [
        ("job weather", "The job weather failed (OSError); it is tried again.", NOW)
    ]
    assert len(count.seen) == 2
    assert written == [notices[0].words]
    worker.jobs = [Weather(lambda: None)]
    clock.move(hours=1)
    worker.tick()
    with store.read() as session:
        assert list_notices(session) == ()


def test_the_worker_starts_ticks_and_stops(store: Store, clock: StandingClock) -> None:
    """Run by the scheduler it ticks at once, and ends when it is told to."""
    ticked, stop = threading.Event(), threading.Event()
    worker = make_worker(store, clock, [])
    worker.send = ticked.set
    thread = threading.Thread(target=worker.run, args=(stop,))
    thread.start()
    assert ticked.wait(10)
    stop.set()
    thread.join(10)
    assert not thread.is_alive()
