"""The decision before any operation runs: what is the caller to the object, and is that enough.

Relation opens an object, not role. Whoever has no relation to it learns nothing, not even that it is
there: the answer is the one for an object that does not exist.

Flow     caller, policy, store -> **guard** -> operation
Source   OWASP API Security Top 10 (2023), API1 "Broken Object Level Authorization"
"""

from dataclasses import dataclass

from starlette.requests import Request

from api.access.caller import Caller, identify
from api.access.policy import POLICY, Grain, grain_for
from api.schemas.relation import Relation
from api.store import NotFoundError


@dataclass(frozen=True, slots=True)
class Access:
    """What a caller was let in as: the relations held, and the finest grain that may be shown."""

    caller: Caller
    held: frozenset[Relation]
    grain: Grain


def require_access(request: Request) -> None:
    """Refuse whoever the policy does not let use an operation on this object.

    Raises
    ------
    NotFoundError
        When no relation opens it, or it has no row in the policy.
    """
    row = POLICY.get((request.method, request.scope["route"].path))
    if row is None:
        raise NotFoundError
    caller = identify(request)
    held = caller.everywhere
    grain = grain_for(row, held)
    if grain is None:
        raise NotFoundError
    request.state.access = Access(caller, held, grain)


def access_of(request: Request) -> Access:
    """Tell an operation what its caller was let in as."""
    found: Access = request.state.access
    return found
