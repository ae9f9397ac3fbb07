"""A pack's records without base values and relative times, or what is wrong with each.

Flow     JSON array of records -> **resolved records, problems**
Formula  name = bn + n;  t = bt + t, and now + t where that is below 2^28;  v = bv + v;  s = bs + s
Source   RFC 8428: sections 4.1 and 4.2 (fields), 4.4 (versions, fields that must be understood), 4.5.1
         (names), 4.5.3 (times), 4.5.4 (values), 4.6 (resolved records), 5 (JSON)
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from forecaster.errors import Problem

MEDIA_TYPE = "application/senml+json"
VERSION = 10
"""The version that RFC 8428 defines; an older one is read, a newer one refused. Section 4.4."""
RELATIVE_BELOW = 2.0**28
"""A time below is counted from now. Section 4.5.3. [s]"""
MOST_RECORDS = 1_000
"""Records of one pack. [records]"""

_BASE: Mapping[str, type] = MappingProxyType(
    {"bn": str, "bt": float, "bu": str, "bv": float, "bs": float, "bver": float}
)
_OWN: Mapping[str, type] = MappingProxyType(
    {
        "n": str,
        "u": str,
        "v": float,
        "vs": str,
        "vb": bool,
        "vd": str,
        "s": float,
        "t": float,
        "ut": float,
    }
)
FIELDS = frozenset(_BASE) | frozenset(_OWN)
"""Every field that is understood. Section 4.3."""
_VALUES = ("v", "vs", "vb", "vd")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9:./_-]*", re.ASCII)
_MENDS = {str: "give a text", float: "give a number", bool: "give true or false"}


@dataclass(frozen=True, slots=True)
class Resolved:
    """One resolved record.

    Attributes
    ----------
    position
        Of its record in the pack, from 0.
    name
        Base name and name.
    at_s
        Seconds since 1970 UTC, leap seconds not counted. [s]
    has_time
        Whether the sensor told a time at all; else ``at_s`` is the moment of arrival.
    unit
        Its own, else the base unit; empty where neither is given.
    value
        Number, text or truth; base64 data as text; None where there is only a sum.
    sum
        Integrated value; None where there is none.
    """

    position: int
    name: str
    at_s: float
    has_time: bool
    unit: str
    value: float | str | bool | None
    sum: float | None = None


@dataclass(slots=True)
class _Bases:
    """The base values in force, as records set them one after another."""

    name: str = ""
    time_s: float = 0.0
    unit: str = ""
    value: float | None = None
    sum: float | None = None
    version: int | None = None
    told_time: bool = False
    problems: list[Problem] = field(default_factory=list)


def resolve_pack(pack: Any, *, now_s: float) -> tuple[list[Resolved], list[Problem]]:
    """Resolve a pack's records, in chronological order; records of one time stay in the order sent.

    Parameters
    ----------
    pack
        The JSON value.
    now_s
        When it arrived, seconds since 1970 UTC. [s]

    Returns
    -------
    list of Resolved
        The good records.
    list of Problem
        Of the others; each field is a pointer (RFC 6901) into the pack. A pack that is none at all
        has one problem and no record.

    Examples
    --------
    >>> pack = [{"bn": "tank:", "bt": 1.7e9, "bu": "m", "n": "ullage", "v": 0.61}, {"n": "dip", "t": -60, "v": 0.6}]
    >>> [(r.name, r.at_s, r.value) for r in resolve_pack(pack, now_s=1.8e9)[0]]
    [('tank:dip', 1699999940.0, 0.6), ('tank:ullage', 1700000000.0, 0.61)]
    """
    if not isinstance(pack, list) or not pack:
        return [], [Problem("not_a_pack", "", "give an array of at least one record")]
    if len(pack) > MOST_RECORDS:
        return [], [Problem("too_many_records", "", f"give at most {MOST_RECORDS} records")]
    bases = _Bases()
    found: list[Resolved] = []
    for i, record in enumerate(pack):
        wrong = _faults_of(record, f"/{i}")
        if wrong:
            bases.problems += wrong
            if isinstance(record, dict):
                _take_bases({k: v for k, v in record.items() if _fits(k, v)}, bases, f"/{i}")
            continue
        _take_bases(record, bases, f"/{i}")
        one = _resolve(record, bases, i, now_s)
        if isinstance(one, Problem):
            bases.problems.append(one)
        elif one is not None:
            found.append(one)
    if bases.version is not None and bases.version > VERSION:
        return [], [Problem("version", "", f"give a pack of version {VERSION} or older")]
    return sorted(found, key=lambda r: r.at_s), bases.problems


def _faults_of(record: Any, pointer: str) -> list[Problem]:
    if not isinstance(record, dict):
        return [Problem("not_an_object", pointer, "give an object for each record")]
    wrong = []
    for name, value in record.items():
        if name not in FIELDS:
            if name.endswith("_"):  # section 4.4: not to be passed over
                mend = "leave out fields whose names end with _: they must be understood, and are not"
                wrong.append(Problem("must_understand", pointer, mend))
        elif not _fits(name, value):
            kind = _BASE.get(name) or _OWN[name]
            wrong.append(Problem("wrong_type", f"{pointer}/{name}", _MENDS[kind]))
    if sum(name in record for name in _VALUES) > 1:
        wrong.append(Problem("several_values", pointer, "give one of v, vs, vb, vd"))
    return wrong


def _fits(name: str, value: Any) -> bool:
    kind = _BASE.get(name) or _OWN.get(name)
    if kind is float:
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        return is_number and abs(value) <= 1e300 and math.isfinite(value)
    return kind is not None and isinstance(value, kind)


def _take_bases(record: dict[str, Any], bases: _Bases, pointer: str) -> None:
    bases.name = record.get("bn", bases.name)
    bases.unit = record.get("bu", bases.unit)
    bases.value = record.get("bv", bases.value)
    bases.sum = record.get("bs", bases.sum)
    if "bt" in record:
        bases.time_s, bases.told_time = float(record["bt"]), True
    if "bver" in record:
        version = record["bver"]
        if version != int(version) or version < 1 or bases.version not in (None, version):
            mend = "give one version for the whole pack, a whole number"
            bases.problems.append(Problem("version", f"{pointer}/bver", mend))
        else:
            bases.version = int(version)


def _resolve(record: dict[str, Any], bases: _Bases, position: int, now_s: float) -> Resolved | Problem | None:
    """Make one record whole; None where it only sets base values."""
    pointer = f"/{position}"
    given = next((name for name in _VALUES if name in record), None)
    if given is None and "s" not in record:
        if not record.keys() & _OWN.keys() and not (bases.value is not None and "bv" in record):
            return None
        if bases.value is None and bases.sum is None:
            return Problem("no_value", pointer, "give one of v, vs, vb, vd, or a sum s")
    name = bases.name + record.get("n", "")
    if not _NAME.fullmatch(name):
        mend = "give a name of letters, digits and - : . / _ that begins with a letter or digit"
        return Problem("name", pointer, mend)
    at_s = bases.time_s + float(record.get("t", 0.0))
    value: float | str | bool | None = record.get(given) if given else None
    if given == "v" or (given is None and bases.value is not None):
        value = (bases.value or 0.0) + (float(record["v"]) if given else 0.0)
    total = None
    if "s" in record or bases.sum is not None:
        total = (bases.sum or 0.0) + float(record.get("s", 0.0))
    if not all(math.isfinite(x) for x in (at_s, total or 0.0, value if isinstance(value, float) else 0.0)):
        return Problem("not_finite", pointer, "give numbers whose sum with the base is finite")
    return Resolved(
        position,
        name,
        now_s + at_s if at_s < RELATIVE_BELOW else at_s,
        (bases.told_time or "t" in record) and at_s != 0.0,
        record.get("u", bases.unit),
        value,
        total,
    )
