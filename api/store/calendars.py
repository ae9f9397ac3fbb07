"""Keys of calendar feeds; only their hash is kept.

Flow     use cases -> **calendar keys** -> tables
"""

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from api.store.accounts.tokens import hash_token
from api.store.tables import reach, tank


def save_feed(session: Session, tank_id: int, key: str, *, now: datetime) -> None:
    """Keep the key of a tank's feed; the one before it opens nothing any more."""
    insert = sqlite.insert if session.get_bind().dialect.name == "sqlite" else postgresql.insert
    values = {"token_hash": hash_token(key), "created_at": now}
    statement = insert(reach.calendar_feed).values(tank_id=tank_id, **values)
    session.execute(statement.on_conflict_do_update(index_elements=["tank_id"], set_=values))


def delete_feed(session: Session, tank_id: int) -> None:
    """Close a tank's feed."""
    session.execute(sa.delete(reach.calendar_feed).where(reach.calendar_feed.c.tank_id == tank_id))


def has_feed(session: Session, tank_id: int) -> bool:
    """Tell whether a tank has a feed."""
    feed = reach.calendar_feed.c
    return session.scalar(sa.select(feed.tank_id).where(feed.tank_id == tank_id)) is not None


def tank_of_feed(session: Session, key: str) -> str | None:
    """Find the tank (public id) whose feed a key opens; None where it opens none."""
    feed = reach.calendar_feed.c
    found: str | None = session.scalar(
        sa.select(tank.c.public_id)
        .join_from(reach.calendar_feed, tank, feed.tank_id == tank.c.id)
        .where(feed.token_hash == hash_token(key))
    )
    return found
