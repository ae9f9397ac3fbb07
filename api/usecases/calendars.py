"""A tank's calendar: opened by a key in its address, closed, and read.

Flow     door -> **calendar** -> refills -> api.notify.calendar
"""

from api.notify.calendar import RefillEvent, write_calendar
from api.ports import Clock
from api.store import Session
from api.store.accounts.tokens import new_token
from api.store.calendars import delete_feed, save_feed
from api.store.reminders import StoredRefill, list_refills
from api.store.tanks import StoredTank, lock_tank
from api.usecases.remind import Told, look


def open_feed(session: Session, clock: Clock, tank: StoredTank) -> str:
    """Open a tank's feed; the key is shown this once, and an earlier one opens nothing any more."""
    key = new_token()
    save_feed(session, tank.id, key, now=clock.now())
    return key


def close_feed(session: Session, tank: StoredTank) -> None:
    """Close a tank's feed."""
    delete_feed(session, tank.id)


def read_feed(session: Session, clock: Clock, tank: StoredTank, told: Told) -> bytes:
    """Write a tank's calendar as it stands now: the refill is brought up to now first.

    So an event whose forecast can no longer be told is called off also where the worker does not run.
    """
    lock_tank(session, tank.id)
    look(session, tank, now=clock.now())
    page = told.page_of(tank)
    events = [_event(stored, page) for stored in list_refills(session, tank.id) if stored.refill.latest]
    return write_calendar(events, name=f"Heating oil: {tank.name}")


def _event(stored: StoredRefill, page: str) -> RefillEvent:
    refill = stored.refill
    assert refill.latest is not None
    earliest = refill.earliest or refill.latest
    if refill.told:
        words = (
            "Any of these days is a good one to order. The last one keeps a reserve. Read the gauge first."
        )
    else:
        words = "No date is told any more: the oil was ordered or delivered, or the tank cannot be seen."
    return RefillEvent(
        stored.uid, refill.sequence, stored.changed_at, earliest, refill.latest, refill.told,
        f"{words} {page}".strip(),
    )  # fmt: skip
