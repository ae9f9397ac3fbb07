"""The answer in words: every figure in it is the forecast's own, and a withheld one has none ahead."""

import re
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from forecaster.civil import civil_date
from forecaster.confidence import (
    Appointment,
    DayOutlook,
    Forecast,
    LastTrusted,
    LitresBand,
    Numbers,
    OrderAdvice,
    Reason,
    RunDryDates,
    State,
    ToldForecast,
    WithheldForecast,
    gate,
)
from forecaster.phrases import rounding_step
from forecaster.reorder import OrderSettings, advise_order, order_below_l
from forecaster.run_dry import chance_dry, run_dry_date, run_dry_days
from forecaster.wording import (
    ESTIMATE,
    NEAR_DAYS,
    NOT_AN_ALARM,
    ORDER_BELOW_STEP_L,
    ROOM_TO_EXPAND,
    SD_PER_BAND,
    answer,
    list_text,
    risk_text,
)
from tests.forecaster.spoken import (
    assert_nothing_ahead,
    dates_in,
    days_ahead_in,
    number,
    order_quantities_in,
    thresholds_in,
)
from tests.strategies import calm

LONDON = ZoneInfo("Europe/London")
AT = datetime(2025, 1, 14, 7, tzinfo=UTC)
TODAY = date(2025, 1, 14)
SEEN = LastTrusted(datetime(2025, 1, 14, 6, 10, tzinfo=UTC), 823.0)
ZONES = st.sampled_from(
    [ZoneInfo(z) for z in ("UTC", "Europe/London", "Pacific/Auckland", "America/St_Johns")]
)
MOMENTS = st.integers(0, 5 * 365 * 24).map(lambda h: datetime(2023, 1, 1, tzinfo=UTC) + timedelta(hours=h))
SAFE_FILL_L, HEEL_L = 1140.0, 50.0


def _told(
    order: OrderAdvice, *, run_dry: RunDryDates | None = None, litres: LitresBand | None = None, **more
) -> ToldForecast:
    """A told forecast of 14 January 2025 with the given advice."""
    dates = run_dry or RunDryDates(*[date(2025, 2, d) for d in (7, 9, 10, 21, 25, 27)])
    given_more = {"as_of": AT, "appointment": None, "last_trusted": SEEN, "horizon_days": 365} | more
    return ToldForecast(
        state=State.OK, reasons=(), litres=litres or LitresBand(800.0, 820.0, 840.0), run_dry=dates,
        order=order, daily=(), **given_more,
    )  # fmt: skip


def _withheld(state: State = State.CHECK, **more) -> WithheldForecast:
    given_more = {"last_trusted": SEEN, "appointment": None, "order_below_l": 130.0} | more
    return WithheldForecast(AT, state, (Reason("x", state, "Because."),), 365, **given_more)


def _window(first: date, last: date, *, note: str = "window") -> OrderAdvice:
    text = "Order about 600 litres." if note == "window" else "Order about 600 litres today."
    return OrderAdvice(first, last, 600.0, note, text)


def _say(forecast: Forecast, how: OrderSettings | None = None) -> str:
    return answer(forecast, zone=LONDON, settings=how or OrderSettings()).sentence


