"""JSON pointers.

Source   RFC 6901 "JavaScript Object Notation (JSON) Pointer", sections 3, 4 and 6
"""

import re
from typing import Any

LONGEST = 200
"""Characters of a pointer."""
_POINTER = re.compile(r"(/([^~/]|~[01])*)*", re.DOTALL)
_INDEX = re.compile(r"0|[1-9][0-9]{0,8}", re.ASCII)

Tokens = tuple[str, ...]


class NowhereError(LookupError):
    """A value has nothing at a pointer."""


def parse_pointer(text: str) -> Tokens:
    """Split a pointer into the names that lead to its place; the empty pointer is the whole value.

    Raises
    ------
    ValueError
        For anything that is no pointer.

    Examples
    --------
    >>> parse_pointer("/a~1b/m~0n/0"), parse_pointer("")
    (('a/b', 'm~n', '0'), ())
    """
    if len(text) > LONGEST or not _POINTER.fullmatch(text):
        raise ValueError("give a JSON pointer such as /level or /data/0/value")
    return tuple(token.replace("~1", "/").replace("~0", "~") for token in text.split("/")[1:])


def look_up(value: Any, tokens: Tokens) -> Any:
    """Find what stands at a pointer.

    Raises
    ------
    NowhereError
        When there is nothing.

    Examples
    --------
    >>> look_up({"data": [{"mm": 612}]}, ("data", "0", "mm"))
    612
    """
    for token in tokens:
        if isinstance(value, dict) and token in value:
            value = value[token]
        elif isinstance(value, list) and _INDEX.fullmatch(token) and int(token) < len(value):
            value = value[int(token)]
        else:
            raise NowhereError(token)
    return value


def write_pointer(tokens: Tokens) -> str:
    """Write a pointer.

    Examples
    --------
    >>> write_pointer(("a/b", "m~n"))
    '/a~1b/m~0n'
    """
    return "".join("/" + token.replace("~", "~0").replace("/", "~1") for token in tokens)
