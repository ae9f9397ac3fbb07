"""A household's service: time to the first byte of its page, its memory, and readings while it works.

All of it in processes of their own, made as in a home: one process with pages, worker and SQLite. By hand::

    python -m tests.benchmarks.service
"""

import json
import multiprocessing
import os
import resource
import socket
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, timedelta
from http.client import HTTPConnection
from pathlib import Path

import numpy as np
import psutil

from api.app import create_app
from api.cli.demo import StandingClock, bring_house
from api.settings import Settings
from api.sources.sun_tables import SunTables
from api.sources.valley import House, Valley, make_valley
from api.store.tanks import list_tanks
from api.usecases.refit_tanks import refit_tanks
from api.usecases.refresh_forecast import refresh_forecast
from api.wiring import Services, make_services
from forecaster.solar import keep_tables_in
from tests.benchmarks.doors import databases, measure_doors

RESULTS = Path(__file__).parent / "service.json"
HOUSE = "old-forge"
HOMES = 12
"""So many homes are forecast anew while readings come in."""
A_SECOND = 10
"""Readings a second that come in meanwhile."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One figure with what it should not exceed, if anything."""

    what: str
    value: float
    unit: str
    aim: float | None = None


@dataclass
class MovedClock:
    """A clock that is moved by hand."""

    at: datetime

    def now(self) -> datetime:
        """Tell the instant."""
        return self.at


def measure_service() -> list[Measured]:
    """Measure pages and memory in one process, then readings during a night's work on both databases."""
    found: list[Measured] = _apart(_household)
    with databases() as urls:
        for name, url in urls:
            found += _apart(_readings_meanwhile, name, url)
    return found


def table(found: dict[str, object]) -> str:
    """Render results as Markdown tables."""
    figures, rates = found["figures"], found["rates"]
    assert isinstance(figures, list)
    assert isinstance(rates, list)
    rows = ["| a household's service | measured | aim |", "|---|---|---|"]
    rows += [
        f"| {f['what']} | {f['value']:.3g} {f['unit']} | "
        + (f"< {f['aim']:.0f} {f['unit']} |" if f["aim"] else "– |")
        for f in figures
    ]
    rows += ["", "| door | rows at once | SQLite, rows/s | PostgreSQL, rows/s |", "|---|---|---|---|"]
    names = list(dict.fromkeys((r["door"], r["rows_at_once"]) for r in rates))
    for door, at_once in names:
        a, b = (
            next(r["rows_per_s"] for r in rates if (r["door"], r["database"]) == (door, database))
            for database in ("SQLite", "PostgreSQL")
        )
        rows.append(f"| {door} | {at_once:,} | {a:,.0f} | {b:,.0f} |")
    rows += ["", f"Other work on the machine when it began: a load of {found['load_before']}."]
    return "\n".join(rows)


# ---- one process of a household


def _household() -> list[Measured]:
    valley = make_valley()
    house = _by_the_hour(next(h for h in valley.houses if h.key == HOUSE))
    clock = MovedClock(valley.as_of)
    with tempfile.TemporaryDirectory(prefix="dcb", dir="/tmp") as folder:
        services = make_services(
            Settings(database=f"sqlite:///{Path(folder) / 'home.db'}", requests_burst=10**9), clock=clock
        )
        tank = bring_house(services, valley, house)
        _meet_the_place(Path(folder), services, tank)
        with _serving(services) as port:
            started = _resident_mb()
            page = f"/tanks/{tank}"
            first = _first_byte_ms(port, page)
            spent = time.process_time()
            warm = [_first_byte_ms(port, page) for _ in range(40)]
            spent = 1e3 * (time.process_time() - spent) / len(warm)
            lists = [_first_byte_ms(port, "/") for _ in range(20)]
            answers = [_first_byte_ms(port, f"/api/tanks/{tank}/answer") for _ in range(20)]
            anew = []
            for _ in range(5):
                clock.at += timedelta(hours=1)
                anew.append(_first_byte_ms(port, page))
            with_charts = _resident_mb()
            for _ in range(7):
                clock.at += timedelta(days=1)
                _refit_all(services)
                _first_byte_ms(port, page)
            at_night = _resident_mb()
            drawing = sum(child.memory_info().rss for child in psutil.Process().children()) / 1e6
        services.store.engine.dispose()
    return [
        Measured("first byte of the answer's page, warm, median", statistics.median(warm), "ms", 100),
        Measured(
            "the same in processor time, which other work on the machine stretches less", spent, "ms", 100
        ),
        Measured("first byte of the answer's page, warm, slowest of 40", max(warm), "ms"),
        Measured("first byte of the list of tanks, warm, median", statistics.median(lists), "ms", 100),
        Measured("first byte of the short answer as JSON, median", statistics.median(answers), "ms", 100),
        Measured("the page after an hour: forecast and pictures anew", statistics.median(anew), "ms"),
        Measured("the page for the first time after the start", first, "ms"),
        Measured("memory after the start", started, "MB"),
        Measured("memory after pages with pictures", with_charts, "MB", 350),
        Measured("memory after a week of nights and pages", at_night, "MB", 350),
        Measured("the most memory of all of it", _peak_mb(), "MB", 350),
        Measured("memory of the process that draws, while it is wanted", drawing, "MB"),
    ]