SENTENCES = {
    "window": (
        _told(_window(date(2025, 1, 17), date(2025, 1, 24))),
        "About 820 litres are left (800 to 840 litres). Order about 600 litres any day from Fri 17 to Fri 24 "
        "January; delivery takes 3 to 10 working days. If nothing is ordered, there is 1 chance in 10 that the "
        "boiler stops by Mon 10 February and 1 in 2 by Fri 21 February. Last level of today 06:10.",
    ),
    "earliest_before_today": (
        _told(_window(date(2025, 1, 3), date(2025, 1, 24))),
        "Order about 600 litres any day from Tue 14 to Fri 24 January;",
    ),
    "one_day": (
        _told(_window(date(2025, 1, 24), date(2025, 1, 24))),
        "Order about 600 litres on Fri 24 January; delivery",
    ),
    "one_day_left": (
        _told(_window(date(2025, 1, 3), date(2025, 1, 14))),
        "Order about 600 litres on Tue 14 January; delivery",
    ),
    "two_months": (
        _told(_window(date(2025, 1, 30), date(2025, 2, 3))),
        "any day from Thu 30 January to Mon 3 February;",
    ),
    "into_the_next_year": (
        _told(
            _window(date(2025, 12, 29), date(2026, 1, 9)),
            run_dry=RunDryDates(*[date(2026, 1, d) for d in (20, 21, 22, 28, 29, 30)]),
            as_of=datetime(2025, 12, 28, 7, tzinfo=UTC),
            last_trusted=LastTrusted(datetime(2025, 12, 27, 6, 10, tzinfo=UTC), 823.0),
        ),
        "any day from Mon 29 December to Fri 9 January 2026; delivery takes 3 to 10 working days. If nothing is "
        "ordered, there is 1 chance in 10 that the boiler stops by Thu 22 January 2026 and 1 in 2 by Wed 28 "
        "January 2026. Last level of Sat 27 December 06:10.",
    ),
    "within_the_next_year": (
        _told(_window(date(2026, 1, 5), date(2026, 1, 9)), as_of=datetime(2025, 12, 28, 7, tzinfo=UTC)),
        "any day from Mon 5 to Fri 9 January 2026;",
    ),
    "seen_in_another_year": (
        _told(
            _window(date(2025, 1, 17), date(2025, 1, 24)),
            last_trusted=LastTrusted(datetime(2024, 12, 30, 6, 10, tzinfo=UTC), 823.0),
        ),
        "Last level of Mon 30 December 2024 06:10.",
    ),
    "order_today": (
        _told(_window(date(2025, 1, 3), date(2025, 1, 10), note="order_today")),
        "Order about 600 litres today; delivery takes 3 to 10 working days.",
    ),
    "no_need": (
        _told(
            OrderAdvice(
                None, None, None, "no_need", "No order is needed within the 355 days that can be seen."
            ),
            run_dry=RunDryDates(None, None, None, None, None, None),
        ),
        "No order is needed within the 355 days that can be seen. If nothing is ordered, there is less than 1 "
        "chance in 10 that the boiler stops within 365 days.",
    ),
    "no_safe_window": (
        _told(OrderAdvice(date(2025, 2, 1), date(2025, 1, 20), None, "no_safe_window", "There is no day.")),
        "litres). There is no day. If nothing is ordered",
    ),
    "even_chance_out_of_sight": (
        _told(
            _window(date(2025, 1, 17), date(2025, 1, 24)),
            run_dry=RunDryDates(date(2025, 2, 7), date(2025, 2, 9), date(2025, 2, 10), None, None, None),
        ),
        "1 chance in 10 that the boiler stops by Mon 10 February. Last level",
    ),
    "both_chances_on_one_day": (
        _told(
            _window(date(2025, 1, 17), date(2025, 1, 24)),
            run_dry=RunDryDates(*[date(2025, 2, 10)] * 6),
        ),
        "there is 1 chance in 2 that the boiler stops by Mon 10 February. Last",
    ),
    "never_seen_by_a_sensor": (
        _told(_window(date(2025, 1, 17), date(2025, 1, 24)), last_trusted=None),
        "and 1 in 2 by Fri 21 February.",
    ),
    "nothing_left": (
        _told(
            _window(date(2025, 1, 3), date(2025, 1, 10), note="order_today"),
            litres=LitresBand(-30.0, 4.0, 30.0),
        ),
        "Hardly any oil is left (0 to 50 litres).",
    ),
    "known_to_a_litre": (
        _told(_window(date(2025, 1, 17), date(2025, 1, 24)), litres=LitresBand(820.0, 820.1, 820.2)),
        "About 820 litres are left. Order",
    ),
    "not_seen_since_it_was_promised": (
        _told(
            _window(date(2025, 1, 17), date(2025, 1, 24)),
            appointment=Appointment(date(2025, 1, 20), datetime(2025, 1, 9, 7, tzinfo=UTC)),
        ),
        "We had told you to order by Mon 20 January; as the tank has not been seen since, that date stands.",
    ),
}


@pytest.mark.parametrize("name", SENTENCES)
def test_each_kind_of_advice_has_its_sentence(name):
    """Windows, single days, other years, nothing to order and nothing in sight read as they should."""
    forecast, expected = SENTENCES[name]
    assert expected in _say(forecast)


