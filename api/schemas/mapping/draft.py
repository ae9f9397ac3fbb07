"""A mapping as it is sent, checked; or what is wrong where.

Flow     JSON value -> **Mapping** -> store, apply
"""

import json
from collections.abc import Mapping as Dictionary
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Literal
from zoneinfo import ZoneInfo

from api.schemas.mapping.pointer import LONGEST, Tokens, parse_pointer, write_pointer
from api.schemas.mapping.units import QUANTITIES, TEMPERATURES, TIME_FORMS
from api.schemas.values import find_foul_values
from forecaster.civil import zone_of
from forecaster.errors import InputError, Problem
from forecaster.readings import Quantity

_POINTERS = ("level", "time", "unit_at", "air", "oil")
_CHOICES: Dictionary[str, tuple[str, ...]] = MappingProxyType(
    {
        "quantity": tuple(QUANTITIES),
        "time_form": TIME_FORMS,
        "temperature_unit": tuple(TEMPERATURES),
        "decimal": (".", ","),
        "form": ("json", "senml"),
    }
)
MAPPING_NAMES = frozenset({*_POINTERS, *_CHOICES, "unit", "zone"})
"""Every member of a mapping."""


@dataclass(frozen=True, slots=True)
class Mapping:
    """How one sensor's messages are read.

    Attributes
    ----------
    form
        ``senml``: the message is a SenML pack, and nothing else of this is used.
    level, time, unit_at, air, oil
        Where they stand in the message; None where they do not.
    quantity, unit
        What the level is, and in which unit of the closed list; ``unit_at`` says it instead where
        the message itself does.
    time_form, zone
        How the time is written, and the zone of local times.
    temperature_unit
        Of air and oil.
    decimal
        Decimal sign of numbers that are sent as texts; None where these are refused.
    """

    form: Literal["json", "senml"] = "json"
    level: Tokens = ()
    quantity: str = "ullage"
    unit: str | None = None
    unit_at: Tokens | None = None
    time: Tokens | None = None
    time_form: str = "rfc3339"
    zone: ZoneInfo | None = None
    air: Tokens | None = None
    oil: Tokens | None = None
    temperature_unit: str = "celsius"
    decimal: str | None = None

    @property
    def measures(self) -> Quantity:
        """The quantity of its levels; of a SenML pack, whose names tell, that of the level sensor."""
        return QUANTITIES[self.quantity][0]

    @property
    def units(self) -> Dictionary[str, float]:
        """The units in which its level may come."""
        return QUANTITIES[self.quantity][1]


def read_mapping(value: Any, *, within: str = "") -> Mapping:
    """Check a draft.

    Parameters
    ----------
    within
        Pointer to the draft in the message that holds it.

    Raises
    ------
    InputError
        With everything that is wrong; each problem's field is a pointer.

    Examples
    --------
    >>> read_mapping({"level": "/d", "quantity": "ullage", "unit": "cm"}).level
    ('d',)
    >>> read_mapping({"level": "d", "quantity": "ullage", "unit": "furlong"}).level
    Traceback (most recent call last):
    forecaster.errors.InputError: /level: give a JSON pointer ...; /unit: give one of mm, cm, m, in, ft
    """
    if not isinstance(value, dict):
        raise InputError(Problem("not_an_object", within, "give an object"))
    faults = find_foul_values(value, known=MAPPING_NAMES)
    if value.keys() - MAPPING_NAMES:
        known = ", ".join(sorted(MAPPING_NAMES))
        faults.append(Problem("unknown_member", "", f"leave out members but {known}"))
    made: dict[str, Any] = {name: _pointer(value, name, faults) for name in _POINTERS}
    for name, words in _CHOICES.items():
        if name in value and value[name] not in words:
            faults.append(Problem("choice", f"/{name}", f"give one of {', '.join(words)}"))
        elif name in value:
            made[name] = value[name]
    if value.get("form") == "senml":
        if value.keys() - {"form"}:
            faults.append(Problem("form", "", "a SenML pack tells all by itself: give form alone"))
    else:
        _require_level(value, made, faults)
        _take_zone(value, made, faults)
    if faults:
        raise InputError([Problem(f.code, within + f.field, f.mend) for f in faults])
    return Mapping(**{name: held for name, held in made.items() if held is not None})


