"""What a reminder says: the same sentences as the page and the command, and what to do.

No date ahead is said unless the forecast is told; the one exception is our own promise, by which day
another message would have come.

Flow     decision, known -> **words** -> mail, webhook, further ways
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from api.reminders.decide import Decision, is_overdue
from api.reminders.known import Cause, Known, OpenOrder
from forecaster.civil import civil_date
from forecaster.phrases import day_text, moment_text
from forecaster.wording import ESTIMATE, NOT_AN_ALARM, answer

DO_NOT_RUN_DRY = (
    "Do not let the boiler run dry: air and sludge get into the line, the burner locks out, and a "
    "technician has to come."
)
"""Common practice, no source."""
NO_RESET = (
    "If the burner has locked out, do not keep pressing reset: unburnt oil can collect. Call a qualified "
    "technician."
)
"""Common practice, no source."""
AT_A_LEAK = (
    "If you suspect a leak or a spill: shut the valve at the tank, keep the oil away from drains with earth "
    "or sand, do not hose it or use detergent, and call the pollution line{line}, your insurer and a technician."
)
"""UK government advice (GOV.UK and the Environment Agency, on oil tanks and spills)."""
LEAKS = frozenset({"fast_loss", "ticket_without_rise"})
SIGNED = "Sent by Dipcast for the tank {name}."


@dataclass(frozen=True, slots=True)
class Message:
    """A reminder in words: what it is about, and its paragraphs; the promise to write is one of them.

    ``told`` says whether it speaks of a forecast that could be told when it was written.
    """

    title: str
    paragraphs: tuple[str, ...]
    promise: str
    told: bool

    @property
    def text(self) -> str:
        """All of it as plain text."""
        return "\n\n".join(self.paragraphs)


def write_message(
    decision: Decision, known: Known, *, name: str, page: str, pollution_line: str = ""
) -> Message:
    """Put a decision into words.

    Parameters
    ----------
    name
        What people call the tank.
    page
        Address of the tank's page; empty where there is none that the reader can reach.
    pollution_line
        Whom to call about a spill at this place; empty where the operator has not said.
    """
    order = next((order for order in known.orders if order.name == decision.subject), None)
    promise = hear_by_text(decision.hear_by, today=known.today)
    paragraphs = [_lead(decision, known, order), *_before(decision, known)]
    paragraphs += _answer(known)
    paragraphs += _cautions(decision, known, pollution_line)
    if page:
        paragraphs.append(f"{_what_to_do(decision)}: {page}")
    paragraphs += [promise, SIGNED.format(name=name)]
    told = known.seen is not None
    return Message(_title(decision, known, name), tuple(dict.fromkeys(paragraphs)), promise, told)


def hear_by_text(day: date, *, today: date) -> str:
    """Promise to write, and say what to do if nothing comes: mail is not sure to arrive.

    Examples
    --------
    >>> hear_by_text(date(2026, 1, 14), today=date(2026, 1, 10))
    'If you hear nothing from us by Wed 14 January, read the gauge.'
    """
    return f"If you hear nothing from us by {day_text(day, year=day.year != today.year)}, read the gauge."


def _title(decision: Decision, known: Known, name: str) -> str:
    match decision.cause:
        case Cause.URGENT:
            said = "Please look at the tank now"
        case Cause.LAST_DAY if known.seen is not None:
            said = "Order heating oil now"
        case Cause.LATE:
            said = "The oil that was ordered has not come"
        case Cause.TIGHT:
            said = "The oil that was ordered may come too late"
        case Cause.ORDER if known.seen is not None:
            said = "Time to order heating oil"
        case Cause.ORDER | Cause.LAST_DAY:
            said = "Read the gauge today"
        case Cause.LOSS:
            said = "Oil may be leaving the tank"
        case Cause.QUESTION:
            said = "A question about the tank"
        case _:
            said = "Reminders are on again"
    return f"{said} ({name})"


def _lead(decision: Decision, known: Known, order: OpenOrder | None) -> str:
    match decision.cause:
        case Cause.URGENT:
            return "Something may be wrong at the tank. Please look at it now, from a safe distance."
        case Cause.LATE | Cause.TIGHT if order is not None:
            return _about_order(order, known)
        case Cause.LAST_DAY if known.seen is not None:
            return "The last safe day to order has come. Order now, or tell us that you have."
        case Cause.ORDER if known.seen is not None:
            return "It is time to order heating oil."
        case Cause.ORDER | Cause.LAST_DAY:
            return (
                "It may be time to order heating oil, and we cannot see the tank: read the gauge today, and "
                "order if in doubt."
            )
        case Cause.LOSS:
            return (
                "More oil leaves the tank than the weather and your habits explain. Please look at the tank "
                "today, from a safe distance."
            )
        case Cause.QUESTION:
            return "No date can be given until one thing is cleared up."
        case _:
            return "The time without reminders is over; from now on we remind you again."


def _before(decision: Decision, known: Known) -> Iterator[str]:
    """Say that it was said before and nobody answered: a second person would not know why they hear it."""
    if not decision.again:
        return
    first = min(
        said.decided_at
        for said in known.said
        if (said.cause, said.subject) == (decision.cause, decision.subject) and said.acknowledged_at is None
    )
    yield (
        f"We wrote about this on {_day(civil_date(first, known.zone), known.today)}, and nobody has told us "
        "that they read it. Tell us on the page that you did, and it is not repeated."
    )


def _about_order(order: OpenOrder, known: Known) -> str:
    placed = _day(order.placed_on, known.today)
    if is_overdue(order, known):
        promise = order.promised_for
        due = f"was promised for {_day(promise, known.today)}" if promise is not None else "is overdue"
        return (
            f"The oil ordered on {placed} {due} and we know of no delivery. If it has come, tell us; if not, "
            "ask the supplier today. The answer below no longer counts on that oil: do not order a second "
            "time before the first order is called off."
        )
    assert order.promised_for is not None
    return (
        f"The oil ordered on {placed} is promised for {_day(order.promised_for, known.today)}, and the boiler "
        "may stop before it comes. Ask the supplier to come earlier."
    )


def _answer(known: Known) -> Iterator[str]:
    """The answer as it stands everywhere, or how long none could be given."""
    forecast = known.forecast
    if forecast is not None and known.is_fresh:
        said = answer(forecast, zone=known.zone, settings=known.settings)
        yield said.sentence
        yield from said.reasons
        yield from said.cautions
    elif forecast is not None:
        at = moment_text(forecast.as_of, known.zone, today=known.today)
        yield f"Our forecast could not be renewed since {at}, so it is not told any more. {ESTIMATE}"


def _cautions(decision: Decision, known: Known, pollution_line: str) -> Iterator[str]:
    if decision.cause in (Cause.URGENT, Cause.LOSS):
        if decision.cause is Cause.LOSS or decision.subject in LEAKS:
            yield AT_A_LEAK.format(line=f" ({pollution_line})" if pollution_line else "")
        if decision.subject == "maybe_dry":
            yield NO_RESET
        yield NOT_AN_ALARM
    elif decision.cause in (Cause.LAST_DAY, Cause.ORDER, Cause.LATE, Cause.TIGHT):
        yield DO_NOT_RUN_DRY
        if decision.cause is not Cause.ORDER:
            yield NO_RESET


def _what_to_do(decision: Decision) -> str:
    match decision.cause:
        case Cause.LATE | Cause.TIGHT:
            return "Tell us of the delivery, or of a new day"
        case Cause.ORDER | Cause.LAST_DAY:
            return "The whole answer, and where to tell us that you have ordered"
        case _:
            return "The whole answer"


def _day(day: date, today: date) -> str:
    return day_text(day, year=day.year != today.year)