@pytest.mark.parametrize(
    ("lead", "words"),
    [
        ((1, 1), "delivery takes 1 working day."),
        ((3, 3), "delivery takes 3 working days."),
        ((0, 1), "delivery takes 0 to 1 working days."),
        ((0, 0), "delivery is on the same working day."),
        ((3, 10), "delivery takes 3 to 10 working days."),
    ],
)
def test_the_lead_time_is_said_in_the_right_number(lead, words):
    """One working day is a day, several are days, none is the same day."""
    forecast = _told(_window(date(2025, 1, 17), date(2025, 1, 24)))
    assert f"; {words}" in _say(forecast, OrderSettings(lead_days=lead))


def test_a_date_that_stands_is_not_said_when_the_window_ends_earlier():
    """An appointment at or after the window's end adds nothing, nor one made by this very forecast."""
    window = _window(date(2025, 1, 17), date(2025, 1, 24))
    for day, told_at in ((date(2025, 1, 24), AT - timedelta(days=5)), (date(2025, 1, 20), AT)):
        assert "We had told you" not in _say(_told(window, appointment=Appointment(day, told_at)))


WITHHELD = {
    State.CHECK: "What we see does not fit together, so we give no date.",
    State.STALE: "We have not seen the tank for too long to give a date.",
    State.BLIND: "No level of this tank has been seen yet",
    State.URGENT: "Please look at the tank now.",
}


@pytest.mark.parametrize("state", WITHHELD)
def test_a_withheld_answer_says_what_was_seen_last_and_what_to_do(state):
    """Whatever withholds the date, the last level with its time and the gauge to read are told."""
    words = answer(_withheld(state), zone=LONDON, settings=OrderSettings())
    assert words.sentence.startswith(WITHHELD[state])
    assert "The last level we trust is about 820 litres, of today 06:10." in words.sentence
    assert "Read the gauge, or dip the tank" in words.sentence
    assert words.reasons == ("Because.",)
    assert words.cautions == ((NOT_AN_ALARM,) if state is State.URGENT else (ESTIMATE,))


@pytest.mark.parametrize(
    ("days", "below", "expected"),
    [
        (14, 130.0, "the date we gave is near: read the gauge today, and order if it is below 140 litres."),
        (0, 120.0, "the date we gave is near: read the gauge today, and order if it is below 120 litres."),
        (
            -3,
            120.1,
            "the day to order by may have passed: read the gauge today, and order if it is below 140 litres.",
        ),
        (3, None, "the date we gave is near: read the gauge today, and order if in doubt."),
        (15, 130.0, "Read the gauge, or dip the tank at a dip point that you can reach from the ground."),
    ],
)
def test_an_appointment_that_comes_near_is_kept_in_words(days, below, expected):
    """When the promised date comes and the tank cannot be seen, the gauge decides; the threshold is rounded up."""
    appointment = Appointment(TODAY + timedelta(days=days), AT - timedelta(days=20))
    assert _say(_withheld(appointment=appointment, order_below_l=below)).endswith(expected)


def test_cautions_stand_with_quantities():
    """A quantity comes with the room that oil needs; an answer without one does not mention it."""
    window = answer(_told(_window(TODAY, date(2025, 1, 24))), zone=LONDON, settings=OrderSettings())
    assert window.cautions == (ESTIMATE, ROOM_TO_EXPAND)
    no_need = _told(OrderAdvice(None, None, None, "no_need", "No order is needed."))
    assert answer(no_need, zone=LONDON, settings=OrderSettings()).cautions == (ESTIMATE,)


def test_an_answer_is_a_line_for_each_of_its_sentences():
    """Sentence, reasons and cautions follow each other, a line each."""
    words = answer(_withheld(), zone=LONDON, settings=OrderSettings())
    assert words.text.splitlines() == [words.sentence, "Because.", ESTIMATE]


# ---- withheld: nothing ahead leaves, whatever was found

REASONS = (
    (
        "stuck",
        "The sensor has shown exactly the same level since Fri 3 January. About 55 litres should have gone.",
    ),
    ("stale", "No level that we trust has come since Fri 3 January, 11 days ago. It was 3 °C, over 10 days."),
    (
        "fast_loss",
        "Possible leak or theft: about 80 litres left the tank between Mon 13 January and Tue 14 January.",
    ),
    ("short_history", "The tank has been watched for 9 days: how fast it empties comes from your survey."),
    ("wide_band", ""),
)


