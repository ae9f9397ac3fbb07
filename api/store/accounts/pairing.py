"""Codes that let a phone of the house in.

Flow     use cases -> **pairing** -> tables
"""

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store.accounts.tokens import hash_token
from api.store.tables.access import pairing_code

_ROW = pairing_code.c


def save_code(session: Session, code: str, paired_as: str, *, now: datetime, expires_at: datetime) -> None:
    """Keep a code in place of any earlier one: only the newest lets anybody in."""
    session.execute(sa.delete(pairing_code))
    session.execute(
        sa.insert(pairing_code).values(
            code_hash=hash_token(code), paired_as=paired_as, created_at=now, expires_at=expires_at
        )
    )


def spend_code(session: Session, code: str, *, now: datetime) -> str | None:
    """Use a code up; what it pairs as, or None where it is not, or no longer, a code."""
    row = session.execute(
        sa.select(_ROW.id, _ROW.paired_as).where(
            _ROW.code_hash == hash_token(code), _ROW.used_at.is_(None), _ROW.expires_at > now
        )
    ).one_or_none()
    if row is None:
        return None
    done = session.execute(
        sa.update(pairing_code).where(_ROW.id == row.id, _ROW.used_at.is_(None)).values(used_at=now)
    )
    return str(row.paired_as) if done.rowcount else None  # type: ignore[attr-defined]


def drop_codes(session: Session) -> None:
    """Let no code open anything any more, as after too many wrong ones."""
    session.execute(sa.delete(pairing_code))
