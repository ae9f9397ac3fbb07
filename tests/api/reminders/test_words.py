"""Reminders in words: whole, cautious, and without a date where none may be told."""

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import assume, given
from hypothesis import strategies as st

from api.reminders.decide import decide
from api.reminders.known import Cause, Known, OpenOrder, Silence
from api.reminders.words import AT_A_LEAK, NO_RESET, Message, hear_by_text, write_message
from forecaster.states import State
from forecaster.wording import ESTIMATE, NOT_AN_ALARM, ROOM_TO_EXPAND
from tests.api.reminders.days import dates_ahead, says_when
from tests.api.reminders.made import NOW, TODAY, known, said, told, withheld

PAGE = "http://localhost:8000/tanks/x"


def first_message(what: Known) -> Message:
    """Write what is decided first."""
    return write_message(decide(what)[0], what, name="Byre", page=PAGE, pollution_line="0800 80 70 60")


def test_a_reminder_to_order() -> None:
    """It says the answer's own sentence, the cautions of an order, where to go, and when we write again."""
    message = first_message(known(told(latest=9)))
    assert message.title == "Time to order heating oil (Byre)"
    assert message.paragraphs[0] == "It is time to order heating oil."
    assert "Order about 500 litres any day from Sat 10 to Mon 19 January" in message.text
    assert ESTIMATE in message.paragraphs
    assert ROOM_TO_EXPAND in message.paragraphs
    assert PAGE in message.text
    assert message.promise == "If you hear nothing from us by Wed 14 January, read the gauge."
    assert message.paragraphs[-2:] == (message.promise, "Sent by Dipcast for the tank Byre.")


def test_a_tank_out_of_sight() -> None:
    """It says what was last seen, that the promised date is near, and to read the gauge: no date, no quantity."""
    message = first_message(known(withheld(order_by=5)))
    assert message.title == "Read the gauge today (Byre)"
    assert (
        "We cannot see the tank and the date we gave is near: read the gauge today, and order if it is"
        in (message.text)
    )
    assert says_when(message.text.replace(message.promise, ""), today=TODAY) == []


def test_a_possible_leak() -> None:
    """K5, K7: it says not to hose, whom to call, and that this is no alarm."""
    message = first_message(known(withheld(state=State.URGENT, code="fast_loss")))
    assert AT_A_LEAK.format(line=" (0800 80 70 60)") in message.paragraphs
    assert NOT_AN_ALARM in message.paragraphs
    assert NO_RESET not in message.paragraphs


def test_a_tank_that_may_be_dry() -> None:
    """K3: it says not to keep pressing reset."""
    message = first_message(known(withheld(state=State.URGENT, code="maybe_dry")))
    assert NO_RESET in message.paragraphs


def test_a_late_tanker() -> None:
    """It names both days of the order, and asks."""
    order = OpenOrder("o1", TODAY - timedelta(days=9), TODAY - timedelta(days=1))
    message = first_message(known(told(latest=-2, note="order_today"), orders=(order,)))
    assert message.paragraphs[0].startswith(
        "The oil ordered on Thu 1 January was promised for Fri 9 January and we know of no delivery."
    )


def test_a_late_tanker_is_not_ordered_anew_by_mistake() -> None:
    """The answer below counts on that oil no longer, and says to order; so the message says not to order twice."""
    order = OpenOrder("o1", TODAY - timedelta(days=9), TODAY - timedelta(days=1))
    message = first_message(known(told(latest=5), orders=(order,)))
    assert "do not order a second time before the first order is called off" in message.paragraphs[0]


def test_oil_that_may_be_leaving_the_tank() -> None:
    """K5, K7: a loss that is not urgent yet has the same cautions, and a title that is no mere question."""
    message = first_message(known(withheld(state=State.CHECK, code="loss", order_by=60)))
    assert message.title == "Oil may be leaving the tank (Byre)"
    assert AT_A_LEAK.format(line=" (0800 80 70 60)") in message.paragraphs
    assert NOT_AN_ALARM in message.paragraphs
    assert says_when(message.text.replace(message.promise, ""), today=TODAY) == []


