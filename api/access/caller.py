"""Who is asking: the household at home, a paired phone, a signed-in account, a machine's key, nobody.

Flow     request -> **caller** -> guard
"""

import ipaddress
from dataclasses import dataclass

from starlette.requests import Request

from api.access.cookie import session_token
from api.schemas.relation import Relation
from api.settings import Mode
from api.store.accounts.keys import KeyHolder, find_key, note_use
from api.store.accounts.sessions import SEEN_EVERY, BrowserSession, find_session, see_session
from api.usecases.accounts.lasting import idle_of
from api.wiring import Services, services_of

_FORWARDING = ("forwarded", "x-forwarded-for", "x-real-ip", "via")
"""Set by whatever stands between somebody else and this machine."""


class SignInNeededError(Exception):
    """Nobody that we know is asking, for something that is not open to anyone."""


@dataclass(frozen=True, slots=True)
class Caller:
    """Whoever a request comes from.

    Attributes
    ----------
    everywhere
        Relations that hold whatever the object: of the household at home, to all its tanks.
    session
        The browser session by whose cookie it comes, if any.
    key
        The machine's key by which it comes, if any.
    """

    everywhere: frozenset[Relation]
    session: BrowserSession | None = None
    key: KeyHolder | None = None

    @property
    def account_id(self) -> int | None:
        """Row of the account that is signed in; None at home, for keys and for nobody."""
        return None if self.session is None else self.session.account_id


NOBODY = Caller(frozenset({Relation.ANYONE}))
HOUSEHOLD_AT_HOME = Caller(
    frozenset(Relation) - {Relation.INSTALLER, Relation.DISTRIBUTOR, Relation.DEVICE, Relation.FEED}
)
"""Who sits at the machine of a home: all tanks in it are theirs, and they run the service."""
_PAIRED = {
    "owner": frozenset(
        {Relation.ANYONE, Relation.SELF, Relation.FOUNDER, Relation.HOUSEHOLD, Relation.OWNER}
    ),
    "member": frozenset({Relation.ANYONE, Relation.SELF, Relation.HOUSEHOLD}),
}
_SIGNED_IN = frozenset({Relation.ANYONE, Relation.SELF, Relation.FOUNDER})


def identify(request: Request) -> Caller:
    """Find out who a request comes from; a key that is shown counts alone, whatever else comes with it."""
    services = services_of(request)
    shown = request.headers.get("authorization")
    if shown is not None:
        return _by_key(services, shown)
    mode = services.settings.mode
    if mode is not Mode.SERVER and is_here(request, mode):
        return HOUSEHOLD_AT_HOME
    token = session_token(request)
    return NOBODY if token is None or mode is Mode.HOME else _by_session(services, token)


def is_here(request: Request, mode: Mode) -> bool:
    """Tell whether a request comes from this machine itself, through nothing that stands in between.

    In the mode ``home`` nothing else can reach the service, so that a caller without an address (over a
    local socket, or inside the process) is here too.
    """
    if any(name in request.headers for name in _FORWARDING):
        return False
    try:
        return ipaddress.ip_address(request.client.host if request.client else "").is_loopback
    except ValueError:
        return mode is Mode.HOME


def _by_key(services: Services, shown: str) -> Caller:
    scheme, _, text = shown.partition(" ")
    if scheme.lower() != "bearer":
        return NOBODY
    with services.store.read() as session:
        key = find_key(session, text.strip())
    if key is None:
        return NOBODY
    today = services.clock.now()
    if key.last_used_on != today.date():
        with services.store.write() as session:
            note_use(session, key.id, today)
    return Caller(NOBODY.everywhere, key=key)


def _by_session(services: Services, token: str) -> Caller:
    now = services.clock.now()
    mode = services.settings.mode
    with services.store.read() as session:
        found = find_session(session, token, now=now, idle=idle_of(mode))
    if found is None or (found.account_id is not None) != (mode is Mode.SERVER):
        return NOBODY
    if now - found.last_seen_at >= SEEN_EVERY:
        with services.store.write() as session:
            see_session(session, found.id, now)
    if found.paired_as is not None:
        return Caller(_PAIRED[found.paired_as], session=found)
    runs_it = {Relation.OPERATOR} if found.is_operator else set()
    return Caller(_SIGNED_IN | runs_it, session=found)
