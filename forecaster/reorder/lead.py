"""How long a delivery takes: a table of chances, and longer when all the cold valley orders at once.

Flow     --lead-days, --lead-table -> **lead times** -> delivery days -> order window
Formula  extra[d] = min(most, floor(days_per_k * (colder[d] - from_k))), never below 0
         colder[d] = mean over the week from d on of (normal - temperature)
Source   a lead time as a distribution, and demand over it: Silver, Pyke & Peterson, Inventory Management
         and Production Planning (from memory). That suppliers take longer in frost is common practice;
         how much longer is an assumption: in the cold spell of February and March 2018, its weeks some
         6 K colder than normal (from memory), a British oil-buying club told of ten working days.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from forecaster.errors import OrderError, Problem
from forecaster.rows import parse_number, parse_rows, require_columns

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]

LONGEST_DAYS = 120
"""A lead time beyond is a slip of the pen. [working days]"""
SUM_TOLERANCE = 0.02
"""Chances rounded for writing may add up to 1 within that. [-]"""
SPELL_DAYS = 7
"""How cold it is, is the mean of so many days. [d]"""


@dataclass(frozen=True, slots=True)
class LeadTable:
    """Chance of each lead time.

    Attributes
    ----------
    days
        Working days from order to delivery, rising.
    chance
        Of each, adding up to 1. [-]

    Examples
    --------
    >>> LeadTable((2, 3, 10), (0.5, 0.4, 0.1)).mean_days
    3.2
    """

    days: tuple[int, ...]
    chance: tuple[float, ...]

    def __post_init__(self) -> None:
        problems = []
        rising = all(a < b for a, b in pairwise(self.days))
        if not self.days or len(self.days) != len(self.chance) or not rising:
            problems.append(Problem("lead_table", "lead_table", "give each number of working days once"))
        elif not 0 <= self.days[0] <= self.days[-1] <= LONGEST_DAYS:
            mend = f"give working days within 0 to {LONGEST_DAYS}"
            problems.append(Problem("lead_table", "lead_table", mend, f"{self.days[0]}-{self.days[-1]}"))
        total = sum(self.chance)
        if not all(c > 0 for c in self.chance) or not abs(total - 1.0) <= SUM_TOLERANCE:
            mend = "give chances above 0 that add up to 1, or counts in a column deliveries"
            problems.append(Problem("lead_chances", "lead_table", mend, f"{total:g}"))
        if problems:
            raise OrderError(problems)

    @property
    def mean_days(self) -> float:
        """Expected working days."""
        return float(np.dot(self.days, self.chance) / np.sum(self.chance))


@dataclass(frozen=True, slots=True)
class ColdLead:
    """How deliveries slow down in a cold spell: an assumption, to be replaced by what a supplier knows.

    Attributes
    ----------
    from_k
        A week that much colder than normal slows nothing yet. [K]
    days_per_k
        Working days more for each further kelvin. [d/K]
    most_days
        Never more working days than that.
    """

    from_k: float = 3.0
    days_per_k: float = 0.5
    most_days: int = 5

    def __post_init__(self) -> None:
        if not (self.from_k >= 0 and 0 <= self.days_per_k <= 10 and 0 <= self.most_days <= 60):
            mend = "give kelvin from 0 on, 0 to 10 days a kelvin, and 0 to 60 days at most"
            raise OrderError(Problem("cold_lead", "cold_lead", mend, f"{self.from_k:g}, {self.days_per_k:g}"))

    def extra_days(self, colder_k: Floats) -> Indices:
        """Working days more when a week is so much colder than normal.

        Examples
        --------
        >>> ColdLead().extra_days(np.array([-4.0, 3.0, 5.0, 7.9, 30.0]))
        array([0, 0, 1, 2, 5])
        """
        extra = np.floor(self.days_per_k * (colder_k - self.from_k) + 1e-9)
        return np.clip(extra, 0, self.most_days).astype(np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class Spells:
    """When each path runs dry, in which weather: so that cold paths burn more and wait longer.

    Attributes
    ----------
    run_dry
        First day at or below the heel, inf where none is in sight: (path,). [d]
    scenario_of
        The weather year of each path: (path,).
    temp_c
        Of each weather year by day ahead, shape (scenario, day). [C]
    normal_c
        Of a normal year on those days, shape (day,). [C]
    """

    run_dry: Floats
    scenario_of: Indices
    temp_c: Floats
    normal_c: Floats

    def colder_k(self, day: int) -> Floats:
        """How much colder than normal the week from a day on is, in each path's weather. [K].

        Examples
        --------
        >>> air = np.array([[1.0, 3.0, 5.0], [9.0, 9.0, 9.0]])
        >>> Spells(np.full(3, np.inf), np.array([0, 1, 0]), air, np.array([6.0, 6.0, 6.0])).colder_k(0)
        array([ 3., -3.,  3.])
        """
        week = slice(day, day + SPELL_DAYS)
        colder: Floats = (self.normal_c[week] - self.temp_c[:, week]).mean(axis=1)
        return colder[self.scenario_of]


def parse_lead_table(data: bytes | str, *, decimal: str = ".") -> LeadTable:
    r"""Read a table of lead times: ``days`` and ``chance``, or ``days`` and ``deliveries`` (counts).

    Parameters
    ----------
    data : bytes or str
    decimal : str
        Decimal sign of the chances.

    Raises
    ------
    OrderError
        With a problem for each bad row: chances are a whole, so none of them may be left out.

    Examples
    --------
    >>> parse_lead_table("days,deliveries\n3,6\n5,3\n10,1\n").chance
    (0.6, 0.3, 0.1)
    """
    table = parse_rows(data, error=OrderError)
    counted = "deliveries" in table.columns
    column = "deliveries" if counted else "chance"
    require_columns(table, ("days", column), error=OrderError)
    problems = list(table.problems)
    found: dict[int, float] = {}
    for row in table.rows:
        try:
            field = "days"
            days = _whole(row.cells["days"])
            field = column
            share = parse_number(row.cells[column], decimal=decimal)
            if share < 0:
                raise ValueError("give a number that is not negative")
        except ValueError as bad:
            problems.append(Problem("lead_table", field, str(bad), row.cells[field], row.number))
            continue
        found[days] = found.get(days, 0.0) + share
    total = sum(found.values())
    if not problems and not total > 0:
        problems.append(Problem("lead_chances", column, "give at least one lead time with a chance above 0"))
    if problems:
        raise OrderError(problems)
    kept = sorted((days, share / total if counted else share) for days, share in found.items() if share > 0)
    return LeadTable(tuple(days for days, _ in kept), tuple(share for _, share in kept))


def _whole(cell: str) -> int:
    text = cell.strip()
    if not (text.isascii() and text.isdigit() and len(text) <= 3):
        raise ValueError("give whole working days, such as 3")
    return int(text)
