"""The answer in words: every figure of it is the forecast's own, and nothing is said that was withheld."""

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.confidence import (
    Appointment,
    DayOutlook,
    LastTrusted,
    LitresBand,
    OrderAdvice,
    RunDryDates,
    ToldForecast,
    WithheldForecast,
)
from forecaster.reorder import OrderSettings
from forecaster.states import Reason, State
from forecaster.wording import ESTIMATE, NOT_AN_ALARM, ROOM_TO_EXPAND, answer, list_text, risk_text

DUBLIN = ZoneInfo("Europe/Dublin")
AT = datetime(2025, 1, 3, 7, tzinfo=UTC)
TODAY = date(2025, 1, 3)
NONE_YET = RunDryDates(None, None, None, None, None, None)
TOLD = ToldForecast(
    as_of=AT,
    state=State.OK,
    reasons=(),
    horizon_days=365,
    litres=LitresBand(615.0, 650.0, 690.0),
    run_dry=RunDryDates(
        date(2025, 2, 20), date(2025, 2, 24), date(2025, 2, 28), date(2025, 3, 14), date(2025, 4, 2), None
    ),
    order=OrderAdvice(TODAY, date(2025, 1, 24), 700.0, "window", "Order about 700 litres."),
    daily=(),
    last_trusted=LastTrusted(datetime(2025, 1, 3, 6, 10, tzinfo=UTC), 642.0),
    appointment=Appointment(date(2025, 1, 24), AT),
)
CHECK = WithheldForecast(
    as_of=AT,
    state=State.CHECK,
    reasons=(Reason("stuck", State.CHECK, "The sensor has shown exactly the same level for days."),),
    horizon_days=365,
    last_trusted=TOLD.last_trusted,
    appointment=Appointment(date(2025, 3, 20), AT - timedelta(days=9)),
    order_below_l=333.0,
)
DATE = re.compile(
    r"\b\d{1,2} (?:January|February|March|April|May|June|July|August|September|October|November|December)"
)


def say(forecast: ToldForecast | WithheldForecast, settings: OrderSettings | None = None) -> str:
    """The sentence of a forecast, in Dublin."""
    return answer(forecast, zone=DUBLIN, settings=settings or OrderSettings()).sentence


def falling(litres_a_day: float, *, start: float = 650.0) -> ToldForecast:
    """The told forecast with half a year of days that burn evenly."""
    left = [start - litres_a_day * i for i in range(200)]
    days = tuple(DayOutlook(TODAY + timedelta(days=i), v, v, v, 0.0, v, v, v, v) for i, v in enumerate(left))
    return replace(TOLD, daily=days)


def test_a_told_answer_says_it_all_in_order() -> None:
    """How much is left, how much to order between which dates, what happens otherwise, and as of when."""
    assert say(TOLD) == (
        "About 650 litres are left (600 to 700 litres). Order about 700 litres any day from Fri 3 to Fri 24 January; "
        "delivery takes 3 to 10 working days. If nothing is ordered, there is 1 chance in 10 that the boiler stops "
        "by Fri 28 February and 1 in 2 by Fri 14 March. Last level of today 06:10."
    )


@given(
    st.sampled_from([s for s in State if not s.is_told]),
    st.dates(TODAY + timedelta(days=15), date(2026, 1, 1)),
)
def test_a_withheld_answer_says_no_date_ahead(state: State, order_by: date) -> None:
    """Whatever the state, a sentence of a withheld forecast whose appointment is far has today's date at most."""
    kept = Appointment(order_by, AT - timedelta(days=2))
    sentence = say(replace(CHECK, state=state, appointment=kept))
    assert DATE.findall(sentence) == []
    assert "333" not in sentence
    assert "Read the gauge" in sentence


def test_a_near_appointment_asks_for_the_gauge_and_says_when_to_order() -> None:
    """Within two weeks of the promised date the gauge reading at which to order is told, rounded upwards."""
    near = replace(CHECK, appointment=Appointment(date(2025, 1, 10), AT - timedelta(days=9)))
    assert "order if it is below 340 litres" in say(near)
    assert DATE.findall(say(near)) == []
    passed = replace(CHECK, appointment=Appointment(date(2025, 1, 2), AT - timedelta(days=9)))
    assert "has passed" in say(passed)


def test_each_answer_has_the_cautions_that_belong_to_it() -> None:
    """An estimate says so; a quantity speaks of room to expand; an urgent answer is no alarm."""
    settings = OrderSettings()
    assert answer(TOLD, zone=DUBLIN, settings=settings).cautions == (ESTIMATE, ROOM_TO_EXPAND)
    bare = replace(TOLD, order=OrderAdvice(None, None, None, "no_need", "No order is needed."))
    assert answer(bare, zone=DUBLIN, settings=settings).cautions == (ESTIMATE,)
    assert answer(replace(CHECK, state=State.URGENT), zone=DUBLIN, settings=settings).cautions == (
        NOT_AN_ALARM,
    )


def test_no_run_dry_date_in_sight_is_said_as_a_small_chance() -> None:
    """Where the tank hardly runs dry within the horizon, that is said instead of a date."""
    sentence = say(replace(TOLD, run_dry=NONE_YET))
    assert "less than 1 chance in 10 that the boiler stops within 365 days" in sentence


@pytest.mark.parametrize(
    ("lead_days", "said"),
    [((3, 10), "takes 3 to 10 working days"), ((5, 5), "takes 5 working days"), ((1, 1), "takes 1 working day;"),
     ((0, 0), "is on the same working day")],
)  # fmt: skip
def test_lead_times_are_said_as_people_say_them(lead_days: tuple[int, int], said: str) -> None:
    """A span, a number, a single day, or the same day."""
    assert said.removesuffix(";") in say(TOLD, OrderSettings(lead_days=lead_days))


def test_a_year_that_is_not_this_one_is_said() -> None:
    """Dates of another year carry it."""
    late = replace(TOLD, run_dry=replace(TOLD.run_dry, p50=date(2026, 1, 4)))
    assert "1 in 2 by Sun 4 January 2026" in say(late)


@given(st.floats(0.5, 20.0), st.floats(0.0005, 0.02))
def test_risk_is_told_by_winters_of_so_many_orders(litres_a_day: float, risk: float) -> None:
    """Chance of a cycle times cycles of a half-year, and never a longer time than that."""
    said = risk_text(falling(litres_a_day), OrderSettings(risk=risk))
    assert said is not None
    found = re.search(r"one winter in ([\d,]+)\.", said)
    cycles = max(182 * litres_a_day / 700.0, 1.0)
    if found is None:
        assert risk * cycles > 0.2
    else:
        assert int(found[1].replace(",", "")) <= 1 / (risk * cycles) * (1 + 1e-9)


def test_nothing_odd_is_ever_printed() -> None:
    """An almost empty tank is not said to hold less than nothing, and no None or nan appears."""
    low = replace(
        TOLD, litres=LitresBand(-12.0, -2.0, 8.0), run_dry=replace(TOLD.run_dry, p10=TODAY, p50=TODAY)
    )
    for sentence in (say(low), say(TOLD), say(CHECK), say(replace(CHECK, last_trusted=None))):
        assert not re.search(r"None|nan|-\d|approximately", sentence)
    assert "Hardly any oil is left" in say(low)


def test_lists_end_with_and() -> None:
    """One item stands alone; the last of several is joined by and."""
    assert [list_text(items) for items in (["oil"], ["oil", "sun"])] == ["oil", "oil and sun"]
