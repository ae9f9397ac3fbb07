"""Write a JSON object as TOML, so that a tank sent as JSON is kept in the one form there is.

Flow     JSON object, changed keys -> **TOML text** -> register_tank, a moved sensor
Source   TOML 1.0.0
"""

import json
import re
from collections.abc import Mapping
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+", re.ASCII)


def to_toml(table: Mapping[str, Any]) -> str:
    r"""Write an object of texts, numbers, booleans, lists and objects as TOML.

    Raises
    ------
    ValueError
        For null, which TOML does not have.

    Examples
    --------
    >>> print(to_toml({"shape": "table", "rows": [[0, 0], [500, 812.5]], "solar": {"pv_kwp": 4}}), end="")
    shape = "table"
    rows = [[0, 0], [500, 812.5]]
    solar = {pv_kwp = 4}
    """
    return "".join(f"{_key(name)} = {_value(value)}\n" for name, value in table.items())


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else _text(name)


def _text(text: str) -> str:
    # A JSON string is a TOML basic string, but for DEL, which TOML wants escaped.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, list):
        return f"[{', '.join(_value(item) for item in value)}]"
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(name)} = {_value(item)}" for name, item in value.items()) + "}"
    raise ValueError("null has no form in TOML; leave the member out")
