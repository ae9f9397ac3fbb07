"""Ways to reach people: given, confirmed by the person reached, used, ended.

Nothing is sent to a mail address but one request to confirm it, and that at most once a day, until
somebody who reads there has said yes. A webhook's owner shows by its secret that it is theirs.

Flow     door -> **contacts** -> store, outbox
Source   double opt-in, common practice
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from api.notify.further import is_further_address
from api.notify.mail import is_mail_address
from api.notify.targets import Network, Resolve, TargetError, check_target, look_up
from api.notify.webhook import new_secret
from api.ports import Clock
from api.store import NotFoundError, Session
from api.store.accounts.tokens import new_token
from api.store.contacts import (
    Channel,
    Contact,
    confirm_contact,
    end_contact,
    find_contact,
    find_token,
    list_contacts,
    load_contact,
    rotate_secret,
    save_contact,
)
from api.store.outbox import put_out
from api.store.tanks import StoredTank
from forecaster.errors import InputError, Problem

MOST = 10
"""Ways of one tank."""
ASK_AGAIN = timedelta(days=1)
VALID = timedelta(days=7)
"""A request to confirm can be answered so long."""
OVERLAP = timedelta(days=7)
"""After a change of its secret a webhook is signed with both for so long."""


@dataclass(frozen=True, slots=True)
class Allowed:
    """What the operator allows: private networks for webhooks, and where the pages are."""

    private: tuple[Network, ...] = ()
    address: str = ""
    resolve: Resolve = look_up


@dataclass(frozen=True, slots=True)
class Added:
    """A way that was given; the secret of a webhook is shown this once."""

    contact: Contact
    secret: str | None
    is_asked: bool


def add_contact(
    session: Session,
    clock: Clock,
    tank: StoredTank,
    channel: Channel,
    address: str,
    *,
    second: bool,
    allowed: Allowed,
) -> Added:
    """Take a way to reach somebody; mail is used once it is confirmed.

    Parameters
    ----------
    address
        Mail address, https address, or address of a further way.
    second
        Hears only what the first person did not answer.

    Raises
    ------
    InputError
        When nothing can be sent there, or there are too many.
    """
    _require_usable(channel, address, allowed)
    now = clock.now()
    before = find_contact(session, tank.id, channel, address)
    if before is None and len(list_contacts(session, tank.id)) >= MOST:
        raise InputError(Problem("too_many", "/address", f"take one away first: {MOST} are the most"))
    if channel is not Channel.MAIL:
        secret = new_secret() if channel is Channel.WEBHOOK else None
        made = save_contact(
            session, tank.id, channel, address, second=second, secret=secret, token=None, now=now
        )
        return Added(made, secret, is_asked=False)
    if before is not None and before.is_used:
        return Added(before, None, is_asked=False)
    if before is not None and before.asked_at is not None and now - before.asked_at < ASK_AGAIN:
        return Added(before, None, is_asked=False)
    token = new_token()
    made = save_contact(session, tank.id, channel, address, second=second, secret=None, token=token, now=now)
    body = {
        "kind": "confirm",
        "title": "May we send reminders to this address?",
        "paragraphs": [
            "Somebody has asked us to send reminders about a heating-oil tank to this address.",
            "If that is right, open this address and say yes. If it is not, do nothing: no more will come.",
            f"To confirm: {allowed.address.rstrip('/')}/confirm/{token}",
            "Sent by Dipcast.",
        ],
        "page": f"{allowed.address.rstrip('/')}/confirm/{token}",
        "at": now.isoformat(),
    }
    put_out(session, channel, address, body, now=now, not_after=now + VALID, contact=made)
    return Added(made, None, is_asked=True)


def find_asked(session: Session, clock: Clock, token: str) -> Contact:
    """Find the way that a request asks about.

    Raises
    ------
    NotFoundError
        When the request was answered, is too old, or never was.
    """
    contact = find_token(session, token)
    if contact is None or contact.asked_at is None or clock.now() - contact.asked_at > VALID:
        raise NotFoundError
    return contact


def confirm(session: Session, clock: Clock, token: str) -> None:
    """Confirm a way: by whoever has read the request sent there.

    Raises
    ------
    NotFoundError
        When the request was answered, is too old, or never was.
    """
    confirm_contact(session, find_asked(session, clock, token), now=clock.now())


def remove_contact(session: Session, clock: Clock, tank: StoredTank, public_id: str) -> None:
    """Use a way no more; what waits for it does not leave.

    Raises
    ------
    NotFoundError
        When the tank has no such way.
    """
    contact = load_contact(session, tank.id, public_id)
    if contact.ended_at is None:
        end_contact(session, contact.id, "taken away", now=clock.now())


def change_secret(session: Session, clock: Clock, tank: StoredTank, public_id: str) -> str:
    """Give a webhook a new secret; for a week both sign.

    Raises
    ------
    NotFoundError
        When the tank has no such webhook in use.
    """
    contact = load_contact(session, tank.id, public_id)
    if contact.channel is not Channel.WEBHOOK or not contact.is_used:
        raise NotFoundError
    secret = new_secret()
    rotate_secret(session, contact, secret, earlier_until=clock.now() + OVERLAP)
    return secret


def failing_since(session: Session, tank: StoredTank) -> datetime | None:
    """Since when somebody could not be reached; None where everybody could."""
    found = [c.failing_since for c in list_contacts(session, tank.id) if c.is_used and c.failing_since]
    return min(found, default=None)


def _require_usable(channel: Channel, address: str, allowed: Allowed) -> None:
    problem: Problem | None = None
    match channel:
        case Channel.MAIL:
            if not is_mail_address(address):
                problem = Problem("mail_address", "/address", "give one address, such as ann@example.org")
        case Channel.WEBHOOK:
            try:
                check_target(address, private=allowed.private, resolve=allowed.resolve)
            except TargetError as bad:
                problem = Problem("target", "/address", str(bad))
        case Channel.FURTHER:
            if not is_further_address(address):
                problem = Problem(
                    "further", "/address", "give an address that the notification library knows"
                )
    if problem is not None:
        raise InputError(problem)
