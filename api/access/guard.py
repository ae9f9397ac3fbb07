"""The decision before any operation runs: what is the caller to the object, and is that enough.

Relation opens an object, not role. Whoever has no relation to it learns nothing, not even that it is
there: the answer is the one for an object that does not exist. Relations are looked up at each request,
so that what ended opens nothing from the next one on.

Flow     caller, policy, store -> **guard** -> operation
Source   OWASP API Security Top 10 (2023), API1 "Broken Object Level Authorization"; ASVS 5.0, 8.2, 8.3
"""

from dataclasses import dataclass
from datetime import datetime

from starlette.requests import Request

from api.access.caller import NOBODY, Caller, SignInNeededError, identify
from api.access.cross_site import SAFE_METHODS, refuse_cross_site
from api.access.policy import POLICY, Grain, grain_for
from api.schemas.relation import Relation
from api.store import NotFoundError, Session
from api.store.accounts.grants import add_to_household, find_relations, list_tanks_of
from api.store.accounts.keys import KeyKind
from api.store.calendars import tank_of_feed
from api.store.tanks import StoredTank, list_tanks
from api.wiring import services_of

_OF_KIND = {
    "owner": {Relation.OWNER, Relation.HOUSEHOLD},
    "member": {Relation.HOUSEHOLD},
    "installer": {Relation.INSTALLER},
    "distributor": {Relation.DISTRIBUTOR},
}
_OF_KEY = {KeyKind.DEVICE: Relation.DEVICE, KeyKind.HUB: Relation.HOUSEHOLD}


@dataclass(frozen=True, slots=True)
class Access:
    """What a caller was let in as: the relations held, and the finest grain that may be shown."""

    caller: Caller
    held: frozenset[Relation]
    grain: Grain

    def list_tanks(self, session: Session) -> tuple[StoredTank, ...]:
        """List the tanks whose answer the caller may read."""
        if Relation.HOUSEHOLD in self.caller.everywhere:
            return list_tanks(session)
        account_id = self.caller.account_id
        return () if account_id is None else list_tanks_of(session, account_id)

    def own(self, session: Session, tank_id: int, *, now: datetime) -> None:
        """Make the caller the owner of a tank that they have just entered."""
        if self.caller.account_id is not None:
            add_to_household(session, self.caller.account_id, tank_id, "owner", now=now)

    def sensor_for(self, asked: str | None) -> str | None:
        """Tell for which sensor readings are brought: a key that is bound to one brings no other's.

        Raises
        ------
        NotFoundError
            When the key is bound to another sensor than the one asked for.
        """
        bound = self.caller.key.sensor_public_id if self.caller.key else None
        if bound is not None and asked not in (None, bound):
            raise NotFoundError
        return bound or asked


def require_access(request: Request) -> None:
    """Refuse whoever the policy does not let use an operation on this object.

    Raises
    ------
    NotFoundError
        When no relation opens it, or it has no row in the policy.
    SignInNeededError
        When nobody that we know is asking.
    ProblemError
        403, for a changing request of another site's page.
    """
    row = POLICY.get((request.method, request.scope["route"].path))
    if row is None or not all(map(_is_plain, request.path_params.values())):
        raise NotFoundError
    is_open = bool({Relation.ANYONE, Relation.FEED} & row.allowed.keys())  # a feed: by its address alone
    caller = NOBODY if is_open else identify(request)
    refuse_cross_site(request, by_cookie=caller.session is not None)
    held = relations_held(request, caller)
    grain = grain_for(row, held)
    if grain is None:
        raise SignInNeededError if caller == NOBODY and not is_open else NotFoundError
    request.state.access = Access(caller, held, grain)


def relations_held(request: Request, caller: Caller) -> frozenset[Relation]:
    """Tell what a caller is to the object that a request names in its path."""
    feed = request.path_params.get("feed")
    if feed is not None:
        with services_of(request).store.read() as session:
            is_known = tank_of_feed(session, feed) is not None
        return NOBODY.everywhere | ({Relation.FEED} if is_known else set())
    tank = request.path_params.get("tank")
    if tank is None:
        return caller.everywhere
    if caller.key is not None:
        is_its = caller.key.tank_public_id == tank
        may = caller.key.kind is KeyKind.DEVICE or request.method in SAFE_METHODS  # a hub only reads
        return caller.everywhere | ({_OF_KEY[caller.key.kind]} if is_its and may else set())
    if caller.account_id is None:
        return caller.everywhere
    services = services_of(request)
    with services.store.read() as session:
        kinds = find_relations(session, caller.account_id, tank, now=services.clock.now())
    return caller.everywhere.union(*(_OF_KIND[kind] for kind in kinds))


def _is_plain(part: str) -> bool:
    """Tell whether a part of a path can be a name at all: no NUL, no half of a character."""
    return "\0" not in part and not any("\ud800" <= c <= "\udfff" for c in part)


def access_of(request: Request) -> Access:
    """Tell an operation what its caller was let in as."""
    found: Access = request.state.access
    return found
