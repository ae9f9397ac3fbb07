"""Whether a date may be spoken: the state of a forecast, and the value that keeps to it.

A forecast is one of two types. `ToldForecast` (state OK or WIDE) carries litres, dates and an
order; `WithheldForecast` (CHECK, STALE, BLIND, URGENT) has no such member at all, so that no door
can print what must not be said. `gate` is the only place where one of them is made.

Flow     anomalies, run-dry distribution -> **confidence** -> wording, doors
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from forecaster.states import Reason, State, worst_state

__all__ = [
    "Appointment",
    "DayOutlook",
    "Forecast",
    "LastTrusted",
    "LitresBand",
    "Numbers",
    "OrderAdvice",
    "OrderMoney",
    "Reason",
    "RunDryDates",
    "State",
    "ToldForecast",
    "WithheldForecast",
    "gate",
    "keep_appointment",
    "worst_state",
]


@dataclass(frozen=True, slots=True)
class LitresBand:
    """Bulk litres in the tank at the as-of instant, heel included. [L]"""

    p10: float
    p50: float
    p90: float


@dataclass(frozen=True, slots=True)
class RunDryDates:
    """First civil dates by which the chance of having touched the heel reaches a percentage.

    None where that does not happen within the horizon.
    """

    p02: date | None
    p05: date | None
    p10: date | None
    p50: date | None
    p90: date | None
    p95: date | None


@dataclass(frozen=True, slots=True)
class DayOutlook:
    """One civil day's end: litres left if nothing is delivered, and the chance of being dry. [L].

    Quantiles at 10, 50 and 90 %, and for the picture also at 2.5, 25, 75 and 97.5 %.
    """

    date: date
    p10: float
    p50: float
    p90: float
    p_dry: float
    p025: float
    p25: float
    p75: float
    p975: float


@dataclass(frozen=True, slots=True)
class OrderMoney:
    """What an order costs, in the money of its quotes.

    Attributes
    ----------
    quoted
        The day of the quotes.
    price_per_l, cost
        Of the advised order on the first day of its window, the delivery's fixed cost within ``cost``;
        None where the budget reaches no delivery.
    budget, limited_by_budget
        What is to be spent, if said, and whether more would be ordered without that limit.
    smallest_l, smallest_cost
        The smallest delivery to be had, and the least that any delivery costs. [L, money]
    drift_per_month
        Expected change of the prices, as a part of them.
    safe_until, waiting_cost
        The last day on which it is safe to order, and what waiting until then costs at that drift
        (negative: it saves); None where the order is due today.
    """

    quoted: date
    price_per_l: float | None
    cost: float | None
    budget: float | None
    limited_by_budget: bool
    smallest_l: float
    smallest_cost: float
    drift_per_month: float
    safe_until: date | None
    waiting_cost: float | None


@dataclass(frozen=True, slots=True)
class OrderAdvice:
    """Between which dates to order, and how many litres.

    Attributes
    ----------
    earliest, latest
        Order dates (not delivery dates). ``earliest`` is None when the smallest delivery never
        fits within the horizon, ``latest`` None when ordering is not needed within it.
    litres
        The quantity that fits on the earliest delivery day even in the fullest tank; with prices, the
        cheapest such quantity in the window, which then begins when it fits. None when no order can be
        advised, and where the budget reaches no delivery. [L]
    note
        A stable code: ``order_today``, ``window``, ``no_safe_window``, ``no_need``.
    text
        The same for people.
    money
        What it costs; None where no prices were given, or no order is advised.
    """

    earliest: date | None
    latest: date | None
    litres: float | None
    note: str
    text: str
    money: OrderMoney | None = None


@dataclass(frozen=True, slots=True)
class LastTrusted:
    """The last level that was believed: when, and how many bulk litres. [L]"""

    at: datetime
    litres: float


@dataclass(frozen=True, slots=True)
class Appointment:
    """The date promised by the last told forecast; only a tank seen or filled since may move it later."""

    order_by: date
    told_at: datetime


@dataclass(frozen=True, slots=True)
class ToldForecast:
    """A forecast that may be told: OK or WIDE."""

    as_of: datetime
    state: State
    reasons: tuple[Reason, ...]
    horizon_days: int
    litres: LitresBand
    run_dry: RunDryDates
    order: OrderAdvice
    daily: tuple[DayOutlook, ...]
    last_trusted: LastTrusted | None
    appointment: Appointment | None

    def __post_init__(self) -> None:
        if not self.state.is_told:
            raise ValueError(f"a forecast in state {self.state.name} may not carry numbers")


@dataclass(frozen=True, slots=True)
class WithheldForecast:
    """A forecast whose numbers may not be told: what was last seen, why, and what to do.

    ``order_below_l`` says at which gauge reading an order is due today: no forecast of this tank, but
    what this house may burn until a delivery. [L]
    """

    as_of: datetime
    state: State
    reasons: tuple[Reason, ...]
    horizon_days: int
    last_trusted: LastTrusted | None
    appointment: Appointment | None
    order_below_l: float | None = None

    def __post_init__(self) -> None:
        if self.state.is_told:
            raise ValueError(f"a forecast in state {self.state.name} is told, not withheld")


Forecast = ToldForecast | WithheldForecast


@dataclass(frozen=True, slots=True)
class Numbers:
    """What a forecast would say if it may be told."""

    litres: LitresBand
    run_dry: RunDryDates
    order: OrderAdvice
    daily: tuple[DayOutlook, ...]


def gate(
    numbers: Numbers | None,
    *,
    as_of: datetime,
    reasons: Sequence[Reason],
    horizon_days: int,
    last_trusted: LastTrusted | None,
    earlier: Appointment | None,
    order_by: date | None,
    order_below_l: float | None = None,
    filled_at: datetime | None = None,
) -> Forecast:
    """Let the numbers through, or keep them back.

    Parameters
    ----------
    numbers : Numbers or None
        None where none could be computed: then there must be a reason to withhold.
    reasons : sequence of Reason
        All that was found; the worst decides.
    earlier : Appointment or None
        What the last told forecast promised.
    order_by : date or None
        Latest order date computed now: from the paths when told, from the fullest burn the data
        allow when withheld; None where none is in sight.
    order_below_l : float or None
        Bulk litres below which an order is due at once. [L]
    filled_at : datetime or None
        When oil was last put in.

    Notes
    -----
    A told forecast makes its own appointment once the tank has been seen, or filled, since the earlier
    one was told. While it has not, and whenever the forecast is withheld, the earlier appointment is
    kept, and may only move earlier: the weather alone never buys time for a tank that nobody sees.
    """
    state = worst_state(reasons)
    kept = tuple(sorted(reasons, key=lambda r: -r.state))
    kept_date = keep_appointment(earlier, order_by)
    if numbers is not None and state.is_told:
        made = Appointment(order_by, as_of) if order_by is not None else None
        if earlier is not None and not _has_news(earlier, last_trusted, filled_at):
            made = kept_date
        return ToldForecast(
            as_of, state, kept, horizon_days, numbers.litres, numbers.run_dry, numbers.order,
            numbers.daily, last_trusted, made,
        )  # fmt: skip
    if state.is_told:
        raise ValueError("a forecast without numbers needs a reason to be withheld")
    return WithheldForecast(as_of, state, kept, horizon_days, last_trusted, kept_date, order_below_l)


def _has_news(earlier: Appointment, seen: LastTrusted | None, filled_at: datetime | None) -> bool:
    """Whether the tank was seen or filled after an appointment was told."""
    seen_at = seen.at if seen is not None else None
    return any(at is not None and at > earlier.told_at for at in (seen_at, filled_at))


def keep_appointment(earlier: Appointment | None, order_by: date | None) -> Appointment | None:
    """Keep the promised date; move it only earlier. Where none was promised, doubtful data promises none.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2025, 1, 5, tzinfo=UTC)
    >>> keep_appointment(Appointment(date(2025, 1, 20), at), date(2025, 2, 1)).order_by
    datetime.date(2025, 1, 20)
    """
    if earlier is None or order_by is None or order_by >= earlier.order_by:
        return earlier
    return Appointment(order_by, earlier.told_at)
