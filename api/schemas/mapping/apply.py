"""What a message holds by a mapping: a reading, or why it holds none.

A fault points at the member of the mapping that led to it, since that is what a person can change.

Flow     message (JSON), Mapping, arrival -> **readings as sent**
"""

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from api.schemas.mapping.draft import Mapping
from api.schemas.mapping.pointer import NowhereError, Tokens, look_up
from api.schemas.mapping.units import TEMPERATURES
from api.schemas.readings import AIR_C, FIRST, GREATEST, LAST, OIL_C, Sent
from api.schemas.senml import read_pack
from api.schemas.senml.resolve import RELATIVE_BELOW
from api.usecases.record_readings import Measurement
from forecaster.errors import Problem
from forecaster.readings import parse_local_time
from forecaster.rows import parse_number, parse_time


@dataclass(frozen=True, slots=True)
class Applied:
    """What a message holds: its readings, and whether it told their time; else that is the arrival's."""

    sent: tuple[Sent, ...]
    has_time: bool


def apply_mapping(mapping: Mapping, message: Any, *, arrived: datetime) -> Applied:
    """Read a message.

    Parameters
    ----------
    message
        The JSON value; a number alone is one too.
    arrived
        When it reached us. A message without a time is of then.

    Examples
    --------
    >>> from api.schemas.mapping import read_mapping
    >>> mapping = read_mapping({"level": "/d", "quantity": "ullage", "unit": "in"})
    >>> arrived = datetime(2026, 1, 10, 12, tzinfo=UTC)
    >>> apply_mapping(mapping, {"d": 10}, arrived=arrived).sent[0].measurement.value
    254.0
    >>> apply_mapping(mapping, {"e": 10}, arrived=arrived).sent[0].faults[0].code
    'nothing_there'
    """
    if mapping.form == "senml":
        pack = read_pack(message, now=arrived)
        return Applied(pack.sent, has_time=_tells_time(message))
    faults: list[Problem] = []
    at, has_time = _time(mapping, message, arrived, faults)
    level = _level(mapping, message, faults)
    if faults or at is None or level is None:
        return Applied((Sent(None, tuple(faults)),), has_time)
    air_c = _temperature(mapping, message, "air", AIR_C, faults)
    oil_c = _temperature(mapping, message, "oil", OIL_C, faults)
    measurement = Measurement(at, mapping.measures, level, air_c, oil_c)
    return Applied((Sent(measurement, tuple(faults)),), has_time)


def _tells_time(message: Any) -> bool:
    """Whether a pack says when: a time counted from 1970, not from now, somewhere in it."""
    records = [r for r in message if isinstance(r, dict)] if isinstance(message, list) else []
    told = [_number(r.get(name), None) for r in records for name in ("bt", "t")]
    return any(t is not None and t >= RELATIVE_BELOW for t in told)


def _found(message: Any, tokens: Tokens | None) -> Any:
    """Look up; None where nothing is asked for, nothing is there, or null is."""
    if tokens is None:
        return None
    try:
        return look_up(message, tokens)
    except NowhereError:
        return None


def _number(value: Any, decimal: str | None) -> float | None:
    """Take a finite number, or a text that is one where the mapping allows; None for anything else."""
    if isinstance(value, str) and decimal is not None:
        try:
            return parse_number(value, decimal=decimal)
        except ValueError:
            return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if abs(value) <= 1e300 and math.isfinite(value) else None


def _level(mapping: Mapping, message: Any, faults: list[Problem]) -> float | None:
    try:
        value = look_up(message, mapping.level)
    except NowhereError:
        faults.append(Problem("nothing_there", "/level", "point at the level: the message has nothing here"))
        return None
    number = _number(value, mapping.decimal)
    if number is None:
        mend = "point at a number; for numbers in quotes give decimal"
        faults.append(Problem("not_a_number", "/level", mend))
        return None
    unit = mapping.unit if mapping.unit_at is None else _found(message, mapping.unit_at)
    factor = mapping.units.get(unit) if isinstance(unit, str) else None
    if factor is None:
        mend = f"point at one of {', '.join(mapping.units)}"
        faults.append(Problem("unit", "/unit_at", mend))
        return None
    level = round(number * factor, 6)
    if not 0.0 <= level <= GREATEST[mapping.measures]:
        mend = "check pointer and unit: no tank has such a level"
        faults.append(Problem("out_of_range", "/level", mend))
        return None
    return level + 0.0


def _time(
    mapping: Mapping, message: Any, arrived: datetime, faults: list[Problem]
) -> tuple[datetime | None, bool]:
    value = _found(message, mapping.time)
    if value is None:
        return arrived.replace(microsecond=0), False
    try:
        at = _instant(value, mapping)
    except (ValueError, OverflowError, OSError):
        at = None
    if at is None:
        mend = "point at a time as time_form says: rfc3339, local, epoch_s or epoch_ms"
        faults.append(Problem("not_a_time", "/time", mend))
    elif not FIRST <= at < LAST:
        mend = "check time_form: this is no time from 2000 to 2099"
        faults.append(Problem("out_of_window", "/time", mend))
        at = None
    return at, True


def _instant(value: Any, mapping: Mapping) -> datetime | None:
    if mapping.time_form in ("epoch_s", "epoch_ms"):
        number = _number(value, mapping.decimal)
        if number is None:
            return None
        return datetime.fromtimestamp(number / (1000.0 if mapping.time_form == "epoch_ms" else 1.0), UTC)
    if not isinstance(value, str):
        return None
    return parse_time(value) if mapping.zone is None else parse_local_time(value, mapping.zone)


def _temperature(
    mapping: Mapping, message: Any, name: str, span: tuple[float, float], faults: list[Problem]
) -> float | None:
    tokens = mapping.air if name == "air" else mapping.oil
    value = _found(message, tokens)
    if value is None:
        return None
    number = _number(value, mapping.decimal)
    factor, offset = TEMPERATURES[mapping.temperature_unit]
    low, high = span
    if number is None or not low <= number * factor + offset <= high:
        mend = f"the reading is kept without it; point at {low:g} to {high:g} °C"
        faults.append(Problem("out_of_range", f"/{name}", mend))
        return None
    return round(number * factor + offset, 6)
