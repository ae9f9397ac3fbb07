"""Tanks as a page sees them, made by hand: told and withheld forecasts of any state."""

from datetime import UTC, date, datetime, timedelta
from html.parser import HTMLParser
from zoneinfo import ZoneInfo

import numpy as np

from api.pages.render import render
from api.pages.sight import Sight
from api.pages.telling import tell
from forecaster.confidence import (
    Appointment,
    DayOutlook,
    Forecast,
    LastTrusted,
    LitresBand,
    OrderAdvice,
    Reason,
    RunDryDates,
    State,
    ToldForecast,
    WithheldForecast,
)
from forecaster.dwelling import parse_survey
from forecaster.pipeline import Inputs
from forecaster.readings import Readings
from forecaster.tanks import Tank, parse_tank

AS_OF = datetime(2025, 6, 14, 5, 30, tzinfo=UTC)
ZONE = ZoneInfo("Europe/London")
TODAY = date(2025, 6, 14)

TANK = parse_tank(
    'product = "kerosene"\nshape = "horizontal_cylinder"\ndiameter_mm = 1200\nlength_mm = 1800\n'
    "sensor_height_mm = 1250\nheel_l = 30\nsafe_fill_l = 1900\n"
)


def some_days(*, start_l: float = 1000.0, a_day_l: float = 10.0, days: int = 365) -> tuple[DayOutlook, ...]:
    """A straight fall that widens by a litre a day, and a chance of being dry that follows from it."""
    found = []
    for i in range(days):
        middle, spread = start_l - a_day_l * (i + 1), 5.0 + i
        found.append(
            DayOutlook(
                TODAY + timedelta(days=i),
                p10=middle - spread,
                p50=middle,
                p90=middle + spread,
                p_dry=float(np.clip((30.0 - (middle - 2 * spread)) / (4 * spread), 0.0, 1.0)),
                p025=middle - 1.5 * spread,
                p25=middle - 0.5 * spread,
                p75=middle + 0.5 * spread,
                p975=middle + 1.5 * spread,
            )
        )
    return tuple(found)


def by_chance(daily: tuple[DayOutlook, ...], chance: float) -> date | None:
    """The first day by whose end the chance of being dry has come that far."""
    return next((day.date for day in daily if day.p_dry >= chance), None)


def told(
    *,
    state: State = State.OK,
    order: OrderAdvice | None = None,
    daily: tuple[DayOutlook, ...] | None = None,
    reasons: tuple[Reason, ...] = (),
) -> ToldForecast:
    """A forecast that may be told."""
    daily = some_days() if daily is None else daily
    advice = order or OrderAdvice(
        TODAY + timedelta(days=3), TODAY + timedelta(days=60), 800.0, "window", "Order about 800 litres."
    )
    first = daily[0].p50 + 10.0
    return ToldForecast(
        as_of=AS_OF,
        state=state,
        reasons=reasons,
        horizon_days=365,
        litres=LitresBand(first - 8.0, first, first + 8.0),
        run_dry=RunDryDates(*(by_chance(daily, c) for c in (0.02, 0.05, 0.10, 0.50, 0.90, 0.95))),
        order=advice,
        daily=daily,
        last_trusted=LastTrusted(AS_OF - timedelta(hours=1), first),
        appointment=None,
    )


def withheld(
    state: State,
    *,
    last: LastTrusted | None = None,
    appointment: Appointment | None = None,
    reasons: tuple[Reason, ...] = (),
) -> WithheldForecast:
    """A forecast whose numbers may not be told."""
    return WithheldForecast(AS_OF, state, reasons, 365, last, appointment)


def sight(
    forecast: Forecast, *, name: str = "Byre", tank: Tank = TANK, readings: Readings | None = None
) -> Sight:
    """A tank with that forecast."""
    survey = parse_survey('place = "East Anglia"\noccupants = 3\n')
    inputs = Inputs(tank=tank, as_of=AS_OF, timezone=ZONE.key, survey=survey, readings=readings)
    return Sight(name, ZONE, forecast, inputs)


def page_of(seen: Sight) -> str:
    """The page's HTML."""
    return bytes(render("answer.html", page=tell(seen)).body).decode()


class _Words(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.parts: list[str] = []

    def handle_data(self, data: str) -> None:
        self.parts.append(data)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.parts += [value for name, value in attrs if name in ("aria-label", "alt", "title") and value]


def words_of(html: str) -> str:
    """All that a page says: its text, and what it says to those who do not see it."""
    reader = _Words()
    reader.feed(html)
    return "\n".join(reader.parts)
