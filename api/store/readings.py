"""Readings: stored once under their key (sensor, time), never changed.

The key is the time as the sender gave it. Where a sender's clock was ahead of ours the row holds our
time, and the sender's as ``device_at``, so that the same message again is still known.

Flow     use cases -> **readings** -> tables
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

import numpy as np
import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from api.store import tables
from api.store.columns import to_datetime64
from forecaster.readings import Readings

CHUNK = 500
"""Readings stored by one statement. [rows]"""


class Outcome(StrEnum):
    """What became of a reading."""

    NEW = "new"
    KNOWN = "known"
    CONFLICT = "conflict"
    FAR_FUTURE = "far_future"


@dataclass(frozen=True, slots=True)
class NewReading:
    """A reading to be stored.

    Attributes
    ----------
    sensor_id
        Row of the sensor that took it.
    at
        When it was taken, as believed.
    quantity, value
        What was read: ``ullage_mm``, ``dip_mm`` [mm], ``litres`` [L] or ``fraction``.
    air_c, oil_c
        Temperatures in the tank, where the sensor has them. [C]
    device_at
        The sender's own time, only where ``at`` is not that.
    step
        How finely it was read, in the value's unit; None for a sensor, whose tank file says it.
    """

    sensor_id: int
    at: datetime
    quantity: str
    value: float
    air_c: float | None = None
    oil_c: float | None = None
    device_at: datetime | None = None
    step: float | None = None

    @property
    def sent_at(self) -> datetime:
        """The time as the sender gave it."""
        return self.device_at or self.at


@dataclass(frozen=True, slots=True)
class Saved:
    """What became of a reading, and the row that is kept under its key."""

    outcome: Outcome
    kept: NewReading


class _Held:
    """The rows already held among those that a chunk speaks of."""

    def __init__(self, rows: Iterable[NewReading]) -> None:
        self._by_at: dict[tuple[int, datetime], NewReading] = {}
        self._by_device_at: dict[tuple[int, datetime], NewReading] = {}
        for row in rows:
            self.add(row)

    def add(self, row: NewReading) -> None:
        self._by_at[row.sensor_id, row.at] = row
        if row.device_at is not None:
            self._by_device_at[row.sensor_id, row.device_at] = row

    def find(self, message: NewReading) -> NewReading | None:
        same_message = self._by_device_at.get((message.sensor_id, message.sent_at))
        return same_message or self._by_at.get((message.sensor_id, message.at))


def save_readings(
    session: Session, readings: Sequence[NewReading], *, received_at: datetime, source: str
) -> list[Saved]:
    """Store readings; say of each whether it is new, known, or in conflict with the one kept.

    Parameters
    ----------
    readings
        In any order, repeats allowed.
    received_at
        When they reached us.
    source
        Through which door: ``http``, ``csv``.

    Returns
    -------
    list of Saved
        One for each reading, in the same order.

    Notes
    -----
    Of two values under one key the first stays; the other is put aside and kept there. Only quantity
    and value are compared: another air temperature is no conflict.
    """
    saved: list[Saved] = []
    for start in range(0, len(readings), CHUNK):
        saved += _save_chunk(session, readings[start : start + CHUNK], received_at, source)
    return saved


def save_aside(
    session: Session, readings: Sequence[NewReading], code: Outcome, *, received_at: datetime, source: str
) -> None:
    """Keep readings that were not taken, with the reason; the same again is nothing new."""
    rows = [
        {
            "sensor_id": r.sensor_id,
            "at": r.sent_at,
            "code": code,
            "quantity": r.quantity,
            "value": r.value,
            "received_at": received_at,
            "source": source,
        }
        for r in readings
    ]
    if rows:
        session.execute(_insert(session, tables.reading_aside).on_conflict_do_nothing(), rows)


def count_readings(session: Session, tank_id: int) -> int:
    """Count the readings kept of a tank."""
    count = session.scalar(
        sa.select(sa.func.count()).select_from(
            tables.reading.join(tables.sensor).select().where(tables.sensor.c.tank_id == tank_id).subquery()
        )
    )
    return int(count or 0)


def newest_reading(session: Session, sensor_id: int) -> NewReading | None:
    """Find the latest reading of a sensor; None where there is none."""
    reading = tables.reading.c
    row = session.execute(
        sa.select(reading.at, reading.quantity, reading.value, reading.device_at)
        .where(reading.sensor_id == sensor_id)
        .order_by(reading.at.desc())
        .limit(1)
    ).one_or_none()
    return (
        None
        if row is None
        else NewReading(sensor_id, row.at, row.quantity, row.value, device_at=row.device_at)
    )


def load_readings(
    session: Session, tank_id: int, *, since: datetime, until: datetime, newest: int | None = None
) -> Readings | None:
    """Load the readings of all sensors of a tank, in order of time; None where there is none.

    Parameters
    ----------
    since, until
        Both ends belong to the span.
    newest
        Only so many, the latest of the span.
    """
    reading = tables.reading.c
    at_read = sa.type_coerce(reading.at, sa.String).label("at_read")  # as the driver gives it
    rows = session.execute(
        sa.select(at_read, reading.quantity, reading.value, reading.air_c, reading.oil_c, reading.step)
        .select_from(tables.reading.join(tables.sensor))
        .where(tables.sensor.c.tank_id == tank_id, reading.at >= since, reading.at <= until)
        .order_by(reading.at.desc(), reading.sensor_id.desc())
        .limit(newest)
    ).all()
    if not rows:
        return None
    at, quantity, value, air_c, oil_c, step = zip(*reversed(rows), strict=True)
    return Readings(
        at=to_datetime64(at),
        quantity=np.array(quantity),
        value=np.array(value, dtype=float),
        air_c=np.array(air_c, dtype=float),  # None becomes NaN
        oil_c=np.array(oil_c, dtype=float),
        step=None if all(s is None for s in step) else np.array(step, dtype=float),
    )


def _save_chunk(
    session: Session, chunk: Sequence[NewReading], received_at: datetime, source: str
) -> list[Saved]:
    held = _load_held(session, chunk)
    fresh: list[NewReading] = []
    for message in chunk:
        if held.find(message) is None:
            held.add(message)
            fresh.append(message)
    new = _store(session, fresh, received_at, source)
    if len(new) < len(fresh):  # another process stored some of them in between: look again
        held = _load_held(session, chunk)
    saved, conflicts = [], []
    for message in chunk:
        kept = held.find(message) or message
        if (kept.sensor_id, kept.at) in new:
            new.discard((kept.sensor_id, kept.at))  # a repeat in the same chunk is known
            saved.append(Saved(Outcome.NEW, kept))
        elif (kept.quantity, kept.value) == (message.quantity, message.value):
            saved.append(Saved(Outcome.KNOWN, kept))
        else:
            saved.append(Saved(Outcome.CONFLICT, kept))
            conflicts.append(message)
    save_aside(session, conflicts, Outcome.CONFLICT, received_at=received_at, source=source)
    return saved


def _load_held(session: Session, chunk: Sequence[NewReading]) -> _Held:
    reading = tables.reading.c
    ats = {m.at for m in chunk} | {m.sent_at for m in chunk}
    rows = session.execute(
        sa.select(reading.sensor_id, reading.at, reading.quantity, reading.value, reading.device_at).where(
            reading.sensor_id.in_({m.sensor_id for m in chunk}),
            reading.at.in_(ats) | reading.device_at.in_({m.sent_at for m in chunk}),
        )
    )
    return _Held(NewReading(r.sensor_id, r.at, r.quantity, r.value, device_at=r.device_at) for r in rows)


def _store(
    session: Session, fresh: Sequence[NewReading], received_at: datetime, source: str
) -> set[tuple[int, datetime]]:
    """Insert what is not there yet; the keys that were."""
    if not fresh:
        return set()
    ordered = sorted(fresh, key=lambda m: (m.sensor_id, m.at))  # one order for all: no deadlock
    rows = [
        {
            "sensor_id": m.sensor_id,
            "at": m.at,
            "device_at": m.device_at,
            "quantity": m.quantity,
            "value": m.value,
            "air_c": m.air_c,
            "oil_c": m.oil_c,
            "received_at": received_at,
            "source": source,
            "step": m.step,
        }
        for m in ordered
    ]
    if session.get_bind().dialect.name == "sqlite":
        # The transaction holds SQLite's one write lock since before the look: all of them are new.
        session.execute(sqlite.insert(tables.reading).on_conflict_do_nothing(), rows)
        return {(m.sensor_id, m.at) for m in ordered}
    return _store_arrays(session, rows)


def _store_arrays(session: Session, rows: Sequence[dict[str, Any]]) -> set[tuple[int, datetime]]:
    """Insert into PostgreSQL one array a column: twice as fast as row by row, and it says what was new."""
    columns = list(tables.reading.columns)
    arrays = [
        sa.literal([row[column.name] for row in rows], postgresql.ARRAY(column.type)) for column in columns
    ]
    source = (
        sa.func.unnest(*arrays).table_valued(*(sa.column(c.name, c.type) for c in columns)).render_derived()
    )
    statement = (
        postgresql.insert(tables.reading)
        .from_select([c.name for c in columns], sa.select(*source.c))
        .on_conflict_do_nothing()
        .returning(tables.reading.c.sensor_id, tables.reading.c.at)
    )
    return {(row.sensor_id, row.at.astimezone(UTC)) for row in session.execute(statement)}


def _insert(session: Session, table: sa.Table) -> "sqlite.Insert | postgresql.Insert":
    if session.get_bind().dialect.name == "sqlite":
        return sqlite.insert(table)
    return postgresql.insert(table)
