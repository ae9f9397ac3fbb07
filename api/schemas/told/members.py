"""Members of what is told: how each is asked for, and how it is read.

Flow     texts of a form, or members of a JSON object -> **values, or what is wrong at which member**
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Literal
from zoneinfo import ZoneInfo

from api.schemas.values import find_foul_values
from forecaster.errors import InputError, Problem
from forecaster.readings.times import RefusedTimeError, read_time
from forecaster.rows import parse_date, parse_number

AHEAD = timedelta(minutes=5)
"""A time may be so far ahead of our clock."""
LONGEST_TEXT = 80
"""Characters of a text."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Where and when it is told: the zone of times without offset, and our time."""

    zone: ZoneInfo
    now: datetime


@dataclass(frozen=True, slots=True)
class Member:
    """One member.

    Attributes
    ----------
    name, label, hint
        As in JSON; as people are asked; said before anything is wrong.
    parse
        Reads a text that is not empty; raises ValueError with the mend.
    box
        What a browser shows: a box for text or digits, a date, a time, a list, a tick.
    json
        What JSON holds: a number, a text, or either.
    needed
        Whether it may be left out; else ``default``.
    choices
        Words of a list: value and label.
    """

    name: str
    label: str
    parse: Callable[[str, Asked], Any]
    hint: str = ""
    box: Literal["text", "number", "date", "time", "choice", "tick"] = "text"
    json: Literal["number", "text", "either", "truth"] = "text"
    needed: bool = True
    default: Any = None
    choices: tuple[tuple[str, str], ...] = ()


def read_texts(members: Sequence[Member], texts: Mapping[str, str], asked: Asked) -> dict[str, Any]:
    """Read a form's fields; those of other names are not looked at.

    Raises
    ------
    InputError
        With every member that is wrong.
    """
    values, faults = {}, []
    for member in members:
        text = texts.get(member.name, "").strip()
        try:
            values[member.name] = _read(member, text, asked)
        except ValueError as bad:
            faults.append(Problem("not_usable" if text else "missing", member.name, str(bad)))
    if faults:
        raise InputError(faults)
    return values


def read_json(members: Sequence[Member], value: Any, asked: Asked) -> dict[str, Any]:
    """Read a JSON object.

    Raises
    ------
    InputError
        With every member that is wrong; each problem's field is a pointer.
    """
    known = frozenset(member.name for member in members)
    if not isinstance(value, dict):
        raise InputError(Problem("not_an_object", "", "give an object"))
    faults = find_foul_values(value, known=known)
    if value.keys() - known:
        names = ", ".join(member.name for member in members)
        faults.append(Problem("unknown_member", "", f"leave out members but {names}"))
    if faults:
        raise InputError(faults)
    values: dict[str, Any] = {}
    for member in members:
        try:
            values[member.name] = _read(member, _text_of(member, value), asked)
        except ValueError as bad:
            code = "not_usable" if member.name in value else "missing"
            faults.append(Problem(code, f"/{member.name}", str(bad)))
    if faults:
        raise InputError(faults)
    return values


def json_schema(members: Sequence[Member], title: str) -> dict[str, Any]:
    """Describe the JSON object of members."""
    return {
        "type": "object",
        "title": title,
        "properties": {member.name: _schema_of(member) for member in members},
        "required": [member.name for member in members if member.needed],
        "additionalProperties": False,
    }


def _read(member: Member, text: str, asked: Asked) -> Any:
    if text:
        return member.parse(text, asked)
    if member.needed:
        raise ValueError("give a value")
    return member.default


def _text_of(member: Member, value: dict[str, Any]) -> str:
    if member.name not in value:
        return ""
    given = value[member.name]
    if member.json == "truth":
        if not isinstance(given, bool):
            raise ValueError("give true or false")
        return "yes" if given else ""
    is_number = isinstance(given, int | float) and not isinstance(given, bool)
    if is_number and member.json != "text":
        return repr(given)
    if isinstance(given, str) and member.json != "number":
        if not given.strip():
            raise ValueError("give a value, or leave the member out")
        return given.strip()
    raise ValueError("give a number, without quotes" if member.json == "number" else "give a text in quotes")


def _schema_of(member: Member) -> dict[str, Any]:
    kinds: dict[str, dict[str, Any]] = {
        "number": {"type": "number"},
        "text": {"type": "string"},
        "either": {"type": ["string", "number"]},
        "truth": {"type": "boolean"},
    }
    schema: dict[str, Any] = {**kinds[member.json], "description": member.hint or member.label}
    if member.choices:
        schema["enum"] = [value for value, _ in member.choices]
    return schema


# ---- parsers


def number(low: float, high: float, unit: str) -> Callable[[str, Asked], float]:
    """Read a number of a span, both ends of which belong to it; a comma may be its decimal sign."""

    def parse(text: str, asked: Asked) -> float:
        value = parse_number(text, decimal="," if "," in text and "." not in text else ".")
        if not low <= value <= high:
            raise ValueError(f"give {low:g} to {high:,.6g} {unit}".rstrip())
        return value

    return parse


def choice(choices: Sequence[tuple[str, str]]) -> Callable[[str, Asked], str]:
    """Read one of some words."""
    words = [value for value, _ in choices]

    def parse(text: str, asked: Asked) -> str:
        if text not in words:
            raise ValueError(f"give one of {', '.join(words)}")
        return text

    return parse


def a_day(text: str, asked: Asked) -> date:
    """Read a date."""
    day = parse_date(text)
    if not 2000 <= day.year < 2100:
        raise ValueError("give a day from 2000 to 2099")
    return day


def a_past_day(text: str, asked: Asked) -> date:
    """Read a date that is not ahead."""
    day = a_day(text, asked)
    if day > asked.now.astimezone(asked.zone).date():
        raise ValueError("give a day that has been")
    return day


def a_time(text: str, asked: Asked) -> datetime:
    """Read a time, in the tank's zone where it has no offset; not ahead."""
    try:
        at = read_time(text, zone=asked.zone)
    except RefusedTimeError as bad:
        raise ValueError(str(bad)) from None
    if at > asked.now + AHEAD:
        raise ValueError("give a time that has been")
    return at.replace(microsecond=0)


def a_text(text: str, asked: Asked) -> str:
    """Read a short text of one line."""
    if len(text) > LONGEST_TEXT or not text.isprintable():
        raise ValueError(f"give at most {LONGEST_TEXT} plain characters")
    return text


def a_tick(text: str, asked: Asked) -> bool:
    """Read a tick."""
    if text not in ("yes", "on"):
        raise ValueError("tick it, or leave it")
    return True
