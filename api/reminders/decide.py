"""Whether anything is to be said now: a pure function of what is known.

Flow     known -> **decisions** -> words, outbox
Rule     One cause has one reminder. It is said again only if the day to order by has moved earlier by
         more than 3 days, or after 72 hours in which nobody answered. Never more than three in a week,
         of which one for questions and two for ordering are the most, so that the last day always has
         its own; what is urgent is not counted. Oil that leaves the tank unexplained is told at once and
         not counted either: it is no question that can wait for two days, nor for a week with room. It is
         said again after 72 hours, then each week. A silence holds back all but the urgent; the last day
         to order breaks through it, and a loss once. An order that was placed ends the reminders to order.
Source   hysteresis and repeat interval as alert managers have them; the numbers are assumptions
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from api.reminders.known import Cause, Known, OpenOrder, Said
from forecaster.civil import civil_date
from forecaster.reorder.days import nth_working_day, working_days
from forecaster.states import State

BEFORE_D = 10
"""A reminder to order comes so many days before the last day on which to order, within the window. [d]"""
MOVED_D = 3
"""An order date that has moved earlier by more is said again. [d]"""
WEEK = timedelta(days=7)
UNSEEN = timedelta(hours=48)
"""A question is asked once no date could be given for so long."""
KEPT = timedelta(hours=80)
"""A message that could not be delivered within that is not sent any more."""
REPEAT = {
    Cause.URGENT: timedelta(hours=24),
    Cause.LAST_DAY: timedelta(hours=72),
    Cause.LATE: timedelta(hours=72),
    Cause.TIGHT: timedelta(hours=72),
    Cause.ORDER: timedelta(hours=72),
    Cause.LOSS: timedelta(days=7),
    Cause.QUESTION: timedelta(days=7),
    Cause.SILENCE_ENDED: timedelta(days=365),
}
"""How long a reminder may stay unanswered before it is repeated."""
MOST_A_WEEK = {
    Cause.LAST_DAY: 3,
    Cause.LATE: 3,
    Cause.TIGHT: 3,
    Cause.ORDER: 2,
    Cause.QUESTION: 1,
    Cause.SILENCE_ENDED: 1,
}
"""Said only while fewer were said in the last week."""
FIRST_AGAIN = timedelta(hours=72)
"""What nobody answered is first said again after that, though it is repeated less often later."""
UNCOUNTED = frozenset({Cause.URGENT, Cause.LOSS})
"""Said however many were said before."""
LOSSES = frozenset({"loss", "slow_loss"})
"""Reasons that say that oil leaves the tank unexplained; each rests on more than one reading."""


@dataclass(frozen=True, slots=True)
class Decision:
    """Something to be said.

    Attributes
    ----------
    cause, subject
        Why, and of what: an order, a reason's code, a silence; empty for the tank itself.
    again
        Whether the same was said before and nobody answered: then a second person hears it too.
    order_by
        The day to order by that it rests on.
    hear_by
        Who hears nothing from us by that day should read the gauge.
    not_after
        Not true any more afterwards.
    """

    cause: Cause
    subject: str
    again: bool
    order_by: date | None
    hear_by: date
    not_after: datetime

    @property
    def urgent(self) -> bool:
        """Whether it counts against no limit."""
        return self.cause in UNCOUNTED


def decide(known: Known) -> tuple[Decision, ...]:
    """Decide what is to be said now, the gravest first; mostly nothing."""
    decisions: list[Decision] = []
    counted = sum(not said.urgent and known.now - said.decided_at < WEEK for said in known.said)
    for cause, subject in _wanted(known):
        last = _last(known, cause, subject)
        if last is not None and not _is_due_again(known, cause, last):
            continue
        if cause not in UNCOUNTED:
            if counted >= MOST_A_WEEK[cause]:
                continue
            counted += 1
        again = last is not None and last.acknowledged_at is None
        decisions.append(
            Decision(cause, subject, again, known.order_by, _hear_by(known, cause), _not_after(known, cause))
        )
    return tuple(decisions)


def is_last_day(known: Known) -> bool:
    """Tell whether the last day to order, less one look, has come."""
    by = known.order_by
    return by is not None and known.today >= by - timedelta(days=known.settings.look_every_days)


def is_overdue(order: OpenOrder, known: Known) -> bool:
    """Tell whether an order should have come by now: promised for a day that has passed, or too long ago."""
    if order.promised_for is not None:
        return order.promised_for < known.today
    days = (known.today - order.placed_on).days
    if days <= 0:
        return False
    longest = np.array([known.settings.lead_span[1]], np.int64)
    working = working_days(order.placed_on, 1, settings=known.settings)
    return bool(working[nth_working_day(working, np.array([0]), longest)][0, 0] < days)


def _wanted(known: Known) -> Iterator[tuple[Cause, str]]:
    """What there would be to say, had nothing been said yet; silences heeded."""
    silent = any(silence.holds(known.now) for silence in known.silences) and not is_last_day(known)
    forecast = known.forecast
    if forecast is not None and known.is_fresh and forecast.state is State.URGENT:
        yield Cause.URGENT, forecast.reasons[0].code
    loses = _loses(known)
    if loses and (not silent or _last(known, Cause.LOSS, "") is None):
        yield Cause.LOSS, ""
    if silent:
        return
    yield from _about_orders(known)
    ordering = _about_ordering(known)
    if ordering is not None:
        yield ordering, ""
    elif _is_question(known) and not loses:
        yield Cause.QUESTION, _question(known)
    for silence in known.silences:
        ended = silence.lifted_at is None and silence.ends_at <= known.now < silence.ends_at + WEEK
        if ended:
            yield Cause.SILENCE_ENDED, silence.name


def _about_orders(known: Known) -> Iterator[tuple[Cause, str]]:
    for order in known.orders:
        if is_overdue(order, known):
            yield Cause.LATE, order.name
        elif order.promised_for is not None and known.seen is not None:
            early = known.seen.run_dry.p05
            if early is not None and early <= order.promised_for:
                yield Cause.TIGHT, order.name


def _about_ordering(known: Known) -> Cause | None:
    """Whether it is time to order, or the day is near and the tank cannot be seen."""
    by = known.order_by
    if known.orders or by is None or (by - known.today).days > BEFORE_D:
        return None
    seen = known.seen
    if seen is not None and seen.order.note == "window":
        earliest = seen.order.earliest
        if earliest is not None and earliest > known.today:
            return None
    if is_last_day(known):
        first = _last(known, Cause.ORDER, "")
        if _last(known, Cause.LAST_DAY, "") is not None or (first is not None and _was_early(first, known)):
            return Cause.LAST_DAY
    return Cause.ORDER


def _was_early(said: Said, known: Known) -> bool:
    """Whether a reminder to order was said before the last day: then that day has its own."""
    look = timedelta(days=known.settings.look_every_days)
    return said.order_by is None or civil_date(said.decided_at, known.zone) < said.order_by - look


def _loses(known: Known) -> bool:
    forecast = known.forecast
    return (
        forecast is not None
        and known.is_fresh
        and forecast.state is State.CHECK
        and any(reason.code in LOSSES for reason in forecast.reasons)
    )


def _is_question(known: Known) -> bool:
    return (
        known.seen is None
        and known.told_last is not None
        and known.now - known.told_last >= UNSEEN
        and (known.forecast is None or known.forecast.state is not State.URGENT)
    )


def _question(known: Known) -> str:
    forecast = known.forecast
    if forecast is None or not known.is_fresh or not forecast.reasons:
        return "not_renewed"
    return forecast.reasons[0].code


def _last(known: Known, cause: Cause, subject: str) -> Said | None:
    """The newest of the same cause: of this refill; about an order or a silence, of any."""
    same = [
        said
        for said in known.said
        if said.cause is cause and said.subject == subject and (said.of_this_refill or subject)
    ]
    return max(same, key=lambda said: said.decided_at, default=None)


def _is_due_again(known: Known, cause: Cause, last: Said) -> bool:
    moved = (
        known.order_by is not None
        and last.order_by is not None
        and (last.order_by - known.order_by).days > MOVED_D
    )
    wait = REPEAT[cause]
    if cause is Cause.LOSS and sum(said.cause is cause and said.of_this_refill for said in known.said) == 1:
        wait = FIRST_AGAIN
    return moved or (last.acknowledged_at is None and known.now - last.decided_at >= wait)


def _hear_by(known: Known, cause: Cause) -> date:
    """The day by which another message would have come."""
    if cause is Cause.SILENCE_ENDED:
        ahead = known.order_by if known.seen is not None else None
        most = known.today + timedelta(days=30)
        return min(max(ahead, known.today + timedelta(days=1)), most) if ahead is not None else most
    return known.today + timedelta(days=REPEAT[cause].days + 1)


def _not_after(known: Known, cause: Cause) -> datetime:
    """A message that names the last day is not true any more once that day is over."""
    end = known.now + KEPT
    if cause in (Cause.ORDER, Cause.LAST_DAY) and known.seen is not None and known.order_by is not None:
        days = (known.order_by - known.today).days + 1
        end = min(end, known.now + timedelta(days=max(days, 1)))
    return end
