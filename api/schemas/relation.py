"""Who may use an operation: declared beside each, and once more in the policy table.

The table (`api.access.policy`) is what the guard asks. What stands beside an operation must be the same,
so that neither is changed without the other; an operation without both is not found by anybody.

::

    @router.get("/api/tanks/{tank}/forecast")
    @relation(Relation.HOUSEHOLD, Relation.DISTRIBUTOR)
    def read_forecast(...): ...

Source   relationship-based access control, as in OWASP API Security Top 10 (2023) API1, API3, API5
"""

from collections.abc import Callable
from enum import StrEnum
from typing import Any, TypeVar

Endpoint = TypeVar("Endpoint", bound=Callable[..., Any])
_MARK = "__relation__"


class Relation(StrEnum):
    """What somebody must be to the object in order to use an operation; computed anew at each request."""

    ANYONE = "anyone"
    """Health, documents, signing in: nothing about a tank is told."""
    SELF = "self"
    """Whoever has signed in, towards what is their own; at home, whoever is at home."""
    FOUNDER = "founder"
    """Whoever may enter a tank of their own: an account, and at home whoever may change things."""
    HOUSEHOLD = "household"
    """Of the tank's household: its owners, and members who look on."""
    OWNER = "owner"
    """An owner of the tank; is of its household too."""
    INSTALLER = "installer"
    """An installer with an open job on the tank."""
    DISTRIBUTOR = "distributor"
    """A distributor with a supply link to the tank that both sides accepted."""
    DEVICE = "device"
    """The key of one of the tank's sensors: brings readings, never reads."""
    FEED = "feed"
    """The key of the tank's calendar feed."""
    OPERATOR = "operator"
    """Runs the service: health and counts, nothing of what is burned."""


def relation(*wanted: Relation) -> Callable[[Endpoint], Endpoint]:
    """Declare the relations that open an operation; any one of them is enough."""

    def mark(endpoint: Endpoint) -> Endpoint:
        setattr(endpoint, _MARK, frozenset(wanted))
        return endpoint

    return mark


def declared_relations(endpoint: object) -> frozenset[Relation]:
    """Tell the relations that were declared for an operation; none where nothing was."""
    found: frozenset[Relation] = getattr(endpoint, _MARK, frozenset())
    return found
