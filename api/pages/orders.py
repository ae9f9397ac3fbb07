"""Orders and reminders of a tank, by form: order, say what came, be silent for a while, be reached.

Each form does one thing and shows the same page again, with what became of it. Nothing happens when a
page is merely opened, since programs that look through mail open addresses too.

Flow     form -> **orders** -> use case -> page
"""

import secrets
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from api.notify.targets import parse_networks
from api.pages.forms import Fields
from api.pages.render import render
from api.pages.visit import Here, Visit
from api.schemas.orders import CHANGE, CONTACT, PLACEMENT, SILENCE, silence_end, to_change, to_placement
from api.schemas.relation import Relation, relation
from api.schemas.told.members import Asked, read_texts
from api.store import NotFoundError, Session
from api.store.contacts import Channel, list_contacts
from api.store.orders import StaleOrderError, list_orders
from api.store.reminders import (
    acknowledge,
    lift_silence,
    list_reminders,
    list_silences,
    load_reminder,
    save_silence,
)
from api.store.tanks import StoredTank, load_tank
from api.usecases.calendars import open_feed
from api.usecases.contacts import Allowed, add_contact, confirm, failing_since, find_asked, remove_contact
from api.usecases.orders import Act, act_on_order, place_order
from forecaster.civil import civil_date, zone_of
from forecaster.errors import InputError
from forecaster.phrases import day_text, litres_text, moment_text

router = APIRouter()

STATES: Mapping[str, str] = {
    "advised": "advised",
    "placed": "ordered, no day promised yet",
    "promised": "promised",
    "late": "late",
    "part": "a part has come",
    "delivered": "delivered",
    "refused": "refused",
    "cancelled": "called off",
}
ACTS = (
    (Act.DELIVER, "It has come, all of it"),
    (Act.PART, "A part has come"),
    (Act.PROMISE, "A day was promised"),
    (Act.REFUSE, "The supplier refused"),
    (Act.CANCEL, "Call it off"),
)


@router.get("/tanks/{tank}/orders")
@relation(Relation.OWNER)
def show_orders(visit: Here, tank: str) -> HTMLResponse:
    """Show orders, reminders, silences and ways to be reached."""
    return _page(visit, tank)


@router.post("/tanks/{tank}/orders")
@relation(Relation.OWNER)
def order_oil(visit: Here, tank: str, fields: Fields) -> HTMLResponse:
    """Note that oil was ordered."""

    def do(session: Session, stored: StoredTank, asked: Asked) -> str:
        placement, key = to_placement(read_texts(PLACEMENT, fields, asked))
        place_order(session, visit.services.clock, stored, placement, form_key=key)
        return "Noted that oil is ordered. You are not reminded to order until it has come."

    return _do(visit, tank, do)


@router.post("/tanks/{tank}/orders/{order}")
@relation(Relation.OWNER)
def change_order(visit: Here, tank: str, order: str, fields: Fields) -> HTMLResponse:
    """Note what became of an order."""

    def do(session: Session, stored: StoredTank, asked: Asked) -> str:
        change = to_change(read_texts(CHANGE, fields, asked))
        act_on_order(session, visit.services.clock, stored, order, change)
        return "Noted."

    return _do(visit, tank, do)


@router.post("/tanks/{tank}/reminders/{reminder}/answer")
@relation(Relation.OWNER)
def answer_reminder(visit: Here, tank: str, reminder: str) -> HTMLResponse:
    """Note that a reminder was read."""

    def do(session: Session, stored: StoredTank, asked: Asked) -> str:
        acknowledge(session, load_reminder(session, stored.id, reminder), now=asked.now)
        return "Noted. This one is not repeated."

    return _do(visit, tank, do)


@router.post("/tanks/{tank}/silences")
@relation(Relation.OWNER)
def be_silent(visit: Here, tank: str, fields: Fields) -> HTMLResponse:
    """Send no reminders until a day."""

    def do(session: Session, stored: StoredTank, asked: Asked) -> str:
        ends = silence_end(read_texts(SILENCE, fields, asked), asked)
        save_silence(session, stored.id, begins_at=asked.now, ends_at=ends, now=asked.now)
        return "No reminders until then, but on the last day to order and for what is urgent."

    return _do(visit, tank, do)


@router.post("/tanks/{tank}/silences/{silence}/end")
@relation(Relation.OWNER)
def end_silence(visit: Here, tank: str, silence: str) -> HTMLResponse:
    """Remind again."""

    def do(session: Session, stored: StoredTank, asked: Asked) -> str:
        lift_silence(session, stored.id, silence, now=asked.now)
        return "Reminders are on again."

    return _do(visit, tank, do)


@router.post("/tanks/{tank}/contacts")
@relation(Relation.OWNER)
def give_contact(visit: Here, tank: str, fields: Fields) -> HTMLResponse:
    """Take a way to reach somebody."""
    shown: dict[str, str] = {}

    def do(session: Session, stored: StoredTank, asked: Asked) -> str:
        values = read_texts(CONTACT, fields, asked)
        allowed = Allowed(parse_networks(visit.services.settings.webhook_networks), visit.address)
        added = add_contact(
            session, visit.services.clock, stored, Channel(values["channel"]), values["address"],
            second=values["second"], allowed=allowed,
        )  # fmt: skip
        if added.secret is not None:
            shown["secret"] = added.secret
            return "It is used from now on. Its secret is shown this once:"
        if added.is_asked:
            return "A request to confirm is on its way; reminders go there once somebody has said yes."
        return "That address is known. A request to confirm goes out at most once a day."

    return _do(visit, tank, do, shown=shown)


