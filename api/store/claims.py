"""Who runs which job when, what was last in order, and what the person who runs the service was told.

Flow     worker -> **claims, pulses, notices** -> tables
Rule     a run of a job is a row under (job, slot): who inserts it has it; once its lease is over and it
         is not finished, another may take it over
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from api.store.tables import forecast as forecasts
from api.store.tables import reach, reading
from api.store.tables import tank as tanks

MOST_ATTEMPTS = 5
"""A run that was begun so often and never finished is given up."""


@dataclass(frozen=True, slots=True)
class Notice:
    """A trouble of the service, told once while it lasts."""

    cause: str
    words: str
    since: datetime


def claim_slot(session: Session, job: str, slot: str, *, owner: str, now: datetime, lease: timedelta) -> bool:
    """Take one run of a job; False where another has it, or had it.

    A run that was begun and whose lease is over is taken over.
    """
    claim = reach.job_claim
    insert = sqlite.insert if session.get_bind().dialect.name == "sqlite" else postgresql.insert
    made = session.execute(
        insert(claim)
        .values(job=job, slot=slot, owner=owner, claimed_at=now, lease_until=now + lease, attempts=1)
        .on_conflict_do_nothing()
        .returning(claim.c.slot)
    )
    if made.first() is not None:
        return True
    taken = session.execute(
        sa.update(claim)
        .where(
            claim.c.job == job, claim.c.slot == slot, claim.c.finished_at.is_(None),
            claim.c.lease_until < now, claim.c.attempts < MOST_ATTEMPTS,
        )
        .values(owner=owner, claimed_at=now, lease_until=now + lease, attempts=claim.c.attempts + 1)
    )  # fmt: skip
    return bool(taken.rowcount == 1)  # type: ignore[attr-defined]


def is_taken(session: Session, job: str, slot: str, *, now: datetime) -> bool:
    """Tell whether a run of a job is done, given up, or in somebody's hands."""
    claim = reach.job_claim
    row = session.execute(sa.select(claim).where(claim.c.job == job, claim.c.slot == slot)).one_or_none()
    if row is None:
        return False
    return row.finished_at is not None or row.lease_until >= now or row.attempts >= MOST_ATTEMPTS


def finish_slot(session: Session, job: str, slot: str, *, owner: str, now: datetime) -> None:
    """Note that a run is done, by the one who has it."""
    claim = reach.job_claim
    session.execute(
        sa.update(claim)
        .where(claim.c.job == job, claim.c.slot == slot, claim.c.owner == owner)
        .values(finished_at=now)
    )


def drop_old_claims(session: Session, job: str, *, keep: int) -> None:
    """Forget a frequent job's oldest runs, by their number and never by the clock."""
    claim = reach.job_claim
    newest = (
        sa.select(claim.c.slot).where(claim.c.job == job).order_by(claim.c.slot.desc()).limit(keep).subquery()
    )
    session.execute(sa.delete(claim).where(claim.c.job == job, claim.c.slot.not_in(sa.select(newest.c.slot))))


def save_pulse(session: Session, name: str, at: datetime) -> None:
    """Note that something was in order at an instant."""
    insert = sqlite.insert if session.get_bind().dialect.name == "sqlite" else postgresql.insert
    statement = insert(reach.pulse).values(name=name, at=at)
    session.execute(statement.on_conflict_do_update(index_elements=["name"], set_={"at": at}))


def load_pulse(session: Session, name: str) -> datetime | None:
    """Find when something was last in order; None where it never was."""
    return session.scalar(sa.select(reach.pulse.c.at).where(reach.pulse.c.name == name))


def newest_stored(session: Session) -> datetime | None:
    """Find the newest instant of our own clock among readings, forecasts and tanks."""
    found = [
        session.scalar(sa.select(sa.func.max(column)))
        for column in (reading.c.received_at, forecasts.c.made_at, tanks.c.created_at)
    ]
    return max((at for at in found if at is not None), default=None)


def begin_notice(session: Session, cause: str, words: str, *, now: datetime) -> bool:
    """Open a notice of a trouble; False where it is open already."""
    insert = sqlite.insert if session.get_bind().dialect.name == "sqlite" else postgresql.insert
    made = session.execute(
        insert(reach.notice)
        .values(cause=cause, words=words, since=now)
        .on_conflict_do_nothing()
        .returning(reach.notice.c.id)
    )
    return made.first() is not None


def end_notice(session: Session, cause: str, *, now: datetime) -> bool:
    """Close the notice of a trouble that is over; False where none was open."""
    closed = session.execute(
        sa.update(reach.notice)
        .where(reach.notice.c.cause == cause, reach.notice.c.ended_at.is_(None))
        .values(ended_at=now)
    )
    return bool(closed.rowcount)  # type: ignore[attr-defined]


def list_notices(session: Session) -> tuple[Notice, ...]:
    """List the troubles that last, the oldest first."""
    notice = reach.notice
    rows = session.execute(sa.select(notice).where(notice.c.ended_at.is_(None)).order_by(notice.c.id))
    return tuple(Notice(row.cause, row.words, row.since) for row in rows)
