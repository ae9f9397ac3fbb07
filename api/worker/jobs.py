"""The jobs: each says which of its slots are due, and does one.

Flow     schedule -> **jobs** -> use cases

=============  ===============  ======================================================
`Nights`       each local day   every tank's forecast anew, zone by zone
`Weather`      each hour        weather fetched, where a source is set up
`Looks`        every 10 min     forecasts where readings came; reminders decided
`Backups`      each day         a checked copy of the SQLite database
`Heartbeats`   every 5 min      a sign of life to a watcher, while all is in order
=============  ===============  ======================================================
"""

import logging
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Protocol

from api.ports import Clock
from api.store import Store
from api.store.backup import make_backup
from api.store.claims import save_pulse
from api.store.tanks import list_tanks
from api.usecases.fitness import BACKUP
from api.usecases.refit_tanks import Refresh, refit_tanks, zones_of
from api.usecases.refresh_forecast import refresh_forecast
from api.worker.pool import refit_in_processes
from api.worker.schedule import hour_slot, minutes_slot, night_slot

_log = logging.getLogger(__name__)

HEARTBEAT_MINUTES = 5
"""A sign of life is given so often. [min]"""
LOOK_MINUTES = 10
"""How often somebody looks whether anything is to be said. [min]"""
BACKUP_HOUR = 2
"""A day's backup is due from that hour on, UTC. [h]"""


class Job(Protocol):
    """Something to be done once for each slot, by whichever worker takes the slot first.

    Attributes
    ----------
    name
        Under which its slots are claimed.
    lease
        After so long an unfinished run is another worker's.
    kept
        So many finished slots are remembered; None: all.
    """

    name: str
    lease: timedelta
    kept: int | None

    def due(self, now: datetime) -> Iterable[str]:
        """Name the slots that are due."""
        ...

    def run(self, slot: str) -> None:
        """Do what is to be done for one slot; an error leaves the slot to be taken again."""
        ...


@dataclass(slots=True)
class Nights:
    """Every tank's forecast anew, once for each civil day of its zone.

    Attributes
    ----------
    refresh
        Makes one tank's forecast.
    processes
        Many tanks are shared among at most so many processes.
    """

    store: Store
    clock: Clock
    refresh: Refresh = refresh_forecast
    processes: int = 1
    name: str = "night"
    lease: timedelta = timedelta(hours=1)
    kept: int | None = None

    def due(self, now: datetime) -> Iterable[str]:
        """Name the nights of all zones in which tanks stand."""
        with self.store.read() as session:
            zones = zones_of(list_tanks(session))
        return [slot for zone in sorted(zones) if (slot := night_slot(zone, now)) is not None]

    def run(self, slot: str) -> None:
        """Renew the tanks of one zone."""
        with self.store.read() as session:
            tanks = zones_of(list_tanks(session)).get(slot.partition(" ")[2], [])
        if self.processes > 1 and self.refresh is refresh_forecast:
            refit_in_processes(self.store, self.clock, tanks, processes=self.processes)
        else:
            refit_tanks(self.store, self.clock, tanks, refresh=self.refresh)


@dataclass(slots=True)
class Weather:
    """Weather from outside, hour by hour."""

    fetch: Callable[[], None]
    name: str = "weather"
    lease: timedelta = timedelta(minutes=10)
    kept: int | None = 50

    def due(self, now: datetime) -> Iterable[str]:
        """Name this hour."""
        return [hour_slot(now)]

    def run(self, slot: str) -> None:
        """Fetch it."""
        self.fetch()


@dataclass(slots=True)
class Looks:
    """A look at every tank every few minutes: what is new, and whether anything is to be said."""

    look: Callable[[], None]
    name: str = "look"
    lease: timedelta = timedelta(minutes=10)
    kept: int | None = 50

    def due(self, now: datetime) -> Iterable[str]:
        """Name these minutes."""
        return [minutes_slot(now, LOOK_MINUTES)]

    def run(self, slot: str) -> None:
        """Look."""
        self.look()


@dataclass(slots=True)
class Backups:
    """A copy of the SQLite database each day; none of PostgreSQL, which has its own ways."""

    store: Store
    clock: Clock
    folder: Path
    keep: int
    name: str = "backup"
    lease: timedelta = timedelta(minutes=30)
    kept: int | None = 50

    def due(self, now: datetime) -> Iterable[str]:
        """Name this day, once its backup is due."""
        if self.keep == 0 or self.store.engine.dialect.name != "sqlite" or now.hour < BACKUP_HOUR:
            return []
        return [f"{now:%Y-%m-%d}"]

    def run(self, slot: str) -> None:
        """Make one, and check it."""
        make_backup(self.store, self.folder, now=self.clock.now(), keep=self.keep)
        with self.store.write() as session:
            save_pulse(session, BACKUP, self.clock.now())


@dataclass(slots=True)
class Heartbeats:
    """A sign of life every few minutes, from the same thread as the work: if that hangs, none is given.

    Attributes
    ----------
    troubles
        Says what is wrong with the service; while anything is, no sign is given.
    beat
        Gives the sign.
    """

    troubles: Callable[[], tuple[str, ...]]
    beat: Callable[[], None]
    name: str = "heartbeat"
    lease: timedelta = timedelta(minutes=5)
    kept: int | None = 50

    def due(self, now: datetime) -> Iterable[str]:
        """Name these minutes."""
        return [minutes_slot(now, HEARTBEAT_MINUTES)]

    def run(self, slot: str) -> None:
        """Give the sign, or say in the log why not."""
        found = self.troubles()
        if found:
            _log.error("no sign of life is given: %s", "; ".join(found))
            return
        self.beat()