def test_who_hears_it_second_is_told_why() -> None:
    """A repeated message says when it was said before, that nobody answered, and how it stops."""
    what = known(told(latest=9))
    log = (said(decide(what)[0], NOW),)
    later = NOW + timedelta(hours=72)
    message = first_message(known(told(later, latest=6), later, said=log))
    assert message.paragraphs[1] == (
        "We wrote about this on Sat 10 January, and nobody has told us that they read it. Tell us on the page "
        "that you did, and it is not repeated."
    )


def test_a_forecast_that_could_not_be_renewed() -> None:
    """An old forecast is not told: only since when it could not be renewed."""
    what = known(told(NOW - timedelta(days=3), latest=9), NOW)
    message = first_message(what)
    assert "Our forecast could not be renewed since Wed 7 January 12:00" in message.text
    assert says_when(message.text.replace(message.promise, ""), today=TODAY) == []


@given(
    state=st.sampled_from([s for s in State if not s.is_told]),
    order_by=st.integers(-30, 60),
    age_h=st.integers(0, 100),
    overdue=st.booleans(),
    silenced=st.booleans(),
)
def test_no_date_leaves_in_a_withheld_state_P27(  # noqa: N802
    state: State, order_by: int, age_h: int, overdue: bool, silenced: bool
) -> None:
    """P27: whatever is said while the forecast is withheld or old, no day ahead is told but our own promise."""
    old = NOW - timedelta(hours=age_h)
    for forecast in (withheld(old, state=state, order_by=order_by), told(old, latest=order_by)):
        what = known(forecast, NOW, told_last=NOW - timedelta(days=9))
        assume(what.seen is None)
        if overdue:
            order = OpenOrder("o", TODAY - timedelta(days=40), TODAY - timedelta(days=2))
            what = replace(what, orders=(order,))
        if silenced:
            ended = Silence("s", NOW - timedelta(days=9), NOW - timedelta(days=1))
            what = replace(what, silences=(ended,))
        for decision in decide(what):
            message = write_message(decision, what, name="Byre", page=PAGE)
            said = message.text.replace(message.promise, "")
            assert says_when(said, today=TODAY) == []
            assert message.promise in message.paragraphs
            for word in ("None", "nan", "NaN", "-1 days", "approximately 0"):
                assert word not in message.text


def test_every_cause_has_its_words() -> None:
    """Each cause has a title and a lead of its own."""
    made = decide(known(told(latest=9)))[0]
    order = OpenOrder("", TODAY, TODAY)
    written = {
        (write_message(replace(made, cause=cause), known(orders=(order,)), name="", page="").title)
        for cause in Cause
    }
    assert len(written) == len(Cause)


def test_the_promise_names_the_year_where_it_is_another() -> None:
    """Around the new year the promise says which year."""
    assert "Fri 1 January 2027" in hear_by_text(TODAY.replace(year=2027, day=1).replace(month=1), today=TODAY)


def test_dates_are_found() -> None:
    """Dates in words and in figures are found, past ones left out, and counts of days."""
    today = date(2026, 1, 10)
    text = "Fri 9 January, Sun 11 January, 3 March 2026, 2026-01-12, 20260113, in 5 days, delivery takes 3 to 10 days"
    assert [d.isoformat() for d in dates_ahead(text, today=today)] == [
        "2026-01-11",
        "2026-03-03",
        "2026-01-12",
        "2026-01-13",
    ]
    assert says_when(text, today=today)[-1] == "in 5 days"
    assert dates_ahead("Wed 31 December", today=today) == []
    assert dates_ahead("Fri 2 January", today=date(2025, 12, 30)) == [today - timedelta(days=8)]