@st.composite
def withheld_forecasts(draw) -> tuple[Forecast, ZoneInfo]:
    """Forecasts whose numbers were computed and kept back by the gate, in any state and with any promise."""
    as_of, zone = draw(MOMENTS), draw(ZONES)
    first = civil_date(as_of, zone)
    worst = draw(st.sampled_from([s for s in State if not s.is_told]))
    others = draw(st.lists(st.sampled_from(list(State)), max_size=3))
    some_day = st.dates(first - timedelta(days=60), first + timedelta(days=400))
    day = draw(some_day)
    numbers = Numbers(
        LitresBand(100.0, 200.0, 300.0), RunDryDates(*sorted(draw(some_day) for _ in range(6))),
        _window(day, day + timedelta(days=5)), (DayOutlook(day, *[1.0] * 8),),
    )  # fmt: skip
    seen = draw(
        st.none()
        | st.builds(
            LastTrusted, st.integers(0, 90).map(lambda d: as_of - timedelta(days=d)), st.floats(-20, 5000)
        )
    )
    kept = st.builds(Appointment, some_day, st.just(as_of - timedelta(days=3)))
    forecast = gate(
        numbers, as_of=as_of, horizon_days=365, last_trusted=seen, earlier=draw(st.none() | kept),
        order_by=draw(st.none() | some_day), order_below_l=draw(st.none() | st.floats(1, 3000)),
        reasons=[Reason("x", state, "Said.") for state in (worst, *others)],
    )  # fmt: skip
    return forecast, zone


@calm
@given(withheld_forecasts())
def test_a_withheld_answer_holds_no_day_count_date_or_quantity_ahead(made):
    """In no withheld state is a number of days, a later date or an order quantity said; the gauge threshold may be."""
    _assert_told_nothing_ahead(*made)


@pytest.mark.long
@settings(deadline=None, max_examples=10_000)
@given(withheld_forecasts())
def test_ten_thousand_withheld_answers_hold_nothing_ahead(made):
    """The same of ten thousand forecasts: no day count, later date or quantity in any state."""
    _assert_told_nothing_ahead(*made)


def _assert_told_nothing_ahead(forecast: Forecast, zone: ZoneInfo) -> None:
    assert isinstance(forecast, WithheldForecast)
    text = answer(forecast, zone=zone, settings=OrderSettings()).text
    today = civil_date(forecast.as_of, zone)
    assert_nothing_ahead(text, today=today)
    near = forecast.appointment is not None and forecast.appointment.order_by <= today + timedelta(
        days=NEAR_DAYS
    )
    if near and forecast.order_below_l is not None:
        (below,) = thresholds_in(text)
        assert forecast.order_below_l <= below <= forecast.order_below_l + ORDER_BELOW_STEP_L
    else:
        assert thresholds_in(text) == []


@pytest.mark.parametrize(
    "leak",
    [
        "Order about 500 litres.", "about 12 days are left", "It lasts 3 weeks.", "Order by Wed 15 January.",
        "delivery takes 3 to 10 working days", "Order any day from Mon 13 to Fri 17 January.",
    ],
)  # fmt: skip
def test_the_check_of_withheld_answers_sees_every_kind_of_leak(leak):
    """A date, a count or a quantity put into a text is refused by the check that the property uses."""
    with pytest.raises(AssertionError):
        assert_nothing_ahead(f"Please look at the tank. {leak}", today=TODAY)


@pytest.mark.parametrize(("code", "text"), REASONS)
def test_the_check_of_withheld_answers_lets_the_past_be_told(code, text):
    """What was seen, when, and how much of it is gone may be said."""
    assert code
    assert_nothing_ahead(text, today=TODAY)


# ---- told: every figure is the engine's own