@router.post("/tanks/{tank}/contacts/{contact}/end")
@relation(Relation.OWNER)
def end_contact(visit: Here, tank: str, contact: str) -> HTMLResponse:
    """Take a way out of use."""

    def do(session: Session, stored: StoredTank, asked: Asked) -> str:
        remove_contact(session, visit.services.clock, stored, contact)
        return "Nothing more is sent there."

    return _do(visit, tank, do)


@router.post("/tanks/{tank}/calendar")
@relation(Relation.OWNER)
def open_calendar(visit: Here, tank: str) -> HTMLResponse:
    """Give the calendar an address."""
    shown: dict[str, str] = {}

    def do(session: Session, stored: StoredTank, asked: Asked) -> str:
        key = open_feed(session, visit.services.clock, stored)
        shown["secret"] = f"{visit.address.rstrip('/')}/calendar/{key}"
        return (
            "Whoever knows this address reads the calendar; it is shown this once, an earlier one is closed:"
        )

    return _do(visit, tank, do, shown=shown)


@router.get("/confirm/{token}")
@relation(Relation.ANYONE)
def ask_to_confirm(visit: Here, token: str) -> HTMLResponse:
    """Ask whether reminders may be sent to the address that this was sent to."""
    try:
        with visit.services.store.read() as session:
            find_asked(session, visit.services.clock, token)
    except NotFoundError:
        return render("missing.html", status=HTTPStatus.NOT_FOUND)
    return render("confirm.html", token=token, is_done=False)


@router.post("/confirm/{token}")
@relation(Relation.ANYONE)
def take_confirmation(visit: Here, token: str) -> HTMLResponse:
    """Use the address from now on."""
    try:
        with visit.services.store.write() as session:
            confirm(session, visit.services.clock, token)
    except NotFoundError:
        return render("missing.html", status=HTTPStatus.NOT_FOUND)
    return render("confirm.html", token="", is_done=True)


def _do(visit: Visit, tank: str, do: Any, *, shown: Mapping[str, str] | None = None) -> HTMLResponse:
    """Do what a form asks, and show the page again with what became of it."""
    try:
        with visit.services.store.write() as session:
            stored = load_tank(session, tank)
            done = do(session, stored, Asked(zone_of(stored.zone), visit.services.clock.now()))
    except InputError as bad:
        mends = tuple(problem.mend for problem in bad.problems)
        return _page(visit, tank, mends=mends, status=HTTPStatus.UNPROCESSABLE_ENTITY)
    except StaleOrderError:
        stale = ("somebody else has changed the order: look at it again",)
        return _page(visit, tank, mends=stale, status=HTTPStatus.CONFLICT)
    return _page(visit, tank, done=done, secret=(shown or {}).get("secret", ""))


def _page(
    visit: Visit,
    tank: str,
    *,
    done: str = "",
    secret: str = "",
    mends: tuple[str, ...] = (),
    status: HTTPStatus = HTTPStatus.OK,
) -> HTMLResponse:
    now = visit.services.clock.now()
    with visit.services.store.read() as session:
        stored = load_tank(session, tank)
        zone = zone_of(stored.zone)
        today = civil_date(now, zone)
        orders = [
            {
                "id": order.public_id, "version": order.version, "is_open": order.state.is_open,
                "words": _order_words(order, today), "fill": order.fill,
            }
            for order in reversed(list_orders(session, stored.id))
        ]  # fmt: skip
        reminders = [
            {
                "id": r.public_id, "at": moment_text(r.decided_at, zone, today=today), "title": r.message.title,
                "is_open": r.acknowledged_at is None and r.replaced_at is None,
            }
            for r in list_reminders(session, stored.id, newest=10)
        ]  # fmt: skip
        silences = [
            {"id": s.name, "until": day_text(civil_date(s.ends_at, zone), year=True)}
            for s in list_silences(session, stored.id, now=now)
            if s.holds(now)
        ]
        contacts = list_contacts(session, stored.id)
        since = failing_since(session, stored)
    return render(
        "orders.html", status=status, tank=stored, orders=orders, acts=ACTS, reminders=reminders,
        silences=silences, contacts=contacts, done=done, secret=secret, mends=mends,
        unreached=moment_text(since, zone, today=today) if since else "",
        form_key=secrets.token_urlsafe(12), places=visit.places(tank),
    )  # fmt: skip


def _order_words(order: Any, today: Any) -> str:
    amount = "as much as fits" if order.litres is None else litres_text(order.litres)
    said = [amount, STATES[order.state.value]]
    for words, day in (
        ("ordered on", order.placed_on),
        ("promised for", order.promised_for),
        ("delivered on", order.delivered_on),
    ):
        if day is not None:
            said.append(f"{words} {day_text(day, year=day.year != today.year)}")
    if order.delivered_l:
        said.append(f"{litres_text(order.delivered_l)} came")
    return "; ".join(said)
