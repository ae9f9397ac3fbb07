"""What no schema takes anywhere in a message, whatever the member.

Flow     JSON value -> **values** -> readings, tanks (schemas)
"""

import math
from typing import Any

from forecaster.errors import Problem


def find_foul_values(value: Any, *, known: frozenset[str]) -> list[Problem]:
    """Find not-finite numbers, and texts with NUL or half a character.

    Parameters
    ----------
    known
        Member names that may stand in a pointer; below any other it stays where it is, so that
        nothing that was sent is sent back.

    Returns
    -------
    list of Problem
        With a pointer (RFC 6901) as field.

    Examples
    --------
    >>> [p.field for p in find_foul_values({"air_c": float("nan"), "x": "a" + chr(0)}, known=frozenset({"air_c"}))]
    ['', '/air_c']
    """
    found: list[Problem] = []
    todo: list[tuple[Any, str]] = [(value, "")]
    while todo:
        item, pointer = todo.pop()
        if isinstance(item, dict):
            for name, member in item.items():
                found += _foul_text(name, pointer)
                todo.append((member, f"{pointer}/{name}" if name in known else pointer))
        elif isinstance(item, list):
            todo.extend((member, f"{pointer}/{i}") for i, member in enumerate(item))
        elif isinstance(item, str):
            found += _foul_text(item, pointer)
        elif isinstance(item, float) and not math.isfinite(item):
            found.append(Problem("not_finite", pointer, "give a finite number"))
    return found


def _foul_text(text: str, pointer: str) -> list[Problem]:
    if "\0" in text:
        return [Problem("nul", pointer, "give a text without NUL")]
    if any("\ud800" <= c <= "\udfff" for c in text):
        return [Problem("lone_surrogate", pointer, "give whole characters, no half of a pair")]
    return []
