"""Orders, silences and ways to be reached: their members as they are sent, and as they are answered.

Flow     JSON or form -> **values** -> use cases -> **answer**
"""

from datetime import date, datetime, timedelta
from typing import Any, Literal

from pydantic import BaseModel, Field

from api.schemas.told.members import Asked, Member, a_day, a_past_day, a_text, a_tick, choice, number
from api.store.contacts import Channel, Contact
from api.store.orders import OrderChange, StoredOrder
from api.store.reminders import StoredReminder
from api.usecases.orders import Act, Change, Placement
from forecaster.errors import InputError, Problem

LONGEST_SILENCE = timedelta(days=60)
LONGEST_ADDRESS = 2048
_litres = number(1.0, 100_000.0, "litres")
_day_hint = "such as 2026-01-16"


def _address(text: str, asked: Asked) -> str:
    if len(text) > LONGEST_ADDRESS or not text.isprintable():
        raise ValueError("give an address without spaces")
    return text


def _version(text: str, asked: Asked) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 7):
        raise ValueError("give the version that you have seen")
    return int(text)


ACTS = tuple((act.value, act.value) for act in Act if act not in (Act.PLACE, Act.LATE))
PLACEMENT = (
    Member("litres", "Litres", _litres, "leave empty for as much as fits", "number", "number", needed=False),
    Member("fill", "As much as fits", a_tick, box="tick", json="truth", needed=False, default=False),
    Member("promised_for", "Promised for", a_day, _day_hint, "date", needed=False),
    Member("placed_on", "Ordered on", a_past_day, f"{_day_hint}; today if empty", "date", needed=False),
    Member("supplier", "Supplier", a_text, needed=False),
    Member(
        "price_per_l", "Price of a litre", number(1e-4, 1000.0, ""), box="number", json="number", needed=False
    ),
    Member("form_key", "Form", a_text, "the same form sent again is the same order", needed=False),
)
CHANGE = (
    Member("act", "What happened", choice(ACTS), box="choice", choices=ACTS),
    Member("version", "Version", _version, "of the order, as you saw it", "number", "number"),
    Member("promised_for", "Promised for", a_day, _day_hint, "date", needed=False),
    Member("litres", "Litres delivered", _litres, "from the ticket", "number", "number", needed=False),
    Member("on", "Delivered on", a_past_day, f"{_day_hint}; today if empty", "date", needed=False),
    Member("note", "Note", a_text, needed=False, default=""),
)
SILENCE = (Member("until", "No reminders until", a_day, "within 60 days", "date"),)
_CHANNELS = tuple((channel.value, channel.value) for channel in Channel)
CONTACT = (
    Member("channel", "By", choice(_CHANNELS), box="choice", choices=_CHANNELS),
    Member("address", "Address", _address, "a mail address, or the https address of a webhook"),
    Member(
        "second", "Only what nobody answered", a_tick, box="tick", json="truth", needed=False, default=False
    ),
)


def to_placement(values: dict[str, Any]) -> tuple[Placement, str | None]:
    """Turn values into an order to be placed, and the key of its form."""
    key = values.pop("form_key")
    if values["litres"] is None and not values["fill"]:
        raise InputError(Problem("litres_or_fill", "/litres", "give litres, or fill for as much as fits"))
    return Placement(**values), key


def to_change(values: dict[str, Any]) -> Change:
    """Turn values into a change of an order."""
    return Change(**{**values, "act": Act(values["act"])})


def silence_end(values: dict[str, Any], asked: Asked) -> datetime:
    """Find the end of a silence: the beginning of its last civil day's next.

    Raises
    ------
    InputError
        When it is not ahead, or too far ahead.
    """
    end = datetime.combine(values["until"] + timedelta(days=1), datetime.min.time(), asked.zone)
    if not asked.now < end <= asked.now + LONGEST_SILENCE + timedelta(days=1):
        raise InputError(Problem("until", "/until", "give a day from today on, within 60 days"))
    return end


class OrderChangeOut(BaseModel):
    """One change of an order, as it was made."""

    version: int
    at: datetime
    state: str
    promised_for: date | None
    litres: float | None
    note: str


