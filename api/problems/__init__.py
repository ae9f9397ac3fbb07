"""What is said when something is wrong: RFC 9457 problem details, for every error.

The body has ``type``, ``title``, ``status``, ``code`` and, where input is concerned, ``errors``: a list
of ``pointer`` (RFC 6901, into the request's body), ``code`` and ``mend``. Nothing that was sent is
sent back: pointers name only members that this service knows, and mends are its own sentences.

Flow     engine's errors, store's errors, the web's errors -> **problem details** -> answer
Source   RFC 9457, "Problem Details for HTTP APIs"
"""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from types import MappingProxyType
from typing import Any

from starlette.responses import Response

from api.store import NotFoundError, StoreUnavailableError
from forecaster.errors import (
    DeliveriesError,
    DipcastError,
    InputError,
    OrderError,
    OutOfRangeError,
    Problem,
    ReadingsError,
    StoredStateError,
    SurveyError,
    TankError,
    WeatherError,
)

_IN_SECTION = re.compile(r"(\w+) in \[(\w+)\]", re.ASCII)
MEDIA_TYPE = "application/problem+json"
RETRY_AFTER_S = 5
"""When to try again after the database did not answer. [s]"""

STATUS_OF_ERROR: Mapping[type[Exception], HTTPStatus] = MappingProxyType(
    {
        TankError: HTTPStatus.UNPROCESSABLE_ENTITY,
        ReadingsError: HTTPStatus.UNPROCESSABLE_ENTITY,
        DeliveriesError: HTTPStatus.UNPROCESSABLE_ENTITY,
        WeatherError: HTTPStatus.UNPROCESSABLE_ENTITY,
        SurveyError: HTTPStatus.UNPROCESSABLE_ENTITY,
        OrderError: HTTPStatus.UNPROCESSABLE_ENTITY,
        InputError: HTTPStatus.UNPROCESSABLE_ENTITY,
        OutOfRangeError: HTTPStatus.UNPROCESSABLE_ENTITY,
        StoredStateError: HTTPStatus.INTERNAL_SERVER_ERROR,
        DipcastError: HTTPStatus.UNPROCESSABLE_ENTITY,
        NotFoundError: HTTPStatus.NOT_FOUND,
        StoreUnavailableError: HTTPStatus.SERVICE_UNAVAILABLE,
    }
)
"""The one table from errors to HTTP."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a request: where, a stable code, what to do."""

    pointer: str
    code: str
    mend: str


class ProblemError(Exception):
    """An answer that is a problem, raised from wherever it is noticed."""

    def __init__(
        self,
        status: HTTPStatus,
        code: str,
        *,
        detail: str = "",
        faults: Sequence[Fault] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(code)
        self.status, self.code, self.detail = status, code, detail
        self.faults, self.headers = tuple(faults), dict(headers or {})

    def __str__(self) -> str:
        return f"{self.status.value} {self.code}"


def render_problem(problem: ProblemError) -> Response:
    """Turn a problem into its answer."""
    body: dict[str, Any] = {
        "type": "about:blank",
        "title": problem.status.phrase,
        "status": problem.status.value,
        "code": problem.code,
    }
    if problem.detail:
        body["detail"] = problem.detail
    if problem.faults:
        body["errors"] = [{"pointer": f.pointer, "code": f.code, "mend": f.mend} for f in problem.faults]
    return Response(
        json.dumps(body, allow_nan=False),
        status_code=problem.status.value,
        headers=problem.headers,
        media_type=MEDIA_TYPE,
    )


def problem_of_status(status: int, headers: Mapping[str, str] | None = None) -> ProblemError:
    """Make the problem of a bare HTTP status, such as an unknown path or a wrong method."""
    try:
        known = HTTPStatus(status)
    except ValueError:
        known = HTTPStatus.INTERNAL_SERVER_ERROR
    return ProblemError(known, known.name.lower(), headers=headers)


def problem_of_error(
    error: Exception, *, within: str = "", known: frozenset[str] = frozenset()
) -> ProblemError:
    """Make the problem of an engine's or a store's error.

    Parameters
    ----------
    within
        Pointer to the part of the body that the error speaks of.
    known
        Names that may stand in a pointer; an error about any other points at the whole part.

    Examples
    --------
    >>> str(problem_of_error(NotFoundError()))
    '404 not_found'
    """
    status = next(
        (STATUS_OF_ERROR[kind] for kind in type(error).__mro__ if kind in STATUS_OF_ERROR),
        HTTPStatus.INTERNAL_SERVER_ERROR,
    )
    headers = {"Retry-After": str(RETRY_AFTER_S)} if status == HTTPStatus.SERVICE_UNAVAILABLE else {}
    faults: list[Fault] = []
    if isinstance(error, InputError):
        faults = [Fault(_pointer(p.field, within, known), p.code, p.mend) for p in error.problems]
    code = "not_usable" if faults else status.name.lower()
    return ProblemError(status, code, faults=faults, headers=headers)


def faults_of(problems: Sequence[Problem]) -> list[Fault]:
    """Turn a schema's problems, whose fields are pointers already, into faults."""
    return [Fault(p.field, p.code, p.mend) for p in problems]


def _pointer(field: str, within: str, known: frozenset[str]) -> str:
    if field.startswith("/"):
        return field
    section = _IN_SECTION.fullmatch(field)
    names = [section[2], section[1]] if section else [field]
    return "/".join([within, *names]) if known.issuperset(names) else within
