"""What is known of a tank: its forecast, and what went into it.

Flow     store, use cases -> **sight** -> telling
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from api.access import Access
from api.store.orders import StoredOrder, list_orders
from api.store.tanks import load_tank
from api.usecases.fetch_weather import weather_words
from api.usecases.order_settings import settings_of_tank
from api.usecases.refresh_forecast import gather_inputs, refresh_forecast
from api.wiring import Services
from forecaster.civil import civil_date, zone_of
from forecaster.confidence import Forecast

if TYPE_CHECKING:
    from forecaster.pipeline import Inputs


@dataclass(frozen=True, slots=True)
class Sight:
    """A tank as it is seen now: its name as typed, its zone, the forecast, its inputs, orders, whose weather it is."""

    name: str
    zone: ZoneInfo
    forecast: Forecast
    inputs: "Inputs"
    weather_from: str | None = None
    orders: tuple[StoredOrder, ...] = ()


@dataclass(frozen=True, slots=True)
class Listed:
    """A tank in the list: its address and its name as typed."""

    public_id: str
    name: str


def look_at_tank(services: Services, public_id: str) -> Sight:
    """Look at a tank as of now.

    Raises
    ------
    NotFoundError
        When there is no such tank.
    InputError
        When too little is known to forecast at all.
    """
    forecast = refresh_forecast(services.store, services.clock, public_id)
    with services.store.read() as session:
        tank = load_tank(session, public_id)
        today = civil_date(forecast.as_of, zone_of(tank.zone))
        inputs = gather_inputs(
            session, tank, as_of=forecast.as_of, kept=None,
            settings=settings_of_tank(session, tank.id, today=today),
        )  # fmt: skip
        weather_from = weather_words(session, tank, now=services.clock.now())
        orders = list_orders(session, tank.id)
    return Sight(tank.name, zone_of(inputs.timezone), forecast, inputs, weather_from, orders)


def list_own_tanks(services: Services, access: Access) -> tuple[Listed, ...]:
    """List the tanks whose answer the caller may read, in the order of their coming."""
    with services.store.read() as session:
        return tuple(Listed(tank.public_id, tank.name) for tank in access.list_tanks(session))
