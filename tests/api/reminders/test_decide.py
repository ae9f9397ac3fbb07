"""When something is said: once for each cause, in time, not too often, and through every silence at the end."""

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.reminders.decide import Decision, decide
from api.reminders.known import Cause, Known, OpenOrder, Said, Silence
from forecaster.confidence import Appointment, ToldForecast
from forecaster.states import State
from tests.api.reminders.made import NOW, TODAY, known, said, told, withheld

Decide = Callable[[Known], tuple[Decision, ...]]
DAY = timedelta(days=1)


def causes(what: Known) -> list[Cause]:
    """Name what is said."""
    return [decision.cause for decision in decide(what)]


def test_a_reminder_comes_in_the_window() -> None:
    """Ten days before the last safe day one is reminded; a day earlier not; before the window not."""
    assert causes(known(told(latest=10))) == [Cause.ORDER]
    assert causes(known(told(latest=11))) == []
    assert causes(known(told(latest=6, earliest=1))) == []
    assert causes(known(told(latest=None, note="no_need"))) == []


def test_an_order_without_a_window_is_reminded_of_too() -> None:
    """Where the smallest delivery does not fit yet, or the day has passed, the reminder comes all the same."""
    assert causes(known(told(latest=5, earliest=8, note="no_safe_window"))) == [Cause.ORDER]
    assert causes(known(told(latest=-3, note="order_today"))) == [Cause.ORDER]


