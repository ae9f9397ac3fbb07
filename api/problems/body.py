"""The body of a request: bounded, plain JSON in UTF-8, or refused.

The standard reader takes NaN, the last of two equal keys, UTF-16 and any depth; this one does not.

Flow     bytes -> **a JSON value, checked** -> readings, tanks (schemas)
Source   RFC 8259 "JSON"; RFC 9110 sections 8.3, 8.4, 15.5
"""

import asyncio
import json
from collections.abc import Callable, Coroutine
from http import HTTPStatus
from typing import Any

from starlette.requests import ClientDisconnect, Request

from api.problems import Fault, ProblemError

SINGLE_BYTES = 64 * 1024
"""Largest body with one object. [bytes]"""
BATCH_BYTES = 1024 * 1024
"""Largest body with many. [bytes]"""
BODY_S = 15.0
"""So long a sender may take for its body. [s]"""
MAX_DEPTH = 32
"""Deeper nesting is refused. [levels]"""
MAX_DIGITS = 400
"""A longer integer is refused. [digits]"""


def json_body(
    limit: int, *, media_type: str = "application/json"
) -> Callable[[Request], Coroutine[Any, Any, bytes]]:
    """Make the dependency that reads a body of at most ``limit`` bytes, before anything parses it."""

    async def read(request: Request) -> bytes:
        _require_plain_json(request, media_type)
        return await read_bounded(request, limit)

    return read


async def read_bounded(request: Request, limit: int, *, within_s: float = BODY_S, instead: str = "") -> bytes:
    """Read a body of at most ``limit`` bytes, from a sender who takes no longer than ``within_s``.

    Parameters
    ----------
    instead
        What else there is for a larger one, as an ending of the sentence that refuses it.

    Raises
    ------
    ProblemError
        400, 408, 413: for a length that is no number, a sender who stops or is slow, too much.
    """
    declared = request.headers.get("content-length", "0")
    if not (declared.isascii() and declared.isdigit()):
        raise ProblemError(HTTPStatus.BAD_REQUEST, "content_length")
    if len(declared) > 12 or int(declared) > limit:
        raise _too_large(limit, instead)
    chunks, size = [], 0
    try:
        async with asyncio.timeout(within_s):
            async for chunk in request.stream():
                size += len(chunk)
                if size > limit:
                    raise _too_large(limit, instead)
                chunks.append(chunk)
    except TimeoutError:
        raise ProblemError(HTTPStatus.REQUEST_TIMEOUT, "too_slow") from None
    except ClientDisconnect:
        raise ProblemError(HTTPStatus.BAD_REQUEST, "cut_off") from None
    return b"".join(chunks)


def parse_json(raw: bytes) -> Any:
    """Read one JSON value, strictly.

    Not-finite numbers come out as such, for the schema to refuse with the place where they stand.

    Raises
    ------
    ProblemError
        400, for anything that is not one JSON value in plain UTF-8 with each key once.

    Examples
    --------
    >>> parse_json(b'{"dip_mm": 812}')
    {'dip_mm': 812}
    >>> parse_json(b'{"dip_mm": 1, "dip_mm": 2}')
    Traceback (most recent call last):
    api.problems.ProblemError: 400 key_twice
    """
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        raise _not_json("not_utf8", "send UTF-8") from None
    if text.startswith("\N{ZERO WIDTH NO-BREAK SPACE}"):
        raise _not_json("byte_order_mark", "send UTF-8 without a byte-order mark")
    try:
        value = json.loads(text, object_pairs_hook=_object, parse_int=_integer)
    except RecursionError:
        raise _not_json("too_deep", f"nest at most {MAX_DEPTH} levels") from None
    except ValueError:
        raise _not_json("not_json", "send one JSON value and nothing else") from None
    _require_shallow(value)
    return value


def _require_plain_json(request: Request, media_type: str) -> None:
    kind, _, parameters = request.headers.get("content-type", "").partition(";")
    charset = parameters.strip().lower().replace('"', "").replace(" ", "")
    if kind.strip().lower() != media_type or charset not in ("", "charset=utf-8"):
        raise ProblemError(
            HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
            "not_json",
            detail=f"Send {media_type}.",
            headers={"Accept": media_type},
        )
    if request.headers.get("content-encoding", "identity").strip().lower() not in ("", "identity"):
        raise ProblemError(
            HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
            "encoded",
            detail="Send the body without a content encoding.",
            headers={"Accept-Encoding": "identity"},
        )


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise _not_json("key_twice", "give each key once")
    return made


def _integer(digits: str) -> int:
    if len(digits) > MAX_DIGITS:
        raise _not_json("long_number", f"give at most {MAX_DIGITS} digits")
    return int(digits)


def _require_shallow(value: Any) -> None:
    todo = [(value, 0)]
    while todo:
        item, depth = todo.pop()
        if depth > MAX_DEPTH:
            raise _not_json("too_deep", f"nest at most {MAX_DEPTH} levels")
        if isinstance(item, dict | list):
            members = item.values() if isinstance(item, dict) else item
            todo.extend((member, depth + 1) for member in members)


def _not_json(code: str, mend: str) -> ProblemError:
    return ProblemError(HTTPStatus.BAD_REQUEST, code, faults=[Fault("", code, mend)])


def _too_large(limit: int, instead: str) -> ProblemError:
    most = f"{limit // 2**20} MiB" if limit > BATCH_BYTES else f"{limit // 1024} KiB"
    return ProblemError(
        HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "too_large", detail=f"Send at most {most} at once{instead}."
    )