@st.composite
def told_forecasts(draw) -> tuple[ToldForecast, ZoneInfo, OrderSettings]:
    """Forecasts from falling litres paths through the engine's own dates and advice, about any day of the year."""
    as_of, zone = draw(MOMENTS), draw(ZONES)
    first = civil_date(as_of, zone)
    low = draw(st.integers(0, 6))
    how = OrderSettings(
        lead_days=(low, low + draw(st.integers(0, 6))),
        min_drop_l=draw(st.sampled_from([100.0, 500.0, 900.0])),
        risk=draw(st.sampled_from([0.002, 0.005, 0.05, 0.5])),
        look_every_days=draw(st.integers(0, 7)),
    )
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    days = draw(st.sampled_from([30, 120, 250]))
    now = draw(st.floats(40.0, 1100.0)) + draw(st.floats(0.1, 60.0)) * rng.standard_normal(60)
    burned = draw(st.floats(0.05, 30.0)) * rng.lognormal(0.0, 0.4, (60, days))
    litres = now[:, None] - np.cumsum(burned, axis=1)
    p_dry = chance_dry(run_dry_days(litres, heel_l=HEEL_L), days=days)
    band = LitresBand(*np.quantile(now, [0.1, 0.5, 0.9]).tolist())
    order = advise_order(litres, p_dry, now_l=now, first=first, safe_fill_l=SAFE_FILL_L, settings=how)
    dates = RunDryDates(
        *(run_dry_date(p_dry, first=first, chance=c) for c in (0.02, 0.05, 0.1, 0.5, 0.9, 0.95))
    )
    middle = np.median(litres, axis=0)
    rows = tuple(
        DayOutlook(first + timedelta(days=i), 0.0, float(middle[i]), 0.0, float(p_dry[i]), 0.0, 0.0, 0.0, 0.0)
        for i in range(days)
    )
    seen = draw(st.none() | st.integers(0, 200))
    last = None if seen is None else LastTrusted(as_of - timedelta(hours=seen), float(now[0]))
    forecast = gate(
        Numbers(band, dates, order, rows), as_of=as_of, reasons=[Reason("x", State.WIDE, "Known roughly.")],
        horizon_days=days - 1, last_trusted=last, earlier=None, order_by=order.latest,
    )  # fmt: skip
    assert isinstance(forecast, ToldForecast)
    return forecast, zone, how


@calm
@given(told_forecasts())
def test_the_litres_said_are_the_engines_rounded_to_what_is_known(made):
    """Each of the three figures is the engine's own, never finer than its spread, never below none."""
    forecast, zone, how = made
    band = forecast.litres
    step = rounding_step(max((band.p90 - band.p10) / SD_PER_BAND, 1.0))
    said = answer(forecast, zone=zone, settings=how).sentence.split(" left")[0]
    spread = re.search(
        r"left \(([\d,]+) to ([\d,]+) litres\)", answer(forecast, zone=zone, settings=how).text
    )
    middle = re.search(r"About ([\d,]+) litres? (?:are|is)", said)
    pairs = [(middle.group(1), band.p50)] if middle else []
    pairs += [(spread.group(1), band.p10), (spread.group(2), band.p90)] if spread else []
    assert middle or said == "Hardly any oil is"
    for text, value in pairs:
        assert abs(number(text) - max(value, 0.0)) <= step / 2 + 1e-6
        assert number(text) % step == pytest.approx(0.0, abs=1e-6)


@calm
@given(told_forecasts())
@example(
    (
        _told(_window(date(2025, 1, 3), date(2025, 1, 14))),
        LONDON,
        OrderSettings(),
    )
)
def test_the_order_said_is_the_engines(made):
    """Quantity, days and lead time in the sentence are those of the advice; no day before today is said."""
    forecast, zone, how = made
    order, today = forecast.order, civil_date(forecast.as_of, zone)
    sentence = answer(forecast, zone=zone, settings=how).sentence
    assume(order.note in ("window", "order_today"))
    assert order.litres is not None
    assert order.latest is not None
    assert order.earliest is not None
    (ordering,) = re.findall(r"Order about .*?\.(?= )", sentence)
    assert [number(q) for q in order_quantities_in(ordering)] == [order.litres]
    assert number(re.findall(r"about ([\d,]+) litres", ordering)[0]) == order.litres
    if order.note == "order_today":
        assert " today;" in ordering
        assert dates_in(ordering, today=today) == []
        assert order.latest <= today
    else:
        first, last = max(order.earliest, today), order.latest
        assert dates_in(ordering, today=today) == ([first] if first == last else [first, last])
    low, high = how.lead_days
    said = re.search(r"delivery takes (\d+)(?: to (\d+))? working days?\.", ordering)
    if said:
        assert (int(said.group(1)), int(said.group(2) or said.group(1))) == (low, high)
    else:
        assert (low, high) == (0, 0)
        assert "same working day" in ordering


