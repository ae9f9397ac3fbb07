"""What accounts are to tanks: of the household, installer on an open job, distributor by a link.

Asked anew at each request, so that what ended opens nothing from the next request on.

Flow     guard, use cases -> **grants** -> tables
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.store import tables
from api.store.tables.access import account, installer_job, supply_link, tank_grant
from api.store.tanks import NotFoundError, StoredTank, load_tank, lock_tank, new_public_id

_GRANT, _JOB, _LINK = tank_grant.c, installer_job.c, supply_link.c
_ENDS = {tank_grant: "until", installer_job: "closed_at", supply_link: "ended_at"}
"""Every kind of relation, and the column that says when it ended."""


@dataclass(frozen=True, slots=True)
class Tie:
    """One account's relation to a tank, as its household sees it.

    Attributes
    ----------
    kind
        ``owner``, ``member``, ``installer``, ``distributor``; ``offer`` for a supply link that the
        household has not accepted yet.
    until
        Last instant of an installer's job.
    """

    public_id: str
    kind: str
    email: str
    since: datetime
    until: datetime | None


@dataclass(frozen=True, slots=True)
class Share:
    """One account's relation to a tank, as the account sees it: the tank's public id and name, and the kind."""

    tank: str
    name: str
    kind: str


def find_relations(
    session: Session, account_id: int, tank_public_id: str, *, now: datetime
) -> frozenset[str]:
    """Tell what an account is to a tank now: ``owner``, ``member``, ``installer``, ``distributor``."""
    found = _relations(account_id, now)
    kinds = sa.select(found.c.kind).join(tables.tank, tables.tank.c.id == found.c.tank_id)
    return frozenset(session.scalars(kinds.where(tables.tank.c.public_id == tank_public_id)).all())


def list_shares(session: Session, account_id: int, *, now: datetime) -> tuple[Share, ...]:
    """List every tank that an account is something to now, by the tank's name."""
    found, tank = _relations(account_id, now), tables.tank.c
    rows = session.execute(
        sa.select(tank.public_id.label("tank"), tank.name, found.c.kind)
        .join_from(found, tables.tank, tank.id == found.c.tank_id)
        .distinct()
        .order_by(tank.name, tank.public_id, found.c.kind)
    )
    return tuple(Share(**row._mapping) for row in rows)


def list_tanks_of(session: Session, account_id: int) -> tuple[StoredTank, ...]:
    """List the tanks of whose household an account is, in the order of their coming."""
    ids = session.scalars(
        sa.select(tables.tank.c.public_id)
        .join(tank_grant, tank_grant.c.tank_id == tables.tank.c.id)
        .where(_GRANT.account_id == account_id, _GRANT.until.is_(None))
        .order_by(tables.tank.c.id)
    ).all()
    return tuple(load_tank(session, public_id) for public_id in ids)


def list_ties(session: Session, tank_id: int, *, now: datetime) -> tuple[Tie, ...]:
    """List everybody who has a relation to a tank now, and supply links that wait to be accepted."""
    grants = (
        sa.select(_GRANT.public_id, _GRANT.kind, account.c.email, _GRANT.since, sa.null().label("until"))
        .join(account, account.c.id == _GRANT.account_id)
        .where(_GRANT.tank_id == tank_id, _GRANT.until.is_(None))
        .order_by(_GRANT.id)
    )
    jobs = (
        sa.select(
            _JOB.public_id,
            sa.literal("installer").label("kind"),
            account.c.email,
            _JOB.opened_at.label("since"),
            _JOB.until,
        )
        .join(account, account.c.id == _JOB.account_id)
        .where(_JOB.tank_id == tank_id, _is_open(now))
        .order_by(_JOB.id)
    )
    kind = sa.case((_LINK.accepted_at.is_(None), "offer"), else_="distributor").label("kind")
    links = (
        sa.select(
            _LINK.public_id, kind, account.c.email, _LINK.offered_at.label("since"), sa.null().label("until")
        )
        .join(account, account.c.id == _LINK.account_id)
        .where(_LINK.tank_id == tank_id, _LINK.ended_at.is_(None))
        .order_by(_LINK.id)
    )
    return tuple(Tie(**row._mapping) for query in (grants, jobs, links) for row in session.execute(query))


def add_to_household(session: Session, account_id: int, tank_id: int, kind: str, *, now: datetime) -> None:
    """Take an account into a tank's household, as ``owner`` or ``member``, in place of what it was.

    Raises
    ------
    LastOwnerError
        When the only owner would be a member from now on.
    """
    with _keeping_an_owner(session, tank_id):
        _end(session, tank_grant, _GRANT.account_id == account_id, _GRANT.tank_id == tank_id, now=now)
        session.execute(
            sa.insert(tank_grant).values(
                public_id=new_public_id(), account_id=account_id, tank_id=tank_id, kind=kind, since=now
            )
        )


def open_job(session: Session, account_id: int, tank_id: int, *, now: datetime, until: datetime) -> None:
    """Let an installer look at a tank until an instant."""
    session.execute(
        sa.insert(installer_job).values(
            public_id=new_public_id(), account_id=account_id, tank_id=tank_id, opened_at=now, until=until
        )
    )


