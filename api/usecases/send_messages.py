"""Send the messages that wait: claim one, send it, mark it; a crash in between sends it again, as itself.

Flow     outbox -> **claim** -> way out -> **mark**
Rule     tried again after 5 s, 5 min, 30 min, 2 h, 5 h, 10 h, 14 h, 20 h, 24 h: 75 hours in all; after
         that the pages say since when somebody could not be reached. A way that is down is tried by its
         oldest message every few minutes, and once it is back the others follow at once, oldest first.
Source   the example schedule of the Standard Webhooks specification
"""

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from api.notify.letter import Down, Gone, Later, Letter, Outcome, Sent, Way
from api.ports import Clock
from api.store import Session, Store
from api.store.contacts import Channel, Contact, end_contact, load_contact_by_id, note_reached, note_unreached
from api.store.forecasts import load_forecast
from api.store.outbox import Outgoing, claim_next, drop_stale, hurry, mark, try_later
from forecaster.confidence import ToldForecast

RETRIES = (
    timedelta(seconds=5),
    timedelta(minutes=5),
    timedelta(minutes=30),
    timedelta(hours=2),
    timedelta(hours=5),
    timedelta(hours=10),
    timedelta(hours=14),
    timedelta(hours=20),
    timedelta(hours=24),
)
"""Waits after the first, second, ... attempt."""
JITTER = 0.1
"""Waits are longer or shorter by up to that part, so that not everybody knocks at once. [-]"""
PROBE = timedelta(minutes=5)
"""A way that is down is tried again after that."""
MOST_AT_ONCE = 500
"""Messages sent in one round."""

Draw = Callable[[ToldForecast, int], bytes | None]
"""Draws a told forecast of a tank (its row) as PNG; None where that does not come about."""


def _go_on(point: str) -> None:
    """Do nothing: tests put a crash here."""


@dataclass(slots=True)
class Sender:
    """Sends what waits.

    Attributes
    ----------
    ways
        What carries each channel; a channel without one waits.
    draw
        Draws the picture for mail; None: none is sent.
    owner
        Names this process, so that two do not mark each other's messages.
    at
        Called by name before and after each step.
    """

    store: Store
    clock: Clock
    ways: Mapping[Channel, Way]
    owner: str
    draw: Draw | None = None
    at: Callable[[str], None] = field(default=_go_on)

    def send_all(self) -> int:
        """Send all that is due, the oldest first; how many were taken over by the other side."""
        sent = 0
        skip = {(channel.value, "") for channel in Channel if channel not in self.ways}
        with self.store.write() as session:
            drop_stale(session, now=self.clock.now())
        for _ in range(MOST_AT_ONCE):
            self.at("claim")
            with self.store.write() as session:
                outgoing = claim_next(session, owner=self.owner, now=self.clock.now(), skip=frozenset(skip))
            if outgoing is None:
                break
            self.at("send")
            outcome = self._send(outgoing)
            self.at("response")
            with self.store.write() as session:
                self._note(session, outgoing, outcome)
                self.at("mark")
            self.at("commit")
            sent += isinstance(outcome, Sent)
            if isinstance(outcome, Down):
                skip.add((outgoing.channel.value, "" if outcome.whole else outgoing.address))
        return sent

    def _send(self, outgoing: Outgoing) -> Outcome:
        contact, picture = self._look_up(outgoing)
        letter = Letter(
            message_id=outgoing.message_id,
            address=outgoing.address,
            body=outgoing.body,
            at=self.clock.now(),
            secrets=_secrets(contact, self.clock.now()),
            picture=picture,
        )
        return self.ways[outgoing.channel](letter)

    def _look_up(self, outgoing: Outgoing) -> tuple[Contact | None, bytes | None]:
        """The way as it stands now, and for mail the picture of the forecast that is spoken of."""
        with self.store.read() as session:
            contact = load_contact_by_id(session, outgoing.contact_id) if outgoing.contact_id else None
            kept = None
            if contact is not None and outgoing.channel is Channel.MAIL and outgoing.body.get("told"):
                as_of = datetime.fromisoformat(outgoing.body["at"])
                kept = load_forecast(session, contact.tank_id, as_of=as_of)
        if contact is None or kept is None or self.draw is None:
            return contact, None
        if not isinstance(kept.forecast, ToldForecast):
            return contact, None
        return contact, self.draw(kept.forecast, contact.tank_id)

    def _note(self, session: Session, outgoing: Outgoing, outcome: Outcome) -> None:
        now = self.clock.now()
        match outcome:
            case Sent():
                mark(session, outgoing, "sent", owner=self.owner, now=now)
                hurry(session, outgoing.channel, outgoing.address, now=now)
                if outgoing.contact_id is not None:
                    note_reached(session, outgoing.contact_id)
            case Gone(why):
                mark(session, outgoing, "failed", owner=self.owner, now=now, error=why)
                if outgoing.contact_id is not None:
                    end_contact(session, outgoing.contact_id, why, now=now)
                    drop_stale(session, now=now)  # what else waits for it stops at once
            case Down(why):
                try_later(session, outgoing, now + PROBE, owner=self.owner, error=why, counted=False)
            case Later(why, after):
                wait = wait_after(outgoing.attempts, outgoing.message_id)
                if wait is None:
                    mark(session, outgoing, "failed", owner=self.owner, now=now, error=why)
                    if outgoing.contact_id is not None:
                        note_unreached(session, outgoing.contact_id, since=outgoing.created_at)
                else:
                    at = now + max(wait, after or timedelta())
                    try_later(session, outgoing, at, owner=self.owner, error=why)


def wait_after(attempts: int, message_id: str) -> timedelta | None:
    """Say how long to wait after so many attempts; None where it is given up.

    Parameters
    ----------
    attempts
        Made so far.
    message_id
        Gives each message waits of its own.

    Examples
    --------
    >>> wait_after(1, "a") < timedelta(seconds=6), wait_after(10, "a")
    (True, None)
    """
    if attempts > len(RETRIES):
        return None
    part = random.Random(f"{message_id}/{attempts}").uniform(-JITTER, JITTER)  # noqa: S311 - no secret
    return RETRIES[attempts - 1] * (1.0 + part)


def _secrets(contact: Contact | None, now: datetime) -> tuple[str, ...]:
    """What a message is signed with: the present secret, and for a while the one before it."""
    if contact is None or contact.secret is None:
        return ()
    earlier = contact.earlier_secret
    if earlier is not None and contact.earlier_until is not None and now < contact.earlier_until:
        return (contact.secret, earlier)
    return (contact.secret,)
