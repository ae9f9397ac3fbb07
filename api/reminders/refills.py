"""From one delivery to the next: when a new refill begins, and what its event in the calendar says.

Flow     refill, forecast, newest ticket -> **refill as it stands now** -> store, calendar
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from api.reminders.known import Known, Refill

LATER_D = 21
"""An order date that moves later by more belongs to another refill: oil has come, with a ticket or not. [d]"""
TICKET_AGE = timedelta(days=30)
"""An older ticket that is brought in now is history."""
NOTES = frozenset({"window", "order_today", "no_safe_window"})
"""Advice with a day to order by."""


@dataclass(frozen=True, slots=True)
class Ticket:
    """The newest delivery: when it was, and when it became known."""

    at: datetime
    received_at: datetime


def follow_refill(refill: Refill | None, known: Known, *, ticket: Ticket | None) -> Refill:
    """Say how the refill stands now: the same, changed, or a new one.

    Parameters
    ----------
    refill
        As it stood; None before the first.
    ticket
        The newest delivery; None where there was none.

    Notes
    -----
    A new refill has a ``begun_at`` of its own. The event's sequence rises with each change of what it
    says and never otherwise.
    """
    if refill is None or _is_new(refill, known, ticket):
        refill = Refill(begun_at=known.now)
    event = _event(refill, known)
    if event == refill:
        return refill
    return replace(event, sequence=refill.sequence + 1)


def _is_new(refill: Refill, known: Known, ticket: Ticket | None) -> bool:
    if (
        ticket is not None
        and ticket.received_at > refill.begun_at
        and ticket.at > refill.begun_at - TICKET_AGE
    ):
        return True
    seen = known.seen
    if seen is None or refill.latest is None or known.orders:
        return False
    latest = seen.order.latest
    return seen.order.note == "no_need" or (latest is not None and (latest - refill.latest).days > LATER_D)


def _event(refill: Refill, known: Known) -> Refill:
    seen = known.seen
    if seen is None or seen.order.note not in NOTES or seen.order.latest is None or known.orders:
        return replace(refill, told=False)
    by = known.order_by or seen.order.latest
    earliest = min(seen.order.earliest or by, by)
    return replace(refill, told=True, earliest=earliest, latest=by, litres=seen.order.litres)
