"""The account: what one tank burned month by month, and on what.

Flow     draws -> **months, figures with their intervals** -> command, pages
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

Ground = Literal["measured", "survey"]
"""Whether the levels tell a part, or the survey does and the levels add next to nothing."""

PARTS = ("hot_water", "heating", "sun", "panels", "wood")
"""Parts of the burn, and what spared some of it."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A mean and the interval that holds the truth eight times in ten."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Entry:
    """One month, or all of them; litres at 15 C.

    Attributes
    ----------
    first, last
        Civil days, both within; the first and the last month may be parts of one.
    burned
        What the boiler and all else on the tank burned. [l]
    hot_water, heating
        Its two parts: base load (hot water, standing losses, range cooker), and heating. [l]
    sun, panels, wood
        Litres that would have been burned without sun through windows, without panels heating the
        water, and without the stove. [l]
    opening, delivered, unexplained, closing
        Level at the beginning; tickets and rises; what is neither delivery nor burn; level at the end. [l]
    co2_kg
        Of the litres burned; None for a blend, of which no factor is published. [kg]

    Notes
    -----
    Means add up: burned = hot water + heating, and opening + delivered + unexplained - burned = closing.
    The ends of intervals do not: a month may have burned much, or had much hot water, but seldom both.
    """

    first: date
    last: date
    burned: Figure
    hot_water: Figure
    heating: Figure
    sun: Figure
    panels: Figure
    wood: Figure
    opening: Figure
    delivered: float
    unexplained: Figure
    closing: Figure
    co2_kg: Figure | None


@dataclass(frozen=True, slots=True)
class Account:
    """What one tank burned.

    Attributes
    ----------
    as_of
        Instant of knowledge, UTC.
    months
        In order of time; none where no level was ever known.
    total
        All of them together; None without months.
    grounds
        For each of `PARTS`: "measured", or "survey" where the levels cannot tell it.
    notes
        What a reader should know, in sentences.
    """

    as_of: datetime
    months: tuple[Entry, ...]
    total: Entry | None
    grounds: Mapping[str, Ground]
    notes: tuple[str, ...] = ()
