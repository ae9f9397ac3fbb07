"""How a sensor's own messages are read: a sample pasted, looked at, stored when it reads as it should.

Flow     sample, pointers -> **preview** -> confirmed -> kept
"""

from collections.abc import Mapping as Fields_
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from api.pages.forms import Fields
from api.pages.render import render
from api.pages.visit import Here, Visit
from api.problems import ProblemError
from api.problems.body import parse_json
from api.schemas.mapping.draft import read_mapping, stored_mapping
from api.schemas.mapping.keep import keep_mapping
from api.schemas.mapping.pointer import write_pointer
from api.schemas.mapping.preview import PreviewOut, preview_message
from api.schemas.mapping.sent import MappingSent, is_topic
from api.schemas.mapping.units import QUANTITIES, TEMPERATURES
from api.schemas.relation import Relation, relation
from api.schemas.values import find_foul_values
from api.store.letters import dropped_of, list_letters
from api.store.mappings import StoredMapping, TopicTakenError, delete_mapping, list_mappings
from api.store.tanks import StoredTank, load_tank
from forecaster.civil import zone_of
from forecaster.errors import InputError, Problem
from forecaster.phrases import moment_text

router = APIRouter()
WHOLE = "*"
"""Stands for the message itself, where it is a number alone."""
QUANTITY_WORDS = {
    "ullage": "from the sensor down to the oil",
    "dip": "depth of the oil",
    "volume": "litres or gallons",
    "fraction": "part of the tank",
}
UNIT_WORDS = {
    "mm": "mm",
    "cm": "cm",
    "m": "m",
    "in": "inches",
    "ft": "feet",
    "l": "litres",
    "m3": "cubic metres",
    "imperial_gallon": "imperial gallons",
    "us_gallon": "US gallons",
    "ratio": "0 to 1",
    "percent": "percent",
}
FORM_WORDS = {
    "rfc3339": "a date and time with its offset",
    "local": "a date and time without offset, in the tank’s zone",
    "epoch_s": "seconds since 1970",
    "epoch_ms": "milliseconds since 1970",
}
DEGREE_WORDS = {"celsius": "°C", "fahrenheit": "°F", "kelvin": "K"}
assert set(UNIT_WORDS) == {unit for _, units in QUANTITIES.values() for unit in units}
assert set(DEGREE_WORDS) == set(TEMPERATURES)
LETTERS_SHOWN = 5


@dataclass(frozen=True, slots=True)
class Kept:
    """A mapping in the list: its id, its topic or address, where its level stands, what was only counted."""

    public_id: str
    where: str
    reads: str
    dropped: int


@router.get("/tanks/{tank}/messages")
@relation(Relation.OWNER)
def show_messages(visit: Here, tank: str) -> HTMLResponse:
    """Show how the tank's sensors are read, and ask for a sample of another."""
    return _page(visit, tank)


@router.post("/tanks/{tank}/messages")
@relation(Relation.OWNER)
def take_sample(visit: Here, tank: str, fields: Fields) -> Response:
    """Show what a sample would be stored as, or keep how it is read."""
    services = visit.services
    try:
        message = _message(fields.get("sample", ""))
    except InputError as bad:
        return _page(visit, tank, fields, mends=_mends(bad))
    with services.store.read() as session:
        zone = load_tank(session, tank).zone
    try:
        sent = _read(fields, zone)
    except InputError as bad:
        found = preview_message(read_mapping(_ANY), message, arrived=services.clock.now())
        chosen = "do" in fields and "level" in fields
        return _page(visit, tank, fields, found=found, mends=_mends(bad) if chosen else {})
    found = preview_message(sent.mapping, message, arrived=services.clock.now())
    if fields.get("do") != "store" or not found.would_store:
        mends = {e.pointer.rpartition("/")[2]: e.mend for e in found.errors}
        return _page(visit, tank, fields, found=found, mends=mends)
    try:
        with services.store.write() as session:
            stored = load_tank(session, tank)
            keep_mapping(session, stored, sent, mode=visit.mode, now=services.clock.now())
    except InputError as bad:
        return _page(visit, tank, fields, found=found, mends=_mends(bad))
    except TopicTakenError:
        taken = {"topic": "give a topic that no other mapping has"}
        return _page(visit, tank, fields, found=found, mends=taken)
    return RedirectResponse(f"/tanks/{tank}/messages", status_code=HTTPStatus.SEE_OTHER)


