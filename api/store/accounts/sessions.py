"""Browsers that are let in: of an account, or a phone paired with the home's machine.

The browser holds a random token; the row holds its hash, so that ending the row ends the session at
the next request.

Flow     use cases, guard -> **sessions** -> tables
Source   OWASP ASVS 5.0, chapter 7
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store.accounts.tokens import hash_token
from api.store.tables.access import account, account_session
from api.store.tanks import NotFoundError, new_public_id

SEEN_EVERY = timedelta(minutes=5)
"""So exactly is kept when a session was last seen."""


@dataclass(frozen=True, slots=True)
class BrowserSession:
    """A browser that is let in: for an account, or paired as an owner or a member of the home."""

    id: int
    public_id: str
    account_id: int | None
    paired_as: str | None
    browser: str
    created_at: datetime
    last_seen_at: datetime
    ends_at: datetime
    is_operator: bool


def open_session(
    session: Session,
    *,
    token: str,
    account_id: int | None = None,
    paired_as: str | None = None,
    browser: str,
    now: datetime,
    ends_at: datetime,
) -> None:
    """Let a browser in with a fresh token, for an account or paired with this home."""
    session.execute(
        sa.insert(account_session).values(
            public_id=new_public_id(),
            token_hash=hash_token(token),
            account_id=account_id,
            paired_as=paired_as,
            browser=browser,
            created_at=now,
            last_seen_at=now,
            ends_at=ends_at,
        )
    )


def find_session(session: Session, token: str, *, now: datetime, idle: timedelta) -> BrowserSession | None:
    """Find the session of a token; None where it ended, idled too long, or its account is shut out."""
    row = session.execute(
        _select().where(
            account_session.c.token_hash == hash_token(token),
            account_session.c.revoked_at.is_(None),
            account_session.c.ends_at > now,
            account_session.c.last_seen_at > now - idle,
            account.c.disabled_at.is_(None),
        )
    ).one_or_none()
    return None if row is None else _browser_session(row)


def see_session(session: Session, session_id: int, now: datetime) -> None:
    """Note that a session was used."""
    session.execute(
        sa.update(account_session).where(account_session.c.id == session_id).values(last_seen_at=now)
    )


def list_sessions(session: Session, account_id: int | None, *, now: datetime) -> tuple[BrowserSession, ...]:
    """List the open sessions of an account, or of the paired phones (None); the newest first."""
    rows = session.execute(
        _select()
        .where(
            _of(account_id),
            account_session.c.revoked_at.is_(None),
            account_session.c.ends_at > now,
        )
        .order_by(account_session.c.id.desc())
    )
    return tuple(_browser_session(row) for row in rows)


def end_session(session: Session, account_id: int | None, public_id: str, *, now: datetime) -> None:
    """End one session of an account, or of a paired phone (None).

    Raises
    ------
    NotFoundError
        When the account has no such open session.
    """
    done = session.execute(
        sa.update(account_session)
        .where(
            _of(account_id),
            account_session.c.public_id == public_id,
            account_session.c.revoked_at.is_(None),
        )
        .values(revoked_at=now)
    )
    if not done.rowcount:  # type: ignore[attr-defined]
        raise NotFoundError


def end_sessions(session: Session, account_id: int | None, *, now: datetime, but: int | None = None) -> None:
    """End every session of an account, or of the paired phones (None), but one."""
    condition = [_of(account_id), account_session.c.revoked_at.is_(None)]
    if but is not None:
        condition.append(account_session.c.id != but)
    session.execute(sa.update(account_session).where(*condition).values(revoked_at=now))


def _of(account_id: int | None) -> sa.ColumnElement[bool]:
    if account_id is None:
        return account_session.c.paired_as.is_not(None)
    return account_session.c.account_id == account_id


def _select() -> sa.Select[tuple[object, ...]]:
    columns = [account_session.c[n] for n in BrowserSession.__dataclass_fields__ if n != "is_operator"]
    return sa.select(
        *columns, sa.func.coalesce(account.c.is_operator, sa.false()).label("is_operator")
    ).join_from(account_session, account, account_session.c.account_id == account.c.id, isouter=True)


def _browser_session(row: sa.Row[tuple[object, ...]]) -> BrowserSession:
    return BrowserSession(**{**row._mapping, "is_operator": bool(row._mapping["is_operator"])})
