"""Tickets, oil taken out, and bills, told one by one.

Flow     ticket -> **checked against the tank and what is kept** -> store, words
"""

from datetime import date, datetime, timedelta

import numpy as np

from api.ports import Clock
from api.store import Session
from api.store.deliveries import NewTicket, save_receipts, save_ticket
from api.store.readings import load_readings
from api.store.tanks import StoredTank, load_tank_version
from api.usecases.record_readings import describe
from api.usecases.told.stored import Stored, refuse
from forecaster.civil import civil_date, zone_of
from forecaster.deliveries import Receipts
from forecaster.errors import DipcastError
from forecaster.levels import to_levels
from forecaster.phrases import day_text, litres_text, moment_text
from forecaster.screening import screen_readings
from forecaster.tanks import Tank

ROOM_SLACK = 0.02
"""A delivery may exceed the room by so much of the capacity. [-]"""
LEVEL_AGE = timedelta(days=2)
"""A level older than that says nothing of the room at a delivery. Assumption."""
_FILLED = {"yes": ", filled up", "no": ", not filled up", "unknown": ""}


def record_ticket_told(
    session: Session,
    clock: Clock,
    tank: StoredTank,
    *,
    at: datetime,
    litres: float,
    filled: str = "unknown",
    basis: str = "unknown",
    ticket: str | None = None,
    removed: bool = False,
    fits_anyway: bool = False,
    source: str = "household",
) -> Stored:
    """Store a ticket, or oil taken out.

    Parameters
    ----------
    ticket
        Its number; the same number again with the same content is known, with other content refused.
    fits_anyway
        That the person looked again, where more was delivered than the tank has room for.

    Raises
    ------
    InputError
        When more was delivered than the tank can hold or has room for.
    """
    if not removed and not fits_anyway:
        _require_room(session, tank, at, litres)
    row = NewTicket(at, litres, removed=removed, filled=filled, basis=basis, ticket=ticket)
    status = save_ticket(session, tank.id, row, received_at=clock.now(), source=source)
    if status == "conflict":
        which = f"ticket {ticket}" if ticket else "a ticket of this very time"
        return Stored("conflict", f"Other content is kept for {which}; the first stays.")
    what = "Stored" if status == "new" else "Known before"
    done = "taken out of" if removed else "delivered to"
    number = f", ticket {ticket}" if ticket else ""
    when = moment_text(at, zone_of(tank.zone))
    return Stored(
        status, f"{what}: {litres_text(litres)} {done} {tank.name}, {when}{_FILLED[filled]}{number}."
    )


def record_bill_told(
    session: Session, clock: Clock, tank: StoredTank, *, day: date, litres: float, filled: str = "unknown"
) -> Stored:
    """Store a bill: a day and litres, without an hour.

    Raises
    ------
    InputError
        When the day is yet to come.
    """
    if day > civil_date(clock.now(), zone_of(tank.zone)):
        refuse("future", "date", "give a day that has been")
    bills = Receipts(np.array([day], dtype="datetime64[D]"), np.array([litres]), np.array([filled]))
    new = save_receipts(session, tank.id, bills, received_at=clock.now())
    what = "Stored" if new else "Known before"
    words = f"{what}: a bill of {litres_text(litres)} for {tank.name}, {day_text(day, year=True)}{_FILLED[filled]}."
    return Stored("new" if new else "known", words)


def _require_room(session: Session, tank: StoredTank, at: datetime, litres: float) -> None:
    described = describe(load_tank_version(session, tank.id, as_of=at).toml)
    capacity_l = described.capacity_l
    held_l = _litres_before(session, tank, described, at)
    room_l = capacity_l - (held_l or 0.0)
    if litres <= room_l + ROOM_SLACK * capacity_l:
        return
    if held_l is None:
        why = f"the tank on file holds {capacity_l:,.0f} litres"
    else:
        why = f"the tank on file had room for {max(room_l, 0.0):,.0f} litres"
    mend = f"check litres, unit and tank: {why}; if it is right all the same, say so below"
    refuse("does_not_fit", "litres", mend)


def _litres_before(session: Session, tank: StoredTank, described: Tank, at: datetime) -> float | None:
    readings = load_readings(session, tank.id, since=at - LEVEL_AGE, until=at, newest=20)
    if readings is None:
        return None
    try:
        levels = to_levels(readings, described, flags=screen_readings(readings, described))
    except DipcastError:
        return None
    trusted = levels.litres[levels.trusted()]
    return float(trusted[-1]) if trusted.size else None