@router.post("/tanks/{tank}/messages/{mapping}/forget")
@relation(Relation.OWNER)
def forget(visit: Here, tank: str, mapping: str) -> Response:
    """Forget how a sensor is read; its readings stay."""
    with visit.services.store.write() as session:
        delete_mapping(session, load_tank(session, tank).id, mapping)
    return RedirectResponse(f"/tanks/{tank}/messages", status_code=HTTPStatus.SEE_OTHER)


_ANY = {"level": "", "quantity": "ullage", "unit": "mm"}


def _message(sample: str) -> Any:
    try:
        value = parse_json(sample.strip().encode())
    except ProblemError as bad:
        mend = bad.faults[0].mend if bad.faults else "paste one JSON value"
        raise InputError(Problem("sample", "sample", f"this is not JSON: {mend}")) from None
    foul = find_foul_values(value, known=frozenset())
    if foul:
        raise InputError(Problem("sample", "sample", foul[0].mend))
    return value


def _read(fields: Fields_[str, str], zone: str) -> MappingSent:
    draft = {name: fields[name].strip() for name in _MEMBERS if fields.get(name, "").strip()}
    for name, text in draft.items():
        draft[name] = "" if text == WHOLE and name == "level" else text
    if "time" not in draft:
        draft.pop("time_form", None)
    if draft.get("time_form") == "local":
        draft["zone"] = zone
    if not {"air", "oil"} & draft.keys():
        draft.pop("temperature_unit", None)
    mapping = read_mapping(draft)
    topic = fields.get("topic", "").strip() or None
    if topic is not None and not is_topic(topic):
        raise InputError(Problem("topic", "topic", "give one topic, without + and #, not beginning with $"))
    return MappingSent(mapping, topic, None)


_MEMBERS = ("level", "quantity", "unit", "time", "time_form", "air", "oil", "temperature_unit", "decimal")


def _mends(bad: InputError) -> dict[str, str]:
    return {p.field.rpartition("/")[2]: p.mend for p in reversed(bad.problems)}


def _page(
    visit: Visit,
    tank: str,
    fields: Fields_[str, str] | None = None,
    *,
    found: PreviewOut | None = None,
    mends: Fields_[str, str] | None = None,
) -> HTMLResponse:
    with visit.services.store.read() as session:
        stored = load_tank(session, tank)
        mappings = list_mappings(session, stored.id)
        dropped = {m.topic: sum(dropped_of(session, m.topic).values()) for m in mappings if m.topic}
        letters = list_letters(session, stored.id, newest=LETTERS_SHOWN)
    zone = zone_of(stored.zone)
    return render(
        "messages.html",
        status=HTTPStatus.UNPROCESSABLE_ENTITY if mends else HTTPStatus.OK,
        tank=stored,
        typed=fields or {},
        found=found,
        stored_as=[] if found is None else [(moment_text(w.at, zone), w.words) for w in found.would_store],
        pointers=[] if found is None else [p.pointer for p in found.places],
        mends=mends or {},
        words=(QUANTITY_WORDS, UNIT_WORDS, FORM_WORDS, DEGREE_WORDS),
        kept=[_kept(m, stored, dropped) for m in mappings],
        letters=[(moment_text(one.received_at, zone), one.topic, one.mend) for one in letters],
        places=visit.places(tank),
    )


def _kept(mapping: StoredMapping, tank: StoredTank, dropped: Fields_[str, int]) -> Kept:
    read = stored_mapping(mapping.body)
    address = f"/api/tanks/{tank.public_id}/mappings/{mapping.public_id}/messages"
    where = f"MQTT topic {mapping.topic}" if mapping.topic else f"sent by POST to {address}"
    level = write_pointer(read.level) or "the whole message"
    reads = "SenML packs" if read.form == "senml" else f"{level}: {QUANTITY_WORDS[read.quantity]}"
    return Kept(mapping.public_id, where, reads, dropped.get(mapping.topic or "", 0))
