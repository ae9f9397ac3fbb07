"""The answer's page: everything the template shows, in the order in which it is read.

Flow     sight -> **page** -> template
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from types import MappingProxyType
from zoneinfo import ZoneInfo

from api.pages.charts import FanPicture, SectionPicture, days_shown, draw_fan, draw_section
from api.pages.sight import Sight
from api.pages.telling.grounds import tell_grounds
from api.pages.telling.left_out import LeftOut, find_left_out
from api.pages.telling.on_order import tell_on_order
from api.pages.telling.weeks import Week, weeks_ahead
from forecaster.civil import civil_date
from forecaster.confidence import State, ToldForecast
from forecaster.phrases import day_text
from forecaster.wording import Answer, answer

STATE_WORDS: Mapping[State, str] = MappingProxyType(
    {
        State.OK: "The tank is seen well enough to give dates.",
        State.WIDE: "The dates are given, but less surely than usual; why stands below.",
        State.CHECK: "No date can be given today: first something has to be cleared up.",
        State.STALE: "No date can be given today: the tank has been out of sight.",
        State.BLIND: "No date can be given yet.",
        State.URGENT: "This comes before any date.",
    }
)
"""How much may be said, in words; the states' names stay in the data."""


@dataclass(frozen=True, slots=True)
class AnswerPage:
    """One tank's page.

    ``fan`` is None and ``weeks`` is empty where the forecast is withheld. ``urgent`` puts the cautions
    about a loss beside the answer. ``on_order`` has a sentence for each open order.
    """

    name: str
    zone: str
    as_of: str
    state: str
    is_told: bool
    answer: Answer
    fan: FanPicture | None
    section: SectionPicture
    weeks: tuple[Week, ...]
    left_out: LeftOut
    grounds: tuple[str, ...]
    on_order: tuple[str, ...] = ()


def tell(sight: Sight) -> AnswerPage:
    """Turn what is known of a tank into its page."""
    forecast, zone, inputs = sight.forecast, sight.zone, sight.inputs
    today = civil_date(forecast.as_of, zone)
    left_out = find_left_out(inputs, zone)
    fan: FanPicture | None = None
    weeks: tuple[Week, ...] = ()
    if isinstance(forecast, ToldForecast):
        shown = days_shown(forecast)
        fan = draw_fan(forecast, inputs.tank, zone=zone, shown=shown)
        weeks = weeks_ahead(forecast, inputs.tank, today=today, shown=shown)
    return AnswerPage(
        name=sight.name,
        zone=zone.key,
        as_of=_moment(forecast.as_of, zone, today),
        state=STATE_WORDS[forecast.state],
        is_told=forecast.state.is_told,
        answer=answer(forecast, zone=zone, settings=inputs.settings),
        fan=fan,
        section=draw_section(forecast, inputs.tank, zone=zone),
        weeks=weeks,
        left_out=left_out,
        grounds=(
            *tell_grounds(inputs, zone, left_out),
            *([sight.weather_from] if sight.weather_from else []),
        ),
        on_order=tell_on_order(sight.orders, today=today),
    )


def _moment(at: datetime, zone: ZoneInfo, today: date) -> str:
    return f"{day_text(today, year=True)}, {at.astimezone(zone):%H:%M}"