def _meet_the_place(folder: Path, services: Services, tank: str) -> None:
    """Let another process make the sun's table of the place: once for all starts, it is kept in files."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        pool.submit(
            _forecast_once, str(services.store.engine.url), tank, services.clock.now(), folder
        ).result()
    keep_tables_in(SunTables(folder))


def _forecast_once(url: str, tank: str, at: datetime, folder: Path) -> None:
    keep_tables_in(SunTables(folder))
    services = make_services(Settings(database=url), clock=StandingClock(at))
    refresh_forecast(services.store, services.clock, tank)


def _by_the_hour(house: House) -> House:
    """The same house with a reading an hour, straight lines between those that it has."""
    rows = [line.split(",") for line in house.readings_csv.splitlines()]
    head = rows[0]
    times = np.array([np.datetime64(row[0].removesuffix("Z"), "s") for row in rows[1:]])
    levels = np.array([float(row[1]) for row in rows[1:]])
    hours = np.arange(times[0], times[-1] + 1, np.timedelta64(3600, "s"))
    values = np.interp(hours.astype(float), times.astype(float), levels)
    lines = [f"{at}Z,{round(value, -1):.0f}" for at, value in zip(hours, values, strict=True)]
    return replace(house, readings_csv="\n".join([",".join(head[:2]), *lines, ""]))


def _refit_all(services: Services) -> None:
    with services.store.read() as session:
        tanks = list_tanks(session)
    done = refit_tanks(services.store, services.clock, tanks)
    assert not done.failed, done.failed


def _first_byte_ms(port: int, path: str) -> float:
    connection = HTTPConnection("127.0.0.1", port, timeout=60)
    connection.connect()
    started = time.perf_counter()
    connection.request("GET", path, headers={"Host": "localhost"})
    answer = connection.getresponse()
    answer.read(1)
    took = time.perf_counter() - started
    assert answer.status == 200, (answer.status, path)
    answer.read()
    connection.close()
    return 1e3 * took


def _resident_mb() -> float:
    return psutil.Process().memory_info().rss / 1e6


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3


# ---- readings while forecasts are made


def _readings_meanwhile(name: str, url: str) -> list[Measured]:
    valley = make_valley()
    services = make_services(Settings(database=url, requests_burst=10**9), clock=StandingClock(valley.as_of))
    house = next(h for h in valley.houses if h.key == HOUSE)
    tank, *_ = [bring_house(services, valley, house) for _ in range(HOMES)]
    with _serving(services) as port:
        quiet = _post_steadily(port, tank, valley, first=0, until=_after(5.0))
        night = multiprocessing.get_context("spawn").Process(target=_night, args=(url, valley.as_of))
        night.start()
        busy = _post_steadily(port, tank, valley, first=10_000, until=lambda: not night.is_alive())
        night.join()
        assert night.exitcode == 0
    services.store.engine.dispose()
    return [
        Measured(f"{name}: p99 of one reading, {A_SECOND} a second, quiet", _p99(quiet), "ms"),
        Measured(f"{name}: the same while {HOMES} homes are forecast anew", _p99(busy), "ms", 1000),
    ]


def _night(url: str, at: datetime) -> None:
    services = make_services(Settings(database=url), clock=StandingClock(at))
    _refit_all(services)


def _after(seconds: float) -> Callable[[], bool]:
    end = time.monotonic() + seconds
    return lambda: time.monotonic() > end


def _post_steadily(
    port: int, tank: str, valley: Valley, *, first: int, until: Callable[[], bool]
) -> list[float]:
    """Offer readings at an even pace; a time counts from when its reading was due, so a queue is seen."""
    connection = HTTPConnection("127.0.0.1", port, timeout=60)
    started, took = time.perf_counter(), []
    while not until():
        due = started + len(took) / A_SECOND
        time.sleep(max(0.0, due - time.perf_counter()))
        at = valley.as_of - timedelta(seconds=first + len(took))
        body = json.dumps({"at": f"{at:%Y-%m-%dT%H:%M:%SZ}", "ullage_mm": 700})
        headers = {"Host": "localhost", "Content-Type": "application/json"}
        connection.request("POST", f"/api/tanks/{tank}/readings", body, headers)
        answer = connection.getresponse()
        answer.read()
        assert answer.status in (200, 201), answer.status
        took.append(1e3 * (time.perf_counter() - due))
    return took


def _p99(took: list[float]) -> float:
    return float(np.quantile(took, 0.99))


# ---- servers and processes


@contextmanager
def _serving(services: Services) -> Iterator[int]:
    import uvicorn

    place = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(create_app(services), log_level="error", access_log=False))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [place]})
    thread.start()
    while not server.started:
        time.sleep(0.02)
    try:
        yield place.getsockname()[1]
    finally:
        server.should_exit = True
        thread.join()


def _apart(job: Callable[..., list[Measured]], *given: str) -> list[Measured]:
    """Do it in a process of its own, whose memory is its own."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        found = pool.submit(job, *given).result()
    for one in found:
        sys.stderr.write(f"{one.what}: {one.value:.3g} {one.unit}\n")
    return found


def main() -> None:
    """Measure, write, print."""
    before = os.getloadavg()[0]
    figures = measure_service()
    rates: list[dict[str, object]] = []
    with databases() as urls:
        for name, url in urls:
            rates += [{"database": name, **asdict(one)} for one in measure_doors(url)]
    found: dict[str, object] = {
        "date": datetime.now(UTC).date().isoformat(),
        "processors": os.cpu_count(),
        "load_before": round(before, 1),
        "figures": [{**asdict(f), "value": round(f.value, 1)} for f in figures],
        "rates": [{**r, "rows_per_s": round(float(str(r["rows_per_s"])))} for r in rates],
    }
    RESULTS.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    sys.stdout.write(table(found) + "\n")


if __name__ == "__main__":
    main()
