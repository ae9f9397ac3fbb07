"""What a page knows of its visit: who reads it, in which mode, and where they may go from here.

Flow     guard -> **visit** -> pages of accounts
"""

from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends
from starlette.requests import Request

from api.access import Access, access_of
from api.schemas.relation import Relation
from api.settings import Mode
from api.store import NotFoundError
from api.store.accounts.sessions import BrowserSession
from api.store.tanks import StoredTank, load_tank
from api.wiring import Services, services_of


@dataclass(frozen=True, slots=True)
class Place:
    """Somewhere to go from a page."""

    href: str
    words: str


@dataclass(frozen=True, slots=True)
class Visit:
    """A request as a page sees it."""

    request: Request
    services: Services
    access: Access

    @property
    def mode(self) -> Mode:
        """Who is let in here."""
        return self.services.settings.mode

    @property
    def account_id(self) -> int:
        """Row of the account that is signed in.

        Raises
        ------
        NotFoundError
            When there is none, as at home.
        """
        if self.access.caller.account_id is None:
            raise NotFoundError
        return self.access.caller.account_id

    @property
    def session(self) -> BrowserSession:
        """The session of this browser.

        Raises
        ------
        NotFoundError
            When it has none, as at home.
        """
        if self.access.caller.session is None:
            raise NotFoundError
        return self.access.caller.session

    @property
    def address(self) -> str:
        """The address under which this service was reached, without a path."""
        return self.services.settings.public_url or str(self.request.base_url).rstrip("/")

    def load_tank(self, public_id: str) -> StoredTank:
        """Find the tank of the page.

        Raises
        ------
        NotFoundError
            When it has gone meanwhile.
        """
        with self.services.store.read() as session:
            return load_tank(session, public_id)

    def require_mode(self, mode: Mode) -> None:
        """Refuse a page that another mode has no use for.

        Raises
        ------
        NotFoundError
        """
        if self.mode is not mode:
            raise NotFoundError

    def places(self, tank: str | None = None) -> tuple[Place, ...]:
        """List where the reader may go, for the head of the page."""
        found = []
        if self.mode is Mode.SERVER and Relation.SELF in self.access.held:
            found.append(Place("/account", "Account"))
        if self.mode is Mode.HOME_NETWORK and Relation.OPERATOR in self.access.held:
            found.append(Place("/phones", "Phones"))
        if tank is not None and Relation.HOUSEHOLD in self.access.held:
            found.append(Place(f"/tanks/{tank}/why", "Why this date"))
        if tank is not None and Relation.OWNER in self.access.held:
            found.append(Place(f"/tanks/{tank}/tell", "Tell"))
            found.append(Place(f"/tanks/{tank}/orders", "Orders and reminders"))
            found.append(Place(f"/tanks/{tank}/ordering", "Prices"))
            found.append(Place(f"/tanks/{tank}/set-up", "Set-up"))
            if self.mode is Mode.SERVER:
                found.append(Place(f"/tanks/{tank}/sharing", "Sharing"))
            found.append(Place(f"/tanks/{tank}/keys", "Keys"))
        return tuple(found)


def visit_of(request: Request) -> Visit:
    """Gather what a page knows of its visit."""
    return Visit(request, services_of(request), access_of(request))


Here = Annotated[Visit, Depends(visit_of)]


def name_browser(request: Request) -> str:
    """Name the browser of a request in a word or two, from what it says of itself.

    Of that only these words are kept.
    """
    said = request.headers.get("user-agent", "")
    kinds = (("Edg", "Edge"), ("Firefox", "Firefox"), ("Chrom", "Chrome"), ("Safari", "Safari"))
    systems = (
        ("Android", "Android"),
        ("iPhone", "iPhone"),
        ("iPad", "iPad"),
        ("Windows", "Windows"),
        ("Mac OS", "Mac"),
        ("Linux", "Linux"),
    )
    kind = next((name for sign, name in kinds if sign in said), "A browser")
    system = next((name for sign, name in systems if sign in said), "")
    return f"{kind} on {system}" if system else kind
