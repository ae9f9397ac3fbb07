"""Messages that could not be stored as readings: kept with the reason, or only counted.

Flow     subscriber, routes -> **letters** -> tables
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from api.store import tables

MOST_BYTES = 64 * 1024
"""So much of a message is kept. [bytes]"""
MOST_KEPT = 1_000
"""So many letters of a mapping are kept, the newest. [letters]"""

letter = tables.doors.letter
dropped = tables.doors.dropped


@dataclass(frozen=True, slots=True)
class Letter:
    """A message that could not be read.

    Attributes
    ----------
    mapping_id
        By which it should have been; None where none is for its topic.
    code, mend
        Why, and what to do about it.
    """

    topic: str
    payload: bytes
    code: str
    mend: str
    received_at: datetime
    mapping_id: int | None = None


def save_letters(session: Session, letters: Sequence[Letter]) -> None:
    """Keep letters; of each mapping the newest thousand stay."""
    if not letters:
        return
    session.execute(
        sa.insert(letter),
        [
            {
                "mapping_id": one.mapping_id,
                "topic": one.topic,
                "payload": one.payload[:MOST_BYTES],
                "size": len(one.payload),
                "code": one.code,
                "mend": one.mend,
                "received_at": one.received_at,
            }
            for one in letters
        ],
    )
    for mapping_id in {one.mapping_id for one in letters}:
        same = letter.c.mapping_id.is_(None) if mapping_id is None else letter.c.mapping_id == mapping_id
        last = session.scalar(
            sa.select(letter.c.id).where(same).order_by(letter.c.id.desc()).offset(MOST_KEPT).limit(1)
        )
        if last is not None:
            session.execute(sa.delete(letter).where(same, letter.c.id <= last))


def list_letters(session: Session, tank_id: int, *, newest: int) -> list[Letter]:
    """List the letters of a tank's mappings, the newest first."""
    rows = session.execute(
        sa.select(letter)
        .select_from(letter.join(tables.doors.mapping).join(tables.sensor))
        .where(tables.sensor.c.tank_id == tank_id)
        .order_by(letter.c.id.desc())
        .limit(newest)
    )
    return [Letter(r.topic, r.payload, r.code, r.mend, r.received_at, r.mapping_id) for r in rows]


def count_dropped(session: Session, topic: str, code: str, *, at: datetime, count: int = 1) -> None:
    """Count messages that are no reading of any time; nothing else of them is kept."""
    insert = sqlite.insert if session.get_bind().dialect.name == "sqlite" else postgresql.insert
    statement = insert(dropped).values(topic=topic, code=code, count=count, last_at=at)
    session.execute(
        statement.on_conflict_do_update(
            index_elements=["topic", "code"],
            set_={"count": dropped.c.count + count, "last_at": at},
        )
    )


def dropped_of(session: Session, topic: str) -> dict[str, int]:
    """Tell how many messages of a topic were only counted, by reason."""
    rows = session.execute(sa.select(dropped.c.code, dropped.c.count).where(dropped.c.topic == topic))
    return {code: int(count) for code, count in rows}
