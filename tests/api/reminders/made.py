"""Forecasts made by hand, for tests of what is said about them."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from api.reminders.decide import Decision
from api.reminders.known import Known, Said
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

NOW = datetime(2026, 1, 10, 12, 0, tzinfo=UTC)
TODAY = NOW.date()
ZONE = ZoneInfo("Europe/London")


def told(
    now: datetime = NOW,
    *,
    latest: int | None = 5,
    earliest: int = -5,
    note: str = "window",
    state: State = State.OK,
    p05: int = 20,
) -> ToldForecast:
    """Make a told forecast, its days counted from now."""
    today = now.date()

    def on(days: int) -> date:
        return today + timedelta(days=days)

    last = on(latest) if latest is not None else None
    first = on(earliest) if latest is not None else None
    order = OrderAdvice(first, last, 500.0 if note == "window" else None, note, "Order about 500 litres.")
    dry = RunDryDates(on(p05 - 2), on(p05), on(p05 + 4), on(p05 + 12), on(p05 + 20), on(p05 + 24))
    day = DayOutlook(today, 280.0, 300.0, 320.0, 0.0, 270.0, 290.0, 310.0, 330.0)
    made = Appointment(last, now) if last is not None else None
    reasons = (Reason("wide_band", state, "The band is wide."),) if state is State.WIDE else ()
    return ToldForecast(
        now, state, reasons, 365, LitresBand(280.0, 300.0, 320.0), dry, order, (day,),
        LastTrusted(now - timedelta(hours=3), 300.0), made,
    )  # fmt: skip


def withheld(
    now: datetime = NOW, *, state: State = State.STALE, code: str = "stale", order_by: int | None = 5
) -> WithheldForecast:
    """Make a withheld forecast that keeps an appointment, its day counted from now."""
    kept = None
    if order_by is not None:
        kept = Appointment(now.date() + timedelta(days=order_by), now - timedelta(days=20))
    seen = LastTrusted(now - timedelta(days=9), 310.0)
    reason = Reason(code, state, "No level has come since Thu 1 January.")
    return WithheldForecast(now, state, (reason,), 365, seen, kept, 220.0)


def known(
    forecast: ToldForecast | WithheldForecast | None = None, now: datetime = NOW, **more: object
) -> Known:
    """Make what is known at an instant."""
    made = Known(now, ZONE, forecast if forecast is not None else told(now), now, OrderSettings())
    return replace(made, **more)  # type: ignore[arg-type]


def said(
    decision: Decision, at: datetime, *, acknowledged: bool = False, of_this_refill: bool = True
) -> Said:
    """Note a decision as said."""
    answered = at if acknowledged else None
    return Said(
        decision.cause, decision.subject, decision.order_by, at, decision.urgent, answered, of_this_refill
    )
