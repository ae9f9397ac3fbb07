"""Who may use an operation: declared beside each, refused where nothing is declared.

There are no accounts yet; the service listens on this machine only. Each operation says all the same
which relation to the object it will ask for, so that none can be forgotten when accounts come. An
operation that declares nothing is not found.

::

    @router.get("/api/tanks/{tank}/forecast")
    @relation(Relation.HOUSEHOLD)
    def read_forecast(...): ...
"""

from collections.abc import Callable
from enum import StrEnum
from typing import Any, TypeVar

from starlette.requests import Request

from api.store import NotFoundError

Endpoint = TypeVar("Endpoint", bound=Callable[..., Any])
_MARK = "__relation__"


class Relation(StrEnum):
    """What somebody must be to the object in order to use an operation."""

    ANYONE = "anyone"
    """Health and documents: nothing about a tank is told."""
    HOUSEHOLD = "household"
    """Whose tank it is. Until there are accounts: whoever reaches this service."""


def relation(wanted: Relation) -> Callable[[Endpoint], Endpoint]:
    """Declare the relation that an operation asks for."""

    def mark(endpoint: Endpoint) -> Endpoint:
        setattr(endpoint, _MARK, wanted)
        return endpoint

    return mark


def require_relation(request: Request) -> None:
    """Refuse an operation that declares no relation, as not found.

    Raises
    ------
    NotFoundError
        When nothing is declared.
    """
    if getattr(request.scope.get("endpoint"), _MARK, None) is None:
        raise NotFoundError