class OilOrderOut(BaseModel):
    """An order of oil."""

    id: str
    state: Literal["advised", "placed", "promised", "late", "part", "delivered", "refused", "cancelled"]
    version: int = Field(description="counts its changes; a change names the version that it was seen in")
    litres: float | None
    fill: bool
    price_per_l: float | None
    supplier: str | None
    placed_on: date | None
    promised_for: date | None
    delivered_on: date | None
    delivered_l: float
    changes: list[OrderChangeOut]


class OilOrdersOut(BaseModel):
    """The orders of a tank, the oldest first."""

    orders: list[OilOrderOut]


class ReminderOut(BaseModel):
    """A reminder as it was decided."""

    id: str
    cause: str
    decided_at: datetime
    answered_at: datetime | None
    replaced_at: datetime | None
    title: str
    text: str


class RemindersOut(BaseModel):
    """The newest reminders of a tank, the newest first; since when somebody could not be reached."""

    reminders: list[ReminderOut]
    unreached_since: datetime | None


class SilenceOut(BaseModel):
    """A time without reminders."""

    id: str
    begins_at: datetime
    ends_at: datetime
    lifted_at: datetime | None


class SilencesOut(BaseModel):
    """Silences that hold, are to come, or ended in the last week."""

    silences: list[SilenceOut]


class ContactOut(BaseModel):
    """A way to reach somebody."""

    id: str
    channel: Literal["mail", "webhook", "further"]
    address: str
    second: bool
    used: bool = Field(description="false until it is confirmed, and after it was ended")
    ended_why: str | None
    unreached_since: datetime | None


class NewContactOut(ContactOut):
    """A way that was just given; a webhook's secret is shown this once."""

    secret: str | None
    asked: bool = Field(description="whether a request to confirm was just sent")


class ContactsOut(BaseModel):
    """The ways of a tank."""

    contacts: list[ContactOut]


class SecretOut(BaseModel):
    """A webhook's new secret, shown this once; for a week both sign."""

    secret: str


class FeedOut(BaseModel):
    """The address of a tank's calendar, shown this once; an earlier one opens nothing any more."""

    path: str


class FlatAnswerOut(BaseModel):
    """The answer in one flat object; every number and date is null where none may be told. [L]"""

    tank: str
    name: str
    as_of: datetime | None
    valid_until: datetime | None
    state: Literal["OK", "WIDE", "CHECK", "STALE", "BLIND", "URGENT"]
    sentence: str
    litres: float | None
    litres_low: float | None
    litres_high: float | None
    order_note: str | None
    order_from: date | None
    order_by: date | None
    order_litres: float | None
    stops_1_in_10: date | None
    stops_1_in_2: date | None


def order_out(order: StoredOrder, changes: tuple[OrderChange, ...]) -> OilOrderOut:
    """Answer with an order and its history."""
    return OilOrderOut(
        id=order.public_id, state=order.state.value, version=order.version, litres=order.litres,
        fill=order.fill, price_per_l=order.price_per_l, supplier=order.supplier, placed_on=order.placed_on,
        promised_for=order.promised_for, delivered_on=order.delivered_on, delivered_l=order.delivered_l,
        changes=[
            OrderChangeOut(
                version=c.version, at=c.at, state=c.state.value, promised_for=c.promised_for,
                litres=c.litres, note=c.note,
            )
            for c in changes
        ],
    )  # fmt: skip


def reminder_out(reminder: StoredReminder) -> ReminderOut:
    """Answer with a reminder."""
    return ReminderOut(
        id=reminder.public_id, cause=reminder.cause.value, decided_at=reminder.decided_at,
        answered_at=reminder.acknowledged_at, replaced_at=reminder.replaced_at,
        title=reminder.message.title, text=reminder.message.text,
    )  # fmt: skip


def contact_out(contact: Contact) -> ContactOut:
    """Answer with a way; never with its secret."""
    return ContactOut(
        id=contact.public_id, channel=contact.channel.value, address=contact.address, second=contact.second,
        used=contact.is_used, ended_why=contact.ended_why, unreached_since=contact.failing_since,
    )  # fmt: skip
