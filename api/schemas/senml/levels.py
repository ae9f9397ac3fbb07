"""Resolved records as levels of a tank: the last word of a name says what was measured.

=============  ==================================  =====================
last word      what it is                          units
=============  ==================================  =====================
``ullage``     from the sensor down to the oil     m, mm, cm
``dip``        depth of the oil                    m, mm, cm
``litres``     volume                              l, m3
``fraction``   part of the capacity                /, %, /100
``air``        air in the tank                     Cel, K
``oil``        the oil                             Cel, K
=============  ==================================  =====================

Temperatures go with the levels of the same device and time. Records with other names are passed over
and counted. By RFC 8428 (12.1, note 1) ``%`` is the absolute ratio, like ``/``; percent is ``/100``.

Flow     resolved records -> **readings as sent** -> record_readings
Source   units: RFC 8428 section 12.1, RFC 8798 section 3
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any

from api.schemas.readings import AIR_C, FIRST, GREATEST, LAST, OIL_C, Sent
from api.schemas.senml.resolve import FIELDS, MOST_RECORDS, Resolved, resolve_pack
from api.schemas.values import find_foul_values
from api.usecases.record_readings import Measurement
from forecaster.errors import Problem
from forecaster.readings import Quantity
from forecaster.units import ZERO_CELSIUS_K

_LENGTH = {"m": 1000.0, "mm": 1.0, "cm": 10.0}
UNITS: Mapping[Quantity, Mapping[str, float]] = MappingProxyType(
    {
        Quantity.ULLAGE_MM: _LENGTH,
        Quantity.DIP_MM: _LENGTH,
        Quantity.LITRES: {"l": 1.0, "m3": 1000.0},
        Quantity.FRACTION: {"/": 1.0, "%": 1.0, "/100": 0.01},
    }
)
"""For each quantity the units that are read, and the factor to ours."""
WORDS: Mapping[str, Quantity] = MappingProxyType(
    {
        "ullage": Quantity.ULLAGE_MM,
        "dip": Quantity.DIP_MM,
        "litres": Quantity.LITRES,
        "fraction": Quantity.FRACTION,
    }
)
_TEMPERATURES = {"air": AIR_C, "oil": OIL_C}
_LAST_WORD = re.compile(r"(.*?)([A-Za-z0-9]+)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Pack:
    """A pack's levels as sent, in order of time, and how many records were passed over."""

    sent: tuple[Sent, ...]
    passed_over: int


def read_pack(value: Any, *, now: datetime) -> Pack:
    """Read a pack.

    Parameters
    ----------
    value
        The JSON value.
    now
        When it arrived.

    Examples
    --------
    >>> now = datetime(2026, 1, 10, 12, tzinfo=UTC)
    >>> pack = read_pack([{"bn": "urn:dev:mac:0024befffe804ff1:ullage", "u": "m", "v": 0.61}], now=now)
    >>> pack.sent[0].measurement.value, pack.sent[0].measurement.at.hour
    (610.0, 12)
    """
    foul = find_foul_values(value, known=FIELDS)
    if foul:
        return Pack((Sent(None, tuple(foul)),), 0)
    records, problems = resolve_pack(value, now_s=now.timestamp())
    sent = [Sent(None, (p,), pointer=_record_of(p.field)) for p in problems]
    levels, temperatures, passed_over = [], {}, 0
    for record in records:
        device, word = _parts(record.name)
        if word in WORDS:
            levels.append((device, WORDS[word], record))
        elif word in _TEMPERATURES:
            temperatures[device, round(record.at_s), word] = record
        else:
            passed_over += 1
    for device, quantity, record in levels:
        with_it = {w: temperatures.get((device, round(record.at_s), w)) for w in _TEMPERATURES}
        sent.append(_measurement(quantity, record, with_it))
    return Pack(tuple(sent), passed_over)


def _record_of(pointer: str) -> str:
    return "/".join(pointer.split("/")[:2])


def _parts(name: str) -> tuple[str, str]:
    found = _LAST_WORD.fullmatch(name)
    return (found[1], found[2].lower()) if found else (name, "")


def _measurement(quantity: Quantity, record: Resolved, with_it: dict[str, Resolved | None]) -> Sent:
    pointer = f"/{record.position}"
    factor = UNITS[quantity].get(record.unit)
    faults: list[Problem] = []
    if factor is None:
        mend = f"give one of the units {', '.join(UNITS[quantity])}"
        faults.append(Problem("unit", pointer, mend))
    if not isinstance(record.value, float):
        faults.append(Problem("not_a_number", pointer, "give a number as v"))
    if not FIRST.timestamp() <= record.at_s < LAST.timestamp():
        faults.append(Problem("out_of_window", pointer, "give a time from 2000 to 2099"))
    if faults or factor is None or not isinstance(record.value, float):
        return Sent(None, tuple(faults), pointer=pointer)
    level = round(record.value * factor, 6)
    if not 0.0 <= level <= GREATEST[quantity]:
        return Sent(
            None, (Problem("out_of_range", pointer, "give the level that was read"),), pointer=pointer
        )
    read = {word: _temperature(word, one, faults) for word, one in with_it.items()}
    at = datetime.fromtimestamp(round(record.at_s), UTC)
    return Sent(
        Measurement(at, quantity, level + 0.0, read["air"], read["oil"]), tuple(faults), pointer=pointer
    )


def _temperature(word: str, record: Resolved | None, faults: list[Problem]) -> float | None:
    if record is None:
        return None
    low, high = _TEMPERATURES[word]
    pointer = f"/{record.position}"
    if record.unit not in ("Cel", "K") or not isinstance(record.value, float):
        faults.append(Problem("unit", pointer, "the reading is kept without it; give Cel or K"))
        return None
    value = record.value - (ZERO_CELSIUS_K if record.unit == "K" else 0.0)
    if not low <= value <= high:
        mend = f"the reading is kept without it; give {low:g} to {high:g} °C"
        faults.append(Problem("out_of_range", pointer, mend))
        return None
    return round(value, 6)


PACK_SCHEMA: dict[str, Any] = {
    "type": "array",
    "title": "SenML pack (RFC 8428)",
    "minItems": 1,
    "maxItems": MOST_RECORDS,
    "items": {
        "type": "object",
        "properties": {
            **{name: {"type": "string"} for name in ("bn", "bu", "n", "u", "vs", "vd")},
            **{name: {"type": "number"} for name in ("bt", "bv", "bs", "v", "s", "t", "ut")},
            "bver": {"type": "integer", "minimum": 1, "maximum": 10},
            "vb": {"type": "boolean"},
        },
    },
    "example": [
        {"bn": "urn:dev:mac:0024befffe804ff1:", "bt": 1768024800, "n": "ullage", "u": "m", "v": 0.61},
        {"n": "air", "u": "Cel", "v": 4.5},
    ],
}
