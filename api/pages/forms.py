"""A form as a browser sends it: bounded, plain, each field once.

Flow     request -> **fields** -> page
Source   HTML standard, "application/x-www-form-urlencoded"
"""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Annotated
from urllib.parse import parse_qsl

from fastapi import Depends
from starlette.requests import Request

from api.problems import ProblemError
from api.problems.body import SINGLE_BYTES, read_bounded

MOST_FIELDS = 100


async def read_form(request: Request) -> Mapping[str, str]:
    """Read a form's fields.

    Raises
    ------
    ProblemError
        400, 408, 413, 415: for anything that is no plain form.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/x-www-form-urlencoded":
        raise ProblemError(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "not_a_form")
    raw = await read_bounded(request, SINGLE_BYTES)
    try:
        pairs = parse_qsl(
            raw.decode("ascii"),
            keep_blank_values=True,
            encoding="utf-8",
            errors="strict",
            max_num_fields=MOST_FIELDS,
        )
    except (UnicodeError, ValueError):
        raise ProblemError(HTTPStatus.BAD_REQUEST, "not_a_form") from None
    fields = dict(pairs)
    if len(fields) != len(pairs) or any("\0" in text for text in fields.values()):
        raise ProblemError(HTTPStatus.BAD_REQUEST, "not_a_form")
    return fields


Fields = Annotated[Mapping[str, str], Depends(read_form)]
