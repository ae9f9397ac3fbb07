"""Readings as they are sent, and what is answered.

Flow     JSON value -> **readings as sent** -> record_readings -> **answer**
"""

import math
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from api.schemas.values import find_foul_values
from api.store.readings import Outcome
from api.usecases.record_readings import Measurement
from forecaster.errors import Problem
from forecaster.readings import LEVEL_COLUMNS, Quantity
from forecaster.rows import parse_time

MAX_BATCH = 1_000
"""Readings in one message. [readings]"""
FIRST, LAST = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)
"""A time outside is none of a reading."""
AIR_C = OIL_C = (-60.0, 80.0)
"""Temperatures that a tank can have; another is not kept, the reading is. Assumption. [C]"""
GREATEST = {
    Quantity.ULLAGE_MM: 100_000.0,
    Quantity.DIP_MM: 100_000.0,
    Quantity.LITRES: 1e6,
    Quantity.FRACTION: 2.0,
}
"""A value beyond is refused; one that only this tank cannot have is kept and flagged."""

_TIME = re.compile(
    r"\d{4}-\d{2}-\d{2}[Tt]\d{2}:\d{2}:\d{2}(\.\d{1,9})?([Zz]|[+-](0\d|1[0-4]):[0-5]\d)", re.ASCII
)
_Level = Annotated[float, Field(ge=0, le=1e6)]
_ABSENT = math.nan