def link_supply(session: Session, account_id: int, tank_id: int, *, now: datetime, accepted: bool) -> None:
    """Link a distributor to a tank; open only once accepted. A link that stands already stays."""
    standing = session.scalar(
        sa.select(_LINK.id).where(
            _LINK.account_id == account_id, _LINK.tank_id == tank_id, _LINK.ended_at.is_(None)
        )
    )
    if standing is None:
        session.execute(
            sa.insert(supply_link).values(
                public_id=new_public_id(),
                account_id=account_id,
                tank_id=tank_id,
                offered_at=now,
                accepted_at=now if accepted else None,
            )
        )


def accept_supply(session: Session, tank_id: int, public_id: str, *, now: datetime) -> None:
    """Accept a distributor's offer to a tank.

    Raises
    ------
    NotFoundError
        When no such offer stands.
    """
    _must(
        session.execute(
            sa.update(supply_link)
            .where(_LINK.tank_id == tank_id, _LINK.public_id == public_id, _LINK.ended_at.is_(None))
            .values(accepted_at=sa.func.coalesce(_LINK.accepted_at, now))
        )
    )


def end_tie(session: Session, tank_id: int, public_id: str, *, now: datetime) -> None:
    """End one relation to a tank, whatever its kind.

    Raises
    ------
    NotFoundError
        When the tank has no such relation.
    LastOwnerError
        When nobody would be left who owns the tank.
    """
    with _keeping_an_owner(session, tank_id):
        ended = [
            _end(session, table, table.c.tank_id == tank_id, table.c.public_id == public_id, now=now)
            for table in _ENDS
        ]
        if not any(ended):
            raise NotFoundError


def leave_tank(session: Session, account_id: int, tank_id: int, *, now: datetime) -> None:
    """End every relation of one account to a tank.

    Raises
    ------
    LastOwnerError
        When nobody would be left who owns the tank.
    """
    with _keeping_an_owner(session, tank_id):
        for table in _ENDS:
            _end(session, table, table.c.account_id == account_id, table.c.tank_id == tank_id, now=now)


def public_id_of(session: Session, tank_id: int) -> str:
    """Give the public id of a tank's row.

    Raises
    ------
    NotFoundError
        When it is gone.
    """
    found = session.scalar(sa.select(tables.tank.c.public_id).where(tables.tank.c.id == tank_id))
    if found is None:
        raise NotFoundError
    return str(found)


def owns(session: Session, account_id: int, tank_id: int) -> bool:
    """Tell whether an account owns a tank now."""
    return bool(
        session.scalar(
            sa.select(_GRANT.id).where(
                _GRANT.account_id == account_id,
                _GRANT.tank_id == tank_id,
                _GRANT.kind == "owner",
                _GRANT.until.is_(None),
            )
        )
    )


def count_owners(session: Session, tank_id: int) -> int:
    """Count the owners of a tank."""
    return int(
        session.scalar(
            sa.select(sa.func.count())
            .select_from(tank_grant)
            .where(_GRANT.tank_id == tank_id, _GRANT.kind == "owner", _GRANT.until.is_(None))
        )
        or 0
    )


class LastOwnerError(Exception):
    """A tank must keep an owner: name another before the last one goes."""


def _relations(account_id: int, now: datetime) -> sa.Subquery:
    """Look up what an account is to which tank now."""
    return sa.union_all(
        sa.select(_GRANT.tank_id, _GRANT.kind).where(_GRANT.account_id == account_id, _GRANT.until.is_(None)),
        sa.select(_JOB.tank_id, sa.literal("installer")).where(_JOB.account_id == account_id, _is_open(now)),
        sa.select(_LINK.tank_id, sa.literal("distributor")).where(
            _LINK.account_id == account_id, _is_accepted()
        ),
    ).subquery()


def _is_open(now: datetime) -> sa.ColumnElement[bool]:
    return sa.and_(_JOB.closed_at.is_(None), _JOB.opened_at <= now, _JOB.until > now)


def _is_accepted() -> sa.ColumnElement[bool]:
    return sa.and_(_LINK.accepted_at.is_not(None), _LINK.ended_at.is_(None))


@contextmanager
def _keeping_an_owner(session: Session, tank_id: int) -> Iterator[None]:
    """Refuse a change after which nobody owns a tank that somebody owned; one such change at a time."""
    lock_tank(session, tank_id)
    owned = count_owners(session, tank_id)
    yield
    if owned and not count_owners(session, tank_id):
        raise LastOwnerError


def _end(session: Session, table: sa.Table, *conditions: sa.ColumnElement[bool], now: datetime) -> int:
    """End relations of one kind; how many there were."""
    end = table.c[_ENDS[table]]
    done = session.execute(sa.update(table).where(*conditions, end.is_(None)).values({end: now}))
    return int(done.rowcount)  # type: ignore[attr-defined]


def _must(done: object) -> None:
    if not done.rowcount:  # type: ignore[attr-defined]
        raise NotFoundError
