"""What every JSON operation has in common: no parameter that it does not know, and a bounded rate.

Flow     request -> **strictness** -> operation
"""

import math
import threading
from collections import OrderedDict
from dataclasses import dataclass
from datetime import datetime
from http import HTTPStatus
from typing import Any

from pydantic import BaseModel
from starlette.requests import Request

from api.problems import MEDIA_TYPE, Fault, ProblemError
from api.schemas.readings import FaultOut
from api.wiring import services_of

REMEMBERED = 10_000
"""Tanks whose rate is kept in mind; of more the one longest silent is forgotten."""


class ProblemOut(BaseModel):
    """RFC 9457 problem details."""

    type: str
    title: str
    status: int
    code: str
    detail: str | None = None
    errors: list[FaultOut] | None = None


def problems(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """Describe the problems that an operation may answer with."""
    schema = {"$ref": "#/components/schemas/ProblemOut"}
    return {
        status: {
            "description": HTTPStatus(status).phrase,
            "content": {MEDIA_TYPE: {"schema": schema}},
        }
        for status in statuses
    }


def refuse_unknown_parameters(request: Request) -> None:
    """Refuse any query parameter: none of these operations has one.

    Raises
    ------
    ProblemError
        422.
    """
    if request.query_params:
        raise ProblemError(
            HTTPStatus.UNPROCESSABLE_ENTITY,
            "unknown_parameter",
            faults=[Fault("", "unknown_parameter", "leave out the query; there are no parameters here")],
        )


@dataclass(slots=True)
class _Bucket:
    left: float
    at: datetime


class Allowance:
    """How many messages each tank may still send: so many at once, refilled so many a second.

    It is counted in this process only.
    """

    def __init__(self, *, per_s: float, burst: int) -> None:
        self._per_s, self._burst = per_s, burst
        self._buckets: OrderedDict[str, _Bucket] = OrderedDict()
        self._lock = threading.Lock()

    def wait_s(self, name: str, now: datetime) -> float:
        """Take one message from a tank's allowance; seconds to wait where there is none left."""
        with self._lock:
            bucket = self._buckets.pop(name, None) or _Bucket(float(self._burst), now)
            passed = max(0.0, (now - bucket.at).total_seconds())
            bucket.left = min(float(self._burst), bucket.left + passed * self._per_s)
            bucket.at = now
            self._buckets[name] = bucket
            if len(self._buckets) > REMEMBERED:
                self._buckets.popitem(last=False)
            if bucket.left < 1.0:
                return (1.0 - bucket.left) / self._per_s
            bucket.left -= 1.0
            return 0.0


def take_allowance(request: Request, tank: str) -> None:
    """Refuse a message of a tank that sends too many.

    Raises
    ------
    ProblemError
        429, with when to try again.
    """
    allowance: Allowance = request.app.state.allowance
    wait_s = allowance.wait_s(tank, services_of(request).clock.now())
    if wait_s > 0.0:
        raise ProblemError(
            HTTPStatus.TOO_MANY_REQUESTS,
            "too_many",
            detail="Send several readings in one message.",
            headers={"Retry-After": str(math.ceil(wait_s))},
        )