@calm
@given(told_forecasts())
def test_the_chances_said_are_those_of_the_daily_rows(made):
    """By a date said with one chance in N the rows' own chance is first at least 1/N, in the right order."""
    forecast, zone, how = made
    today = civil_date(forecast.as_of, zone)
    sentence = answer(forecast, zone=zone, settings=how).sentence
    (said,) = re.findall(r"If nothing is ordered, .*?\.(?: |$)", sentence)
    by = {d.date: d.p_dry for d in forecast.daily}
    told = re.findall(r"1 (?:chance )?in (\d+)", said)
    dates = dates_in(said, today=today)
    if not dates:
        assert told == ["10"]
        assert "less than" in said
        assert f"within {forecast.horizon_days} days" in said
        assert max(by.values()) < 0.1
        return
    assert dates == sorted(dates)
    assert len(dates) == len(told)
    for day, one_in in zip(dates, told, strict=True):
        chance = 1 / int(one_in)
        assert by[day] >= chance - 1e-9
        assert all(p < chance - 1e-9 for d, p in by.items() if d < day)


@calm
@given(told_forecasts())
def test_no_told_sentence_holds_a_figure_that_is_none(made):
    """No sentence says a minus, nan or None, says days before today as ahead, or breaks a plural."""
    forecast, zone, how = made
    text = answer(forecast, zone=zone, settings=how).text
    assert not re.search(r"\bnan\b|None|\binf\b|!|\(-|\b-\d|\b1 days|\b1 litres", text)
    ahead = text.split("Last level of")[0]
    assert all(
        d >= civil_date(forecast.as_of, zone) for d in dates_in(ahead, today=civil_date(forecast.as_of, zone))
    )


@calm
@given(told_forecasts())
def test_the_winters_said_are_never_more_than_the_risk_accepted(made):
    """Less often than one winter in N: N cycles of the accepted risk come to no more than one."""
    forecast, _, how = made
    text = risk_text(forecast, how)
    if forecast.order.litres is None or len(forecast.daily) <= 182:
        assert text is None
        return
    assert text is not None
    burned = forecast.litres.p50 - forecast.daily[182].p50
    a_winter = how.risk * max(burned / forecast.order.litres, 1.0)
    said = re.search(r"one winter in ([\d,]+)\.", text)
    if said:
        assert number(said.group(1)) >= 2
        assert a_winter <= 1 / number(said.group(1)) + 1e-9
    else:
        assert "in any winter" in text
        assert a_winter > 1 / 3 - 1e-9 or 1 / a_winter < 2


def test_the_gauge_threshold_in_words_covers_the_fullest_burn():
    """Read on the gauge, the threshold leaves enough for the burn until a delivery in all but the accepted risk."""
    falling = 500.0 - 12.0 * np.arange(1, 41)[None] * np.linspace(0.8, 1.2, 50)[:, None]
    how = OrderSettings(lead_days=(3, 3))
    below = order_below_l(falling, now_l=np.full(50, 500.0), first=TODAY, heel_l=HEEL_L, settings=how)
    appointment = Appointment(TODAY, AT - timedelta(days=9))
    (said,) = thresholds_in(_say(_withheld(appointment=appointment, order_below_l=below)))
    assert below is not None
    assert below <= said <= below + ORDER_BELOW_STEP_L


def test_a_told_answer_is_seen_by_the_check_of_withheld_ones():
    """The sentence of a told forecast holds what a withheld one must not: the check is no empty one."""
    sentence = _say(_told(_window(date(2025, 1, 17), date(2025, 1, 24))))
    assert order_quantities_in(sentence) == ["600"]
    assert days_ahead_in(sentence) == ["10 working days"]
    assert len(dates_in(sentence, today=TODAY)) == 4


@pytest.mark.parametrize(
    ("items", "expected"),
    [(["oil"], "oil"), (["oil", "sun"], "oil and sun"), (["oil", "sun", "wood"], "oil, sun and wood")],
)
def test_a_list_reads_as_in_a_sentence(items, expected):
    """Commas between all but the last two."""
    assert list_text(items) == expected