class ReadingIn(BaseModel):
    """One reading: a time, one level, and perhaps temperatures."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)

    at: str
    sensor: str | None = None
    ullage_mm: _Level = _ABSENT
    ullage_cm: _Level = _ABSENT
    ullage_in: _Level = _ABSENT
    dip_mm: _Level = _ABSENT
    dip_cm: _Level = _ABSENT
    dip_in: _Level = _ABSENT
    litres: _Level = _ABSENT
    fraction: _Level = _ABSENT
    air_c: float | None = None
    oil_c: float | None = None


KNOWN_NAMES = frozenset(ReadingIn.model_fields) | {"readings"}
_LEVELS = tuple(LEVEL_COLUMNS)
_MENDS = {
    "missing": ("missing", "add this member"),
    "extra_forbidden": ("unknown_member", "leave out members that are not documented"),
    "float_type": ("not_a_number", "give a number, without quotes"),
    "finite_number": ("not_finite", "give a finite number"),
    "greater_than_equal": ("out_of_range", "give a number from 0 up"),
    "less_than_equal": ("out_of_range", "give a smaller number"),
    "string_type": ("not_a_text", "give a text in quotes"),
    "model_type": ("not_an_object", "give an object"),
    "model_attributes_type": ("not_an_object", "give an object"),
}


@dataclass(frozen=True, slots=True)
class Sent:
    """One reading of a message: what can be stored of it, and what is wrong with it.

    A fault without a measurement refuses the reading; with one, only the member it points at.
    ``pointer`` is the reading's own place in the message.
    """

    measurement: Measurement | None
    faults: tuple[Problem, ...]
    pointer: str = ""


def read_reading(value: Any, *, pointer: str = "", may_name_sensor: bool = True) -> Sent:
    """Check one reading.

    Examples
    --------
    >>> read_reading({"at": "2026-01-10T06:00:00Z", "dip_cm": 64}).measurement.value
    640.0
    >>> read_reading({"at": "2026-01-10T06:00:00", "dip_mm": 640}).faults[0].code
    'no_time'
    """
    everywhere = find_foul_values(value, known=KNOWN_NAMES)
    if everywhere:
        return Sent(None, tuple(Problem(f.code, pointer + f.field, f.mend) for f in everywhere))
    try:
        reading = ReadingIn.model_validate(value)
    except ValidationError as bad:
        return Sent(None, tuple(_fault(error, pointer) for error in bad.errors(include_input=False)))
    faults: list[Problem] = []
    at = _read_time(reading.at, pointer, faults)
    given = [name for name in _LEVELS if name in reading.model_fields_set]
    if len(given) != 1:
        faults.append(Problem("one_level", pointer, f"give exactly one of {', '.join(_LEVELS)}"))
    if reading.sensor is not None and not may_name_sensor:
        faults.append(Problem("sensor", f"{pointer}/sensor", "name the sensor once, beside the readings"))
    if faults or at is None:
        return Sent(None, tuple(faults))
    quantity, factor = LEVEL_COLUMNS[given[0]]
    level = round(getattr(reading, given[0]) * factor, 6)
    if level > GREATEST[quantity]:
        return Sent(None, (Problem("out_of_range", f"{pointer}/{given[0]}", "give a smaller number"),))
    air_c = _temperature(reading.air_c, AIR_C, f"{pointer}/air_c", faults)
    oil_c = _temperature(reading.oil_c, OIL_C, f"{pointer}/oil_c", faults)
    return Sent(Measurement(at, quantity, level, air_c, oil_c), tuple(faults))


def _read_time(text: str, pointer: str, faults: list[Problem]) -> datetime | None:
    where = f"{pointer}/at"
    if not _TIME.fullmatch(text):
        faults.append(
            Problem("no_time", where, "give a time with its offset, such as 2026-01-10T06:00:00Z (RFC 3339)")
        )
        return None
    try:
        at = parse_time(text)
    except ValueError:
        faults.append(Problem("no_time", where, "give a day and an hour that exist"))
        return None
    if not FIRST <= at < LAST:
        faults.append(Problem("out_of_window", where, "give a time from 2000 to 2099"))
        return None
    return at


def _temperature(
    value: float | None, span: tuple[float, float], pointer: str, faults: list[Problem]
) -> float | None:
    low, high = span
    if value is None or low <= value <= high:
        return value
    faults.append(
        Problem("out_of_range", pointer, f"the reading is kept without it; give {low:g} to {high:g} °C")
    )
    return None


def _fault(error: Any, pointer: str) -> Problem:
    code, mend = _MENDS.get(error["type"], ("not_usable", "see the documented form"))
    for name in error["loc"]:
        pointer += f"/{name}" if name in KNOWN_NAMES else ""
    return Problem(code, pointer, mend)


class FaultOut(BaseModel):
    """Something wrong with a part of a message."""

    pointer: str = Field(description="where, as RFC 6901")
    code: str
    mend: str


class ReadingOut(BaseModel):
    """What became of one reading."""

    status: Literal["new", "known", "conflict", "refused"] = Field(
        description="new: stored now; known: stored before; conflict: another value is kept under this "
        "sensor and time; refused: not stored, see errors"
    )
    at: datetime | None = Field(description="the time it is kept under, UTC")
    clock: bool = Field(description="your clock was ahead: it is kept under our time")
    flags: list[str] = Field(description="why it is not taken as the level, such as no_echo; empty: it is")
    errors: list[FaultOut]


class ReadingsOut(BaseModel):
    """What became of a message: counts, and each reading in the order sent."""

    new: int
    known: int
    conflict: int
    refused: int
    results: list[ReadingOut]


STATUS: dict[Outcome, Literal["new", "known", "conflict", "refused"]] = {
    Outcome.NEW: "new",
    Outcome.KNOWN: "known",
    Outcome.CONFLICT: "conflict",
    Outcome.FAR_FUTURE: "refused",
}


def _reading_schema() -> dict[str, Any]:
    schema = ReadingIn.model_json_schema()
    schema["properties"]["at"] |= {
        "format": "date-time",
        "pattern": r"^20[0-9]{2}-[0-9]{2}-[0-9]{2}[Tt]",
        "example": "2026-01-10T06:00:00Z",
    }
    for name in _LEVELS:
        schema["properties"][name].pop("default", None)
        schema["properties"][name]["maximum"] = GREATEST[LEVEL_COLUMNS[name][0]] / LEVEL_COLUMNS[name][1]
    schema["oneOf"] = [{"required": [name]} for name in _LEVELS]
    return schema


READING_SCHEMA = _reading_schema()
BATCH_SCHEMA: dict[str, Any] = {
    "type": "object",
    "title": "Readings",
    "properties": {
        "sensor": {"type": "string", "description": "id of the sensor that took them all"},
        "readings": {
            "type": "array",
            "items": {
                **READING_SCHEMA,
                "properties": {k: v for k, v in READING_SCHEMA["properties"].items() if k != "sensor"},
            },
            "minItems": 1,
            "maxItems": MAX_BATCH,
        },
    },
    "required": ["readings"],
    "additionalProperties": False,
}
