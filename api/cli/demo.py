"""The demo: an invented valley, brought in, forecast, told in words, and served as pages.

The clock stands still at the valley's own instant, so that the answers are the same on every machine
and day. Its database lives in a temporary folder and is gone at the end.

Flow     api.sources.valley -> store -> forecasts -> **words**, pages
"""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import typer

from api.cli.forecast import patience
from api.cli.service import address_of, listen, open_services, serve
from api.cli.telling import tell_forecast
from api.settings import Settings
from api.sources.valley import House, Valley, make_valley
from api.usecases.import_house import (
    import_deliveries,
    import_diary,
    import_stove_log,
    import_weather,
)
from api.usecases.import_readings import import_readings
from api.usecases.refresh_forecast import refresh_forecast
from api.usecases.register_tank import register_tank
from api.wiring import Services
from forecaster.civil import zone_of
from forecaster.phrases import day_text
from forecaster.reorder import OrderSettings
from forecaster.weather import parse_weather
from forecaster.wording import answer


@dataclass(frozen=True, slots=True)
class StandingClock:
    """A clock that stands at one instant."""

    at: datetime

    def now(self) -> datetime:
        """Tell that instant."""
        return self.at


def run_demo(*, host: str, port: int, once: bool) -> None:
    """Bring the valley in, tell each house's answer, and serve the pages unless only once is wanted.

    Raises
    ------
    InputError
        When the place to listen at is taken.
    """
    place = None if once else listen(host, port)
    valley = make_valley()
    typer.echo(_opening(valley))
    with _temporary_services(valley, host=host, port=port) as services:
        for house in valley.houses:
            public_id = bring_house(services, valley, house)
            typer.echo("\n".join(("", *tell_house(services, valley, house, public_id))))
        if place is not None:
            typer.echo(f"\nThe pages are at {address_of(place)} until you stop this with Ctrl-C.")
            serve(services, place, log_level="warning")


def bring_house(services: Services, valley: Valley, house: House) -> str:
    """Store one house's files, through the same doors as anybody's; the tank's public id."""
    clock = services.clock
    with services.store.write() as session:
        tank = register_tank(session, clock, tank_toml=house.tank_toml, survey_toml=house.survey_toml)
        import_readings(session, clock, tank, house.readings_csv)
        import_weather(session, tank, parse_weather(valley.weather_csv, tz=valley.timezone), role="weather")
        import_deliveries(session, clock, tank, house.deliveries_csv)
        if house.diary_csv is not None:
            import_diary(session, clock, tank, house.diary_csv)
        if house.stove_log_csv is not None:
            import_stove_log(session, clock, tank, house.stove_log_csv)
    return tank.public_id


def tell_house(services: Services, valley: Valley, house: House, public_id: str) -> Iterator[str]:
    """Give the lines of one house: who lives there, and the answer."""
    with patience():
        forecast = refresh_forecast(services.store, services.clock, public_id)
    zone = zone_of(valley.timezone)
    yield house.name
    yield "-" * len(house.name)
    yield house.blurb
    yield ""
    yield from tell_forecast(answer(forecast, zone=zone, settings=OrderSettings()), forecast, zone=zone)


@contextmanager
def _temporary_services(valley: Valley, *, host: str, port: int) -> Iterator[Services]:
    with tempfile.TemporaryDirectory(prefix="dipcast-demo-", ignore_cleanup_errors=True) as folder:
        settings = Settings(database=f"sqlite:///{Path(folder) / 'valley.db'}", host=host, port=port)
        services = open_services(settings, clock=StandingClock(valley.as_of))
        try:
            yield services
        finally:
            services.store.engine.dispose()


def _opening(valley: Valley) -> str:
    local = valley.as_of.astimezone(zone_of(valley.timezone))
    return (
        f"{valley.name} is an invented valley with {len(valley.houses)} houses; nothing in it is real.\n"
        f"It is always {day_text(local.date(), year=True)}, {local:%H:%M} there. Bringing in two years of "
        "readings, weather and tickets, and asking of each house: how much is left, and when to order?"
    )
