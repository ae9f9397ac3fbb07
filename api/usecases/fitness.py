"""Whether the service does what it is there for: what is wrong with it now, in words.

Each of these can go wrong while the process lives and its pages answer, and nobody would notice.

Flow     store, disk -> **troubles** -> heartbeat
Rule     readings can be written; forecasts were renewed and a checked copy was made within 26 hours; no
         message waits longer than an hour for its first attempt; a tenth of the disk is free. The clock is
         judged before (`api.usecases.watch_clock`): while it is not believed nothing runs. Assumptions.
"""

import shutil
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

from api.ports import Clock
from api.store import Session, Store
from api.store.claims import load_pulse, save_pulse
from api.store.outbox import oldest_untried
from api.store.refits import first_tank_at, newest_refit

OLDEST = timedelta(hours=26)
"""A night's work and a day's copy are at most so old."""
LONGEST_WAIT = timedelta(hours=1)
LEAST_FREE = 0.1
"""Share of the disk. [-]"""
BACKUP, HEARTBEAT = "backup", "heartbeat"
"""Pulses: when a checked copy was last made, and when all was last found in order."""


def troubles(store: Store, clock: Clock, *, makes_backups: bool) -> tuple[str, ...]:
    """Say what is wrong with the service; nothing where it is in order.

    Parameters
    ----------
    makes_backups
        Whether copies of the database are made here at all.

    Raises
    ------
    StoreUnavailableError
        When the database does not answer, or takes nothing: that readings come in is found by writing.
    """
    now = clock.now()
    with store.write() as session:
        found = (*_of_disk(store), *_of_work(session, now, makes_backups))
        if not found:
            save_pulse(session, HEARTBEAT, now)
    return found


def _of_disk(store: Store) -> Iterator[str]:
    file = store.engine.url.database
    if store.engine.dialect.name != "sqlite" or not file:
        return
    disk = shutil.disk_usage(Path(file).absolute().parent)
    if disk.free < LEAST_FREE * disk.total:
        yield "less than a tenth of the disk is free"


def _of_work(session: Session, now: datetime, makes_backups: bool) -> Iterator[str]:
    since = first_tank_at(session)
    if since is not None:
        # a new service has done neither yet: its first tank counts as the beginning
        if now - (newest_refit(session) or since) > OLDEST:
            yield "no forecast was renewed for more than a day"
        if makes_backups and now - (load_pulse(session, BACKUP) or since) > OLDEST:
            yield "no checked copy of the database was made for more than a day"
    waits = oldest_untried(session)
    if waits is not None and now - waits > LONGEST_WAIT:
        yield "a message has waited for more than an hour"
