"""Which weather the answer rests on: observed days, assumed ones, the days forecast, and the years ahead.

Flow     past weather, outlook, normals -> **spans of days by where they come from** -> explanation
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from forecaster.pipeline import Behind, Inputs, Working


@dataclass(frozen=True, slots=True)
class Span:
    """Civil days, both within, and how many of them are meant."""

    first: date
    last: date
    days: int


@dataclass(frozen=True, slots=True)
class WeatherUsed:
    """The weather of an answer.

    Attributes
    ----------
    source
        Whose observations they are, and when they were fetched; None where they came by file.
    observed
        Days behind us with a known temperature; None where there are none.
    assumed
        Whole days behind us without one: the season's normals stand for them.
    outlook, issued_at
        Days ahead of the short-range forecast, and its issue; None without one.
    years
        Days ahead drawn from weather years.
    years_from
        What those are drawn from: the normals' name, or "" for a long record of this place.
    """

    source: str | None
    observed: Span | None
    assumed: tuple[Span, ...]
    outlook: Span | None
    issued_at: datetime | None
    years: Span | None
    years_from: str


def sort_days(inputs: "Inputs", behind: "Behind", working: "Working", *, source: str | None) -> WeatherUsed:
    """Sort the days behind and ahead by where their weather comes from.

    Parameters
    ----------
    inputs
        Cut at as-of.
    source
        Whose observations they are, in words.
    """
    past = behind.past
    today: date = past.date[-1].item()
    known = past.date[:-1][~past.assumed[:-1]]
    observed = Span(known[0].item(), known[-1].item(), len(known)) if len(known) else None
    outlook = inputs.outlook
    ahead = None
    if outlook is not None:
        days = outlook.date[outlook.date >= past.date[-1]]
        ahead = Span(days[0].item(), days[-1].item(), len(days)) if len(days) else None
    begin = ahead.last + timedelta(days=1) if ahead is not None else today
    end = today + timedelta(days=inputs.horizon_days - 1)
    years = Span(begin, end, (end - begin).days + 1) if end >= begin else None
    return WeatherUsed(
        source, observed, _runs(past.date[:-1][past.assumed[:-1]]), ahead,
        outlook.issued_at if outlook is not None and ahead is not None else None,
        years, "" if inputs.years is not None else working.normals.name,
    )  # fmt: skip


def _runs(days: np.ndarray[tuple[int], np.dtype[np.datetime64]]) -> tuple[Span, ...]:
    """Join days that follow each other."""
    if len(days) == 0:
        return ()
    parts = np.split(days, np.flatnonzero(np.diff(days) > np.timedelta64(1, "D")) + 1)
    return tuple(Span(part[0].item(), part[-1].item(), len(part)) for part in parts)
