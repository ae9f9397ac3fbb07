"""Where everything is put together: settings to the services that the doors use.

Flow     settings -> **wiring** -> doors
"""

from dataclasses import dataclass

from starlette.requests import HTTPConnection

from api.ports import Clock, SystemClock
from api.settings import Settings
from api.store import Store, make_engine, migrate


@dataclass(frozen=True, slots=True)
class Services:
    """What a door is given: settings, database, clock."""

    settings: Settings
    store: Store
    clock: Clock


def make_services(settings: Settings, *, clock: Clock | None = None) -> Services:
    """Open the database, bring it to the present shape, and choose what stands behind each port.

    Raises
    ------
    UnsafeDatabaseError
        When the database could lose what it acknowledged.
    """
    engine = make_engine(settings.database)
    migrate(engine)
    return Services(settings=settings, store=Store(engine), clock=clock or SystemClock())


def services_of(connection: HTTPConnection) -> Services:
    """Find the services of the application that a request came to."""
    services: Services = connection.app.state.services
    return services
