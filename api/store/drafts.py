"""Answers of whoever is setting a tank up: one open draft for each account, one for a home without.

Nothing of a draft is a tank: no forecast, list or reminder sees it. Once it has made one it stays with
that tank, as what was typed and in which units.

Flow     use cases -> **drafts** -> tables
"""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store.tables import tank
from api.store.tables.setup import setup_draft


@dataclass(frozen=True, slots=True)
class StoredDraft:
    """A draft: its row, what was typed as JSON, the tank (public id) that it made, None while it is open."""

    id: int
    body: str
    tank: str | None


def load_draft(session: Session, account_id: int | None) -> StoredDraft | None:
    """Find the newest draft of an account, or of the home where there are no accounts."""
    draft = setup_draft.c
    whose = draft.account_id.is_(None) if account_id is None else draft.account_id == account_id
    return _find(session, whose)


def load_draft_of_tank(session: Session, tank_id: int) -> StoredDraft | None:
    """Find what was typed when a tank was set up; None where it came in by another way."""
    return _find(session, setup_draft.c.tank_id == tank_id)


def begin_draft(session: Session, account_id: int | None, *, body: str, now: datetime) -> StoredDraft:
    """Begin a draft."""
    row = session.execute(
        sa.insert(setup_draft).values(account_id=account_id, body=body, created_at=now, changed_at=now)
    )
    return StoredDraft(row.inserted_primary_key[0], body, None)  # type: ignore[attr-defined]


def save_draft(
    session: Session, draft_id: int, *, body: str, now: datetime, tank_id: int | None = None
) -> None:
    """Keep what was typed, and the tank that it made."""
    made = {} if tank_id is None else {"tank_id": tank_id}
    session.execute(
        sa.update(setup_draft).where(setup_draft.c.id == draft_id).values(body=body, changed_at=now, **made)
    )


def drop_draft(session: Session, draft_id: int) -> None:
    """Throw a draft away."""
    session.execute(sa.delete(setup_draft).where(setup_draft.c.id == draft_id))


def _find(session: Session, whose: sa.ColumnElement[bool]) -> StoredDraft | None:
    draft = setup_draft.c
    row = session.execute(
        sa.select(draft.id, draft.body, tank.c.public_id)
        .join_from(setup_draft, tank, draft.tank_id == tank.c.id, isouter=True)
        .where(whose)
        .order_by(draft.id.desc())
        .limit(1)
    ).one_or_none()
    return None if row is None else StoredDraft(row.id, row.body, row.public_id)