def stored_mapping(text: str) -> Mapping:
    """Read a mapping that was checked before it was stored."""
    return read_mapping(json.loads(text))


def mapping_json(mapping: Mapping) -> dict[str, str]:
    """Write a mapping as it may be sent again.

    Examples
    --------
    >>> mapping_json(read_mapping({"level": "", "quantity": "volume", "unit": "l"}))
    {'level': '', 'quantity': 'volume', 'unit': 'l'}
    """
    if mapping.form == "senml":
        return {"form": "senml"}
    plain = Mapping()
    found: dict[str, str] = {"level": write_pointer(mapping.level), "quantity": mapping.quantity}
    for name in ("unit", "unit_at", "time", "time_form", "zone", "air", "oil", "temperature_unit", "decimal"):
        held = getattr(mapping, name)
        if held != getattr(plain, name):
            is_pointer = isinstance(held, tuple)
            found[name] = write_pointer(held) if is_pointer else str(held)
    return found


def _pointer(value: dict[str, Any], name: str, faults: list[Problem]) -> Tokens | None:
    if name not in value:
        return None
    try:
        if isinstance(value[name], str):
            return parse_pointer(value[name])
    except ValueError:
        pass
    faults.append(Problem("pointer", f"/{name}", "give a JSON pointer such as /level or /data/0/value"))
    return None


def _require_level(value: dict[str, Any], made: dict[str, Any], faults: list[Problem]) -> None:
    lacking = [name for name in ("level", "quantity") if name not in value]
    faults += [Problem("missing", f"/{name}", "add this member") for name in lacking]
    if ("unit" in value) == ("unit_at" in value):
        mend = "give unit, or unit_at where the message itself says it"
        faults.append(Problem("unit", "/unit", mend))
        return
    if "unit" in value and made.get("quantity") in QUANTITIES:
        units = QUANTITIES[made["quantity"]][1]
        if not isinstance(value["unit"], str) or value["unit"] not in units:
            faults.append(Problem("unit", "/unit", f"give one of {', '.join(units)}"))
        made["unit"] = value["unit"]


def _take_zone(value: dict[str, Any], made: dict[str, Any], faults: list[Problem]) -> None:
    is_local = made.get("time_form") == "local"
    if is_local != ("zone" in value):
        mend = "name the zone of local times" if is_local else "leave it out: only local times have one"
        faults.append(Problem("zone", "/zone", mend))
    elif is_local:
        try:
            made["zone"] = zone_of(value["zone"]) if isinstance(value["zone"], str) else None
        except InputError:
            made["zone"] = None
        if made["zone"] is None:
            mend = "give a zone of the IANA list such as Europe/London"
            faults.append(Problem("zone", "/zone", mend))
    if "time_form" in value and "time" not in value:
        faults.append(Problem("missing", "/time", "say where the time stands"))


_TO_PLACE = {
    "type": "string",
    "maxLength": LONGEST,
    "description": "JSON pointer (RFC 6901) into the message",
}
MAPPING_SCHEMA: dict[str, Any] = {
    "type": "object",
    "title": "Mapping",
    "properties": {
        **dict.fromkeys(_POINTERS, _TO_PLACE),
        **{name: {"type": "string", "enum": list(words)} for name, words in _CHOICES.items()},
        "unit": {"type": "string", "enum": sorted({u for _, units in QUANTITIES.values() for u in units})},
        "zone": {"type": "string", "description": "IANA zone of local times"},
    },
    "additionalProperties": False,
    "example": {
        "level": "/payload/distance",
        "quantity": "ullage",
        "unit": "cm",
        "time": "/ts",
        "time_form": "epoch_s",
        "air": "/payload/temp",
    },
}
