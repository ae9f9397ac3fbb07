"""Decide what is to be said about a tank, and write it down with its messages, in one transaction.

Flow     store -> known -> **decide, record** -> outbox; what has become untrue is taken back
"""

import logging
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from api.ports import Clock
from api.reminders.decide import Decision, decide
from api.reminders.known import Known, OpenOrder
from api.reminders.refills import follow_refill
from api.reminders.words import Message, write_message
from api.store import Session, Store
from api.store.contacts import list_contacts
from api.store.forecasts import last_told_at, load_forecast
from api.store.orders import list_orders
from api.store.outbox import put_out
from api.store.reminders import (
    StoredRefill,
    list_said,
    list_silences,
    load_refill,
    newest_ticket,
    save_refill,
    save_reminder,
    take_back,
)
from api.store.tanks import StoredTank, lock_tank
from api.usecases.order_settings import settings_of_tank
from api.usecases.orders import close_delivered_orders, note_late_orders
from forecaster.civil import civil_date, zone_of
from forecaster.document import public_document

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Told:
    """What messages say about this service: where its pages are, and whom to call about a spill."""

    address: str = ""
    pollution_line: str = ""

    def page_of(self, tank: StoredTank) -> str:
        """Where a tank's page is; empty where nobody outside this machine can reach it."""
        return f"{self.address.rstrip('/')}/tanks/{tank.public_id}" if self.address else ""


def remind_tanks(store: Store, clock: Clock, tanks: Iterable[StoredTank], told: Told) -> int:
    """Decide for each tank by itself; how many reminders were decided. A tank that fails stops no other."""
    decided = 0
    for tank in tanks:
        try:
            with store.write() as session:
                decided += len(remind_tank(session, clock, tank, told))
        except Exception as bad:  # whatever it is, it is this tank's alone
            _log.warning("could not decide about a tank: %s", type(bad).__name__)
    return decided


def remind_tank(session: Session, clock: Clock, tank: StoredTank, told: Told) -> tuple[Decision, ...]:
    """Decide about one tank, and record it in the same transaction."""
    now = clock.now()
    lock_tank(session, tank.id)
    close_delivered_orders(session, tank, now=now)
    note_late_orders(session, tank, now=now)
    known, refill = look(session, tank, now=now)
    decisions = decide(known)
    contacts = [contact for contact in list_contacts(session, tank.id) if contact.is_used]
    for decision in decisions:
        message = write_message(
            decision, known, name=tank.name, page=told.page_of(tank), pollution_line=told.pollution_line
        )
        reminder = save_reminder(session, tank.id, refill.id, decision, message, now=now)
        body = body_of(decision, message, known, tank, told)
        for contact in contacts:
            if decision.again or not contact.second:
                put_out(
                    session, contact.channel, contact.address, body, now=now,
                    not_after=decision.not_after, contact=contact, reminder_id=reminder.id,
                )  # fmt: skip
    return decisions


def look(session: Session, tank: StoredTank, *, now: datetime) -> tuple[Known, StoredRefill]:
    """Bring a tank's refill up to now, take back what is no longer true, and say what is known."""
    zone = zone_of(tank.zone)
    kept = load_forecast(session, tank.id, as_of=now)
    orders = tuple(
        OpenOrder(order.public_id, order.placed_on, order.promised_for)
        for order in list_orders(session, tank.id)
        if order.state.is_open and order.placed_on is not None
    )
    known = Known(
        now=now, zone=zone, forecast=kept.forecast if kept is not None else None,
        told_last=last_told_at(session, tank.id),
        settings=settings_of_tank(session, tank.id, today=civil_date(now, zone)),
        orders=orders, silences=list_silences(session, tank.id, now=now),
    )  # fmt: skip
    stored = load_refill(session, tank.id)
    ticket = newest_ticket(session, tank.id)
    followed = follow_refill(stored.refill if stored else None, known, ticket=ticket)
    refill = save_refill(session, tank.id, stored, followed, now=now)
    take_back(
        session, tank.id, refill_id=refill.id, orders=frozenset(order.name for order in orders),
        is_told=known.seen is not None, now=now,
    )  # fmt: skip
    said = list_said(session, tank.id, refill.id, now=now)
    return replace(known, said=said), refill


def body_of(
    decision: Decision, message: Message, known: Known, tank: StoredTank, told: Told
) -> dict[str, Any]:
    """What goes out, for every way; the forecast without its days, and cut to what may leave a door."""
    document: dict[str, Any] | None = None
    if known.forecast is not None and known.is_fresh:
        document = public_document(known.forecast)
        del document["daily"]
    return {
        "kind": "reminder",
        "cause": decision.cause.value,
        "tank": tank.public_id,
        "name": tank.name,
        "zone": tank.zone,
        "title": message.title,
        "paragraphs": message.paragraphs,
        "page": told.page_of(tank),
        "told": message.told,
        "at": known.now.isoformat(),
        "forecast": document,
    }
