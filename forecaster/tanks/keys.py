"""Reading the keys of a tank file: each value checked, every problem kept.

Flow     TOML keys -> **checked values and problems** -> tank (file.py)
"""

import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any

from forecaster.errors import Problem

MAX_NAME = 100
"""A longer name is refused. [characters]"""

_DIRECTION_CONTROLS = frozenset("\u200e\u200f\u061c\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


@dataclass(slots=True)
class Keys:
    """The keys of one file; problems are collected, and a value that is absent or bad reads as nan.

    Examples
    --------
    >>> keys = Keys({"length_mm": "1800", "heel_l": True})
    >>> keys.number("length_mm", low=100, high=30_000), keys.number("heel_l", low=0, high=1e5)
    (nan, nan)
    >>> [str(problem) for problem in keys.problems]
    ["length_mm: give a number without quotes (seen: '1800')", "heel_l: give a number (seen: 'true')"]
    """

    values: Mapping[str, Any]
    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def doubt(self, code: str, key: str, mend: str, note: str, *, seen: Any = None) -> None:
        """Report what does not agree, unless the file's ``confirmed`` names the key: then keep the note."""
        confirmed = self.values.get("confirmed")
        if isinstance(confirmed, list) and key in confirmed:
            self.notes.append(note)
        else:
            self.report(code, key, f'{mend}; if it is right, add confirmed = ["{key}"]', seen=seen)

    def report(self, code: str, key: str, mend: str, *, seen: Any = None, row: int | None = None) -> None:
        """Keep a problem, showing the value that the file gives for the key."""
        given = self.values.get(key) if seen is None else seen
        self.problems.append(Problem(code, key, mend, "" if given is None else show(given), row))

    def require(self, *names: str) -> None:
        """Report the keys that are absent."""
        for name in names:
            if name not in self.values:
                self.report("missing", name, "add this key")

    def has(self, key: str) -> bool:
        """Whether the file gives the key, be its value good or bad."""
        return key in self.values

    def number(
        self,
        key: str,
        *,
        low: float,
        high: float,
        default: float = math.nan,
        unit: str = "",
        above_low: bool = False,
    ) -> float:
        """Read a finite number between limits; ``default`` where the key is absent."""
        if key not in self.values:
            return default
        value = self.values[key]
        mend = number_mend(value)
        if mend:
            self.report("not_a_number", key, mend)
            return math.nan
        if not low <= value <= high or (above_low and value == low):
            limits = f"{low:g} to {high:g} {unit}".rstrip()
            self.report("out_of_range", key, f"give a value {'above ' if above_low else 'of '}{limits}")
            return math.nan
        return float(value)

    def choice(self, key: str, options: Collection[str], *, default: str = "") -> str:
        """Read one of a few words; ``default`` where the key is absent, empty where it is bad."""
        if key not in self.values:
            return default
        value = self.values[key]
        if not isinstance(value, str) or value not in options:
            self.report("unknown_choice", key, f"give one of {', '.join(options)}{nearest(value, options)}")
            return ""
        return value

    def names(self, key: str, options: Collection[str]) -> tuple[str, ...]:
        """Read a list of a few words; empty where the key is absent or bad."""
        value = self.values.get(key, [])
        if isinstance(value, list) and all(isinstance(name, str) and name in options for name in value):
            return tuple(value)
        self.report("unknown_choice", key, f"give a list of some of {', '.join(options)}")
        return ()

    def text(self, key: str) -> str | None:
        """Read a short line of text without control characters."""
        if key not in self.values:
            return None
        value = self.values[key]
        if not isinstance(value, str):
            self.report("not_text", key, "give text in quotes")
            return None
        if len(value) > MAX_NAME:
            self.report("too_long", key, f"give at most {MAX_NAME} characters")
            return None
        if any(ord(c) < ord(" ") or c in _DIRECTION_CONTROLS for c in value):
            self.report("control_character", key, "leave out characters that cannot be seen")
            return None
        if not any(c.isprintable() and not c.isspace() for c in value):
            self.report("blank", key, "give a name that can be seen, or leave the key out")
            return None
        return value.strip()

    def refuse_unknown(self, known: Iterable[str]) -> None:
        """Report each key that is not known, with the nearest that is: a slip is never ignored."""
        names = list(known)
        for key in self.values:
            if key not in names:
                near = nearest(key, names)
                self.report("unknown_key", key, f"no key of that name is known{near or '; leave it out'}")


def number_mend(value: object) -> str:
    """Say what is wrong with a value that should be a finite number; empty where nothing is."""
    if isinstance(value, str):
        return "give a number without quotes"
    if isinstance(value, bool) or not isinstance(value, int | float):
        return "give a number"
    try:
        return "" if math.isfinite(value) else "give a finite number"
    except OverflowError:
        return "give a finite number"


def nearest(value: object, options: Iterable[str]) -> str:
    """Offer the option that looks most like a value: "; did you mean ...?", or nothing."""
    close = get_close_matches(str(value).lower(), list(options), n=1)
    return f"; did you mean {close[0]}?" if close else ""


def show(value: object) -> str:
    """Write a TOML value much as it stood in the file, for showing back."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return f"{value:g}"
    try:
        return str(value)
    except ValueError:  # Python writes no integer of more than 4300 digits
        return "a number of thousands of digits"
