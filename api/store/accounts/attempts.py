"""Failures in a row, kept in the database so that every process counts the same.

Flow     use cases -> **attempts** -> tables
"""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from api.store.accounts.tokens import hash_token
from api.store.tables.access import attempt

_ROW = attempt.c


@dataclass(frozen=True, slots=True)
class Failures:
    """How often somebody failed in a row, and when last."""

    count: int
    last_at: datetime | None


def load_failures(session: Session, what: str, subject: str) -> Failures:
    """Tell how often a subject failed in a row at something."""
    row = session.execute(
        sa.select(_ROW.failures, _ROW.last_at).where(
            _ROW.what == what, _ROW.subject_hash == hash_token(subject)
        )
    ).one_or_none()
    return Failures(0, None) if row is None else Failures(row.failures, row.last_at)


def add_failure(session: Session, what: str, subject: str, *, now: datetime) -> None:
    """Count one failure of a subject at something, in one step on both databases."""
    insert = sqlite.insert if session.get_bind().dialect.name == "sqlite" else postgresql.insert
    row = insert(attempt).values(
        what=what, subject_hash=hash_token(subject), failures=1, first_at=now, last_at=now
    )
    session.execute(
        row.on_conflict_do_update(
            index_elements=[_ROW.what, _ROW.subject_hash],
            set_={"failures": _ROW.failures + 1, "last_at": now},
        )
    )


def forget_failures(session: Session, what: str, subject: str) -> None:
    """Begin to count anew after a success."""
    session.execute(sa.delete(attempt).where(_ROW.what == what, _ROW.subject_hash == hash_token(subject)))


def drop_old_failures(session: Session, *, before: datetime, fewer_than: int) -> None:
    """Forget what was few and long ago, so that made-up subjects do not pile up."""
    session.execute(sa.delete(attempt).where(_ROW.last_at < before, _ROW.failures < fewer_than))
