"""Mappings of sensors' own messages, and the topics they come on.

Flow     routes, subscriber -> **mappings** -> tables
"""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store import tables
from api.store.tanks import NotFoundError, new_public_id

mapping = tables.doors.mapping


class TopicTakenError(Exception):
    """Another mapping has the topic already."""


@dataclass(frozen=True, slots=True)
class StoredMapping:
    """A mapping as stored: its rows, its sensor's and tank's public ids, its topic, its body as JSON text."""

    id: int
    public_id: str
    sensor: str
    tank: str
    topic: str | None
    body: str


def save_mapping(
    session: Session, *, sensor_id: int, topic: str | None, body: str, created_at: datetime
) -> StoredMapping:
    """Store a mapping.

    Raises
    ------
    TopicTakenError
        When another mapping has its topic.
    """
    if topic is not None and session.scalar(sa.select(mapping.c.id).where(mapping.c.topic == topic)):
        raise TopicTakenError
    public_id = new_public_id()
    session.execute(
        sa.insert(mapping).values(
            public_id=public_id, sensor_id=sensor_id, topic=topic, body=body, created_at=created_at
        )
    )
    return _all(session, mapping.c.public_id == public_id)[0]


def list_mappings(session: Session, tank_id: int) -> tuple[StoredMapping, ...]:
    """List a tank's mappings, in the order of their coming."""
    return _all(session, tables.sensor.c.tank_id == tank_id)


def load_mapping(session: Session, tank_id: int, public_id: str) -> StoredMapping:
    """Find a mapping of a tank.

    Raises
    ------
    NotFoundError
        When the tank has none of that id.
    """
    found = _all(session, (tables.sensor.c.tank_id == tank_id) & (mapping.c.public_id == public_id))
    if not found:
        raise NotFoundError
    return found[0]


def delete_mapping(session: Session, tank_id: int, public_id: str) -> None:
    """Remove a mapping, and the letters that could not be read by it; readings stay.

    Raises
    ------
    NotFoundError
        When the tank has none of that id.
    """
    found = load_mapping(session, tank_id, public_id)
    session.execute(sa.delete(tables.doors.letter).where(tables.doors.letter.c.mapping_id == found.id))
    session.execute(sa.delete(mapping).where(mapping.c.id == found.id))


def mappings_by_topic(session: Session) -> dict[str, StoredMapping]:
    """Find every mapping that has a topic, by it."""
    return {m.topic: m for m in _all(session, mapping.c.topic.is_not(None)) if m.topic is not None}


def _all(session: Session, which: sa.ColumnElement[bool]) -> tuple[StoredMapping, ...]:
    rows = session.execute(
        sa.select(
            mapping.c.id,
            mapping.c.public_id,
            tables.sensor.c.public_id.label("sensor"),
            tables.tank.c.public_id.label("tank"),
            mapping.c.topic,
            mapping.c.body,
        )
        .select_from(mapping.join(tables.sensor).join(tables.tank))
        .where(which)
        .order_by(mapping.c.id)
    )
    return tuple(StoredMapping(*row) for row in rows)
