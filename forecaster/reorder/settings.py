"""How oil is ordered at a place: lead time, risk, smallest delivery, money.

Flow     options -> **order settings** -> delivery days, order window
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import numpy as np
import numpy.typing as npt

from forecaster.errors import OrderError, Problem
from forecaster.reorder.lead import LONGEST_DAYS, ColdLead, LeadTable
from forecaster.reorder.spending import Spending

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class OrderSettings:
    """How oil is ordered at this place.

    Attributes
    ----------
    lead_days
        Working days from order to delivery, from..to, each equally likely.
    holidays
        Country or region of the public holidays, such as GB-ENG; None: Monday to Friday only.
    closed
        Further days on which the supplier does not deliver.
    look_every_days
        Days until somebody looks at the answer again.
    risk
        Accepted chance of running dry in one order cycle: over many cycles of somebody who looks every
        ``look_every_days`` and orders when told to.
    min_drop_l
        Smallest delivery. [L]
    ordered
        Orders already placed: civil date promised -> bulk litres. [L]
    lead_table
        Chance of each lead time; given, it stands in place of ``lead_days``.
    cold_lead
        How deliveries slow down in a cold spell: an assumption; None: they do not.
    spending
        Prices and budget; None: the advice is about litres and days alone.
    """

    lead_days: tuple[int, int] = (3, 10)
    holidays: str | None = None
    closed: frozenset[date] = frozenset()
    look_every_days: int = 1
    risk: float = 0.005
    min_drop_l: float = 500.0
    ordered: Mapping[date, float] = field(default_factory=dict)
    lead_table: LeadTable | None = None
    cold_lead: ColdLead | None = field(default_factory=ColdLead)
    spending: Spending | None = None

    def __post_init__(self) -> None:
        low, high = self.lead_days
        problems = []
        if not 0 <= low <= high <= LONGEST_DAYS:
            mend = f"give working days as 3-10, within 0 to {LONGEST_DAYS}"
            problems.append(Problem("lead_days", "lead_days", mend, f"{low}-{high}"))
        if not 0 < self.risk <= 0.5:
            mend = "give a chance above 0 and at most 0.5, such as 0.005"
            problems.append(Problem("risk", "risk", mend, f"{self.risk:g}"))
        if not 0 <= self.look_every_days <= 60:
            seen = f"{self.look_every_days}"
            problems.append(Problem("look_every_days", "look_every_days", "give 0 to 60 days", seen))
        if not 0 < self.min_drop_l <= 100_000:
            problems.append(
                Problem("min_drop_l", "min_drop_l", "give litres above 0", f"{self.min_drop_l:g}")
            )
        if any(not 0 < litres <= 100_000 for litres in self.ordered.values()):
            problems.append(Problem("ordered", "ordered", "give litres above 0 as DATE:litres"))
        if problems:
            raise OrderError(problems)

    @property
    def lead_span(self) -> tuple[int, int]:
        """Shortest and longest lead time. [working days]"""
        if self.lead_table is None:
            return self.lead_days
        return self.lead_table.days[0], self.lead_table.days[-1]

    @property
    def leads(self) -> tuple[Indices, Floats]:
        """Lead times, and the chance of each: (lead,), (lead,). [working days, -]"""
        if self.lead_table is not None:
            chance = np.array(self.lead_table.chance)
            return np.array(self.lead_table.days, np.int64), chance / chance.sum()
        low, high = self.lead_days
        days = np.arange(low, high + 1, dtype=np.int64)
        return days, np.full(len(days), 1.0 / len(days))

    @property
    def late_days(self) -> range:
        """How many days late an order that is due may be seen to be, each as likely. [d].

        Examples
        --------
        >>> OrderSettings(look_every_days=7).late_days
        range(0, 7)
        """
        return range(max(self.look_every_days, 1))

    @property
    def smallest_l(self) -> float:
        """Smallest delivery to be had: the supplier's, or the smallest that is quoted. [L]"""
        quoted = 0.0 if self.spending is None else self.spending.quotes.smallest_l
        return max(self.min_drop_l, quoted)