def test_said_once_and_again_only_with_cause() -> None:
    """After a reminder nothing for 72 hours; then again, and a second person hears it; answered: no more."""
    first = decide(known(told(latest=9)))[0]
    log = (said(first, NOW),)
    for hours, expected in ((1, []), (71, []), (72, [Cause.ORDER])):
        now = NOW + timedelta(hours=hours)
        assert causes(known(told(now, latest=9 - hours // 24), now, said=log)) == expected
    later = NOW + timedelta(hours=72)
    assert decide(known(told(later, latest=6), later, said=log))[0].again
    answered = (said(first, NOW, acknowledged=True),)
    assert causes(known(told(later, latest=6), later, said=answered)) == []


def test_said_again_where_the_date_moves_earlier() -> None:
    """A date that moves earlier by four days is said again at once, by three days or later it is not."""
    first = decide(known(told(latest=9)))[0]
    log = (said(first, NOW, acknowledged=True),)
    now = NOW + DAY
    assert causes(known(told(now, latest=4), now, said=log)) == [Cause.ORDER]
    assert causes(known(told(now, latest=5), now, said=log)) == []
    assert causes(known(told(now, latest=10), now, said=log)) == []


def test_the_last_day_is_said_for_itself() -> None:
    """On the last day less one look it is said once more, also to who had answered, but not to who ordered."""
    first = decide(known(told(latest=9)))[0]
    log = (said(first, NOW, acknowledged=True),)
    now = NOW + 8 * DAY
    last = known(told(now, latest=1), now, said=log)
    assert causes(last) == [Cause.LAST_DAY]
    placed = OpenOrder("o1", TODAY, now.date() + 3 * DAY)
    assert causes(replace(last, orders=(placed,))) == []


def test_a_tank_out_of_sight_keeps_its_appointment() -> None:
    """The sensor is dead; when the promised date is near, one is told to read the gauge, and on the day again."""
    assert causes(known(withheld(order_by=11), told_last=NOW - DAY)) == []
    near = known(withheld(order_by=10))
    assert causes(near) == [Cause.ORDER]
    log = (said(decide(near)[0], NOW, acknowledged=True),)
    day = NOW + 9 * DAY
    assert causes(known(withheld(day, order_by=1), day, said=log)) == [Cause.LAST_DAY]


def test_a_forecast_that_is_not_renewed_keeps_its_appointment() -> None:
    """A told forecast of three days ago is told no more, but the date it promised is reminded of."""
    old = known(told(NOW - 3 * DAY, latest=9), NOW)
    assert old.seen is None
    assert old.order_by == TODAY + 6 * DAY
    assert causes(old) == [Cause.ORDER]


def test_an_unanswered_question_does_not_lose_the_date() -> None:
    """A question nobody answers for three weeks is asked once a week, and the order date still comes."""
    log: tuple[Said, ...] = ()
    heard: list[tuple[int, Cause]] = []
    for day in range(25):
        now = NOW + day * DAY
        forecast = withheld(now, state=State.CHECK, code="unit", order_by=24 - day)
        what = known(forecast, now, told_last=NOW - DAY, said=log)
        for decision in decide(what):
            heard.append((day, decision.cause))
            log = (*log, said(decision, now))
    assert heard == [
        *((1, Cause.QUESTION), (8, Cause.QUESTION)),
        *((14, Cause.ORDER), (17, Cause.ORDER), (21, Cause.ORDER), (23, Cause.LAST_DAY)),
    ]


def test_urgent_comes_at_once_and_counts_against_nothing() -> None:
    """What is urgent breaks through silences and limits, and is repeated daily until somebody answers."""
    silence = Silence("s", NOW - DAY, NOW + 10 * DAY)
    many = tuple(
        Said(Cause.ORDER, str(i), None, NOW - DAY, False, NOW, True) for i in range(5)
    )  # the week's three are used up
    what = known(withheld(state=State.URGENT, code="fast_loss", order_by=40), silences=(silence,), said=many)
    decision = decide(what)[0]
    assert (decision.cause, decision.subject, decision.urgent) == (Cause.URGENT, "fast_loss", True)
    log = (*many, said(decision, NOW))
    for hours, expected in ((23, []), (24, [Cause.URGENT])):
        now = NOW + timedelta(hours=hours)
        forecast = withheld(now, state=State.URGENT, code="fast_loss", order_by=40)
        assert causes(known(forecast, now, silences=(silence,), said=log)) == expected


def test_a_late_tanker_is_chased() -> None:
    """A promised day that has passed is asked about, every 72 hours while nobody answers."""
    order = OpenOrder("o1", TODAY - 9 * DAY, TODAY - DAY)
    what = known(told(latest=-2, note="order_today"), orders=(order,))
    assert causes(what) == [Cause.LATE]
    log = (said(decide(what)[0], NOW),)
    for hours, expected in ((71, []), (72, [Cause.LATE])):
        now = NOW + timedelta(hours=hours)
        assert (
            causes(known(told(now, latest=-5, note="order_today"), now, orders=(order,), said=log))
            == expected
        )


def test_an_order_without_promise_is_chased_after_the_longest_lead() -> None:
    """Placed on a Friday with ten working days at most, it is asked about on the Saturday a fortnight later."""
    placed = OpenOrder("o1", date(2026, 1, 9), None)
    friday = datetime(2026, 1, 23, 12, tzinfo=NOW.tzinfo)
    assert causes(known(told(friday, latest=30), friday, orders=(placed,))) == []
    assert causes(known(told(friday + DAY, latest=30), friday + DAY, orders=(placed,))) == [Cause.LATE]


def test_a_promise_that_may_be_too_late_is_told() -> None:
    """Where the boiler may stop before the promised day, one is told to ask for an earlier one."""
    order = OpenOrder("o1", TODAY, TODAY + 8 * DAY)
    assert causes(known(told(latest=0, p05=7, note="order_today"), orders=(order,))) == [Cause.TIGHT]
    assert causes(known(told(latest=0, p05=9, note="order_today"), orders=(order,))) == []


def test_a_silence_ends_by_itself_and_the_last_day_breaks_through_P22() -> None:  # noqa: N802
    """P22: silent before, heard on the last day less one look, and told when the silence is over."""
    check_silence(decide)


def check_silence(decider: Decide) -> None:
    """Ask on each day of a silence and after it."""
    silence = Silence("s", NOW - DAY, NOW + 14 * DAY)
    heard: list[tuple[int, Cause]] = []
    log: tuple[Said, ...] = ()
    for day in range(17):
        now = NOW + day * DAY
        what = known(told(now, latest=9 - day, note="window" if day < 9 else "order_today"), now)
        for decision in decider(replace(what, silences=(silence,), said=log)):
            heard.append((day, decision.cause))
            log = (*log, said(decision, now, acknowledged=True))
    assert heard == [(8, Cause.ORDER), (15, Cause.SILENCE_ENDED)]


def test_a_year_of_noisy_dates_gives_one_reminder_a_refill_P15() -> None:  # noqa: N802
    """P15: a hundred tanks for a year, their order dates jumping by what 10 mm of noise is worth."""
    check_one_reminder_a_refill(decide, tanks=100)


def check_one_reminder_a_refill(decider: Decide, *, tanks: int) -> None:
    """Live a year with each tank: burn, be reminded, answer, order, be filled; and count."""
    rng = np.random.default_rng(20260110)
    for _ in range(tanks):
        left_d, ordered, log, heard, refills = float(rng.integers(15, 90)), None, (), Counter[int](), 0
        comes = 0
        for day in range(365):
            now = NOW + day * DAY
            left_d -= 1.0
            if ordered is not None and day >= comes:
                left_d, ordered, refills = 80.0, None, refills + 1
                log = tuple(replace(entry, of_this_refill=False) for entry in log)
            latest = round(
                left_d - 8.0 + rng.normal(0.0, 0.5)
            )  # 10 mm are about a day's burn, and many readings are averaged
            orders = (OpenOrder(str(refills), ordered, None),) if ordered is not None else ()
            for decision in decider(
                known(told(now, latest=latest, earliest=-20), now, orders=orders, said=log)
            ):
                heard[refills] += 1
                log = (*log, said(decision, now, acknowledged=True))
                if ordered is None and rng.random() < 0.8:
                    ordered, comes = now.date(), day + int(rng.integers(3, 9))
            if heard[refills] and ordered is None and left_d < 12.0:
                ordered, comes = now.date(), day + 4
            log = log[-8:]
        assert refills >= 3
        assert set(heard.values()) <= {1}, heard


@st.composite
def lives(draw: st.DrawFn) -> list[tuple[timedelta, Known]]:
    """Draw weeks of looks at a tank: told or withheld, orders and silences, dates that jump as they like."""
    looks, now = [], NOW
    for _ in range(draw(st.integers(5, 40))):
        step = timedelta(hours=draw(st.integers(1, 60)))
        now += step
        day = draw(st.integers(-20, 40))
        state = draw(st.sampled_from(list(State)))
        forecast = (
            told(now, latest=day, earliest=day - 10, state=state)
            if state.is_told
            else withheld(now, state=state, code=draw(st.sampled_from(["stale", "unit"])), order_by=day)
        )
        orders = ()
        if draw(st.booleans()):
            orders = (OpenOrder("o", TODAY, TODAY + draw(st.integers(0, 60)) * DAY),)
        silences = ()
        if draw(st.booleans()):
            begins = now - timedelta(days=draw(st.integers(0, 20)))
            silences = (Silence(f"{begins:%d}", begins, begins + 15 * DAY),)
        looks.append((step, known(forecast, now, orders=orders, silences=silences, told_last=NOW - 5 * DAY)))
    return looks


@given(looks=lives(), answers=st.booleans())
def test_never_more_than_three_in_a_week_P15(looks: list[tuple[timedelta, Known]], answers: bool) -> None:  # noqa: N802
    """P15: whatever happens, no week has more than three reminders but the urgent ones."""
    log: tuple[Said, ...] = ()
    for _, what in looks:
        for decision in decide(replace(what, said=log)):
            log = (*log, said(decision, what.now, acknowledged=answers))
    at = [entry.decided_at for entry in log if not entry.urgent]
    assert all(sum(timedelta() <= other - one < timedelta(days=7) for other in at) <= 3 for one in at)


@given(looks=lives())
def test_deciding_twice_says_nothing_new(looks: list[tuple[timedelta, Known]]) -> None:
    """Asked again at the same instant, with what was said noted, there is nothing more to say."""
    log: tuple[Said, ...] = ()
    for _, what in looks:
        for decision in decide(replace(what, said=log)):
            log = (*log, said(decision, what.now))
        assert decide(replace(what, said=log)) == ()


@given(looks=lives())
def test_an_order_placed_ends_the_reminders_to_order(looks: list[tuple[timedelta, Known]]) -> None:
    """With an order under way nobody is told to order."""
    for _, what in looks:
        if what.orders:
            assert not {Cause.ORDER, Cause.LAST_DAY} & set(causes(what))


@given(looks=lives())
def test_a_decision_promises_to_write_and_ends(looks: list[tuple[timedelta, Known]]) -> None:
    """Every decision names a day in the future by which another would come, and an end."""
    for _, what in looks:
        for decision in decide(what):
            assert decision.hear_by > what.today
            assert what.now < decision.not_after <= what.now + timedelta(hours=80)


@pytest.mark.parametrize("kept", [None, Appointment(TODAY, NOW)])
def test_a_promise_that_stands_is_the_date_to_order_by(kept: Appointment | None) -> None:
    """Where an earlier promise stands because nobody saw the tank since, the earlier date counts."""
    forecast: ToldForecast = replace(told(latest=20), appointment=kept)
    assert known(forecast).order_by == (kept.order_by if kept else TODAY + 20 * DAY)


@pytest.mark.parametrize("code", ["loss", "slow_loss"])
def test_oil_that_leaves_the_tank_is_told_at_once_and_again_when_nobody_answers(code: str) -> None:
    """No two days' wait and no limit of the week holds a loss back; again after three days, then each week."""
    lost = known(withheld(state=State.CHECK, code=code, order_by=60), told_last=NOW - timedelta(hours=24))
    (first,) = decide(lost)
    assert (first.cause, first.again, first.urgent) == (Cause.LOSS, False, True)
    order = decide(known(told(latest=9)))[0]
    busy = (said(order, NOW - DAY), said(order, NOW - 4 * DAY))
    assert Cause.LOSS in causes(replace(lost, said=busy))
    days = []
    log: tuple[Said, ...] = ()
    for day in range(15):
        now = NOW + day * DAY
        forecast = withheld(now, state=State.CHECK, code=code, order_by=60)
        for decision in decide(known(forecast, now, told_last=NOW - DAY, said=log)):
            assert decision.cause is Cause.LOSS
            assert decision.again == (day > 0)
            days.append(day)
            log += (said(decision, now),)
    assert days == [0, 3, 10]


def test_a_loss_breaks_through_a_silence_once() -> None:
    """Whoever is away hears that oil leaves the tank, and hears it once."""
    silence = Silence("s", NOW - DAY, NOW + 20 * DAY)
    lost = known(withheld(state=State.CHECK, code="loss", order_by=60), silences=(silence,))
    (first,) = decide(lost)
    assert first.cause is Cause.LOSS
    later = NOW + 5 * DAY
    again = withheld(later, state=State.CHECK, code="loss", order_by=60)
    assert causes(known(again, later, silences=(silence,), said=(said(first, NOW),))) == []
