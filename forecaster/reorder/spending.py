"""What oil costs: quotes by quantity, drift, a fixed cost per delivery, and what is to be spent.

Money is in whatever currency the quotes are in; no sum is ever converted.

Flow     --quote, --quotes, --budget -> **spending** -> quantity and day within the order window
Formula  price(Q, d) = quote of the step that Q reaches * (1 + drift)^(days since the quote / 30.44)
         cost per litre = price + K/Q + (r * price) Q / (2 D),   times D: the cost of a year
         Q* = sqrt(2 K D / (r * price)) within a step: the economic order quantity
         (K fixed cost of a delivery, r cost of holding as a part of the price a year, D litres a year)
Source   economic order quantity and all-units discounts: Harris 1913; Nahmias, Production and
         Operations Analysis; Snyder & Shen, Fundamentals of Supply Chain Theory (from memory)
"""

from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from forecaster.errors import OrderError, Problem
from forecaster.rows import parse_date, parse_number, parse_rows, require_columns

Floats = npt.NDArray[np.float64]

DAYS_PER_MONTH = 365.25 / 12.0
LONGEST_DRIFT = 24.0
"""Nobody's expected drift holds for longer. [months]"""
OLD_QUOTES_D = 14
"""Of older quotes it is said that they are old. [d]"""
MOST_PRICE = 10_000.0
"""A dearer litre is a slip of the pen in any currency. [money/l]"""
MOST_MONEY = 1e9
STEP_GAP_L = 1e-3
"""A price step ends so far below the next: less than any tanker meters, more than rounding. [L]"""


@dataclass(frozen=True, slots=True)
class Quotes:
    """Prices of a litre by quantity, all of one day.

    Attributes
    ----------
    quoted
        The day on which they were given.
    steps
        (from litres, price of each litre), the litres rising; all litres of a delivery cost the price
        of the step that it reaches. [L, money/L]

    Examples
    --------
    >>> Quotes(date(2024, 1, 8), ((500.0, 0.62), (1000.0, 0.60))).price_per_l(np.array([400.0, 500, 999, 1000]))
    array([ nan, 0.62, 0.62, 0.6 ])
    """

    quoted: date
    steps: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        problems = []
        litres = [step[0] for step in self.steps]
        if not litres or any(a >= b for a, b in pairwise(litres)):
            mend = "give at least one price, and each quantity once, rising"
            problems.append(Problem("quotes", "quotes", mend))
        problems += [p for step in self.steps for p in _step_problems(*step)]
        if problems:
            raise OrderError(problems)

    @property
    def smallest_l(self) -> float:
        """The smallest quantity that is quoted. [L]"""
        return self.steps[0][0]

    def price_per_l(self, litres: Floats) -> Floats:
        """Price of each litre of a delivery; nan where it is smaller than any quoted. [money/L]"""
        step = np.searchsorted([s[0] for s in self.steps], litres, side="right") - 1
        price = np.array([s[1] for s in self.steps])[np.maximum(step, 0)]
        return np.where(step >= 0, price, np.nan)


@dataclass(frozen=True, slots=True)
class Spending:
    """What oil costs here, and how much is to be spent.

    Attributes
    ----------
    quotes
        Prices by quantity.
    drift_per_month
        Expected change of the prices, as a part of them a month; negative when they fall.
    delivery_cost
        What a delivery costs beside its litres. [money]
    holding_per_year
        What a litre in the tank costs a year, as a part of its price: the interest on its money.
    budget
        At most so much is to be spent on one order; None: no limit. [money]
    """

    quotes: Quotes
    drift_per_month: float = 0.0
    delivery_cost: float = 0.0
    holding_per_year: float = 0.0
    budget: float | None = None

    def __post_init__(self) -> None:
        problems = []
        if not -0.5 <= self.drift_per_month <= 0.5:
            mend = "give a part of the price a month from -0.5 to 0.5, such as 0.02 for 2 % more"
            problems.append(Problem("price_drift", "price_drift", mend, f"{self.drift_per_month:g}"))
        if not 0 <= self.delivery_cost <= MOST_MONEY:
            mend = "give the cost of a delivery, 0 or more"
            problems.append(Problem("delivery_cost", "delivery_cost", mend, f"{self.delivery_cost:g}"))
        if not 0 <= self.holding_per_year <= 10:
            mend = "give a part of the price a year from 0 to 10, such as 0.05"
            problems.append(Problem("holding_cost", "holding_cost", mend, f"{self.holding_per_year:g}"))
        if self.budget is not None and not 0 < self.budget <= MOST_MONEY:
            problems.append(Problem("budget", "budget", "give a sum above 0", f"{self.budget:g}"))
        if problems:
            raise OrderError(problems)

    def drifted(self, on: date, days: npt.ArrayLike) -> Floats:
        """Factor on the quoted prices so many days after a date.

        Examples
        --------
        >>> spending = Spending(Quotes(date(2024, 1, 1), ((500.0, 0.6),)), drift_per_month=0.02)
        >>> spending.drifted(date(2024, 1, 1), np.array([0.0, 365.25])).round(4)
        array([1.    , 1.2682])
        """
        since = (on - self.quotes.quoted).days + np.asarray(days, np.float64)
        months = np.clip(since / DAYS_PER_MONTH, 0.0, LONGEST_DRIFT)
        factor: Floats = (1.0 + self.drift_per_month) ** months
        return factor

    def bill(self, litres: Floats, drifted: Floats) -> Floats:
        """What a delivery costs in all; nan where it is smaller than any quoted. [money]"""
        total: Floats = self.quotes.price_per_l(litres) * drifted * litres + self.delivery_cost
        return total

    def cost_per_l(self, litres: Floats, drifted: Floats, *, yearly_l: float) -> Floats:
        """What a litre comes to with its share of the delivery and of being held. [money/L].

        Parameters
        ----------
        litres : float array
            Size of the delivery. [L]
        drifted : float array
            Factor on the quoted prices, see `drifted`.
        yearly_l : float
            Litres burned a year: a delivery lies in the tank for half the time in which it is burned. [L]

        Notes
        -----
        Times ``yearly_l`` it is the cost of a year in the textbooks' deterministic model.

        Examples
        --------
        >>> spending = Spending(Quotes(date(2024, 1, 1), ((0.0, 0.75),)), delivery_cost=8, holding_per_year=0.3)
        >>> year = 1300 * (spending.cost_per_l(np.array(304.05), np.array(1.0), yearly_l=1300) - 0.75)
        >>> round(float(year), 2)
        68.41
        """
        price = self.quotes.price_per_l(litres) * drifted
        held = self.holding_per_year * price * litres / (2.0 * max(yearly_l, 1e-9))
        per_l: Floats = price + self.delivery_cost / litres + held
        return per_l


def economic_quantity_l(
    spending: Spending, *, yearly_l: float, least_l: float, most_l: Floats, drifted: Floats
) -> tuple[Floats, Floats, Floats]:
    """Best quantity within each price step: the economic order quantity, kept within the step and the room.

    Parameters
    ----------
    spending : Spending
    yearly_l : float
        Litres burned a year. [L]
    least_l : float
        Smallest delivery. [L]
    most_l : float array, shape (day,)
        Largest delivery: what fits. [L]
    drifted : float array, shape (day,)
        Factor on the quoted prices.

    Returns
    -------
    best, low, high : float arrays, shape (day, step)
        The quantity, and the ends of the step; nan where nothing of the step can be had. [L]

    Examples
    --------
    >>> spending = Spending(Quotes(date(2024, 1, 1), ((0.0, 0.75),)), delivery_cost=8, holding_per_year=0.3)
    >>> economic_quantity_l(spending, yearly_l=1300, least_l=1, most_l=np.array([np.inf]),
    ...                     drifted=np.ones(1))[0].round(2)
    array([[304.05]])
    """
    start = np.array([step[0] for step in spending.quotes.steps])
    price = np.array([step[1] for step in spending.quotes.steps])[None, :] * np.asarray(drifted)[:, None]
    low = np.broadcast_to(np.maximum(start, least_l), price.shape)
    # a step ends just below the next, which has another price
    end = np.append(start[1:] - STEP_GAP_L, np.inf)
    high = np.minimum(end[None, :], np.asarray(most_l)[:, None])
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        # where holding costs nothing, as much as goes in
        held = spending.holding_per_year * price
        free = np.where(held > 0, np.sqrt(2.0 * spending.delivery_cost * yearly_l / held), np.inf)
    possible = high >= low
    best = np.where(possible, np.clip(free, low, np.maximum(high, low)), np.nan)
    return best, np.where(possible, low, np.nan), np.where(possible, high, np.nan)


def parse_quotes(
    data: bytes | str, *, today: date, decimal: str = "."
) -> tuple[Quotes, tuple[Problem, ...], tuple[str, ...]]:
    r"""Read quotes: ``from_litres``, ``price_per_litre`` and, optionally, ``date``.

    Parameters
    ----------
    data : bytes or str
    today : date
        Civil day of as-of: quotes without a date are of that day, later ones are not looked at.
    decimal : str
        Decimal sign of the numbers.

    Returns
    -------
    quotes : Quotes
        Of the newest day; where two suppliers quote the same quantity, the lower price.
    problems : tuple of Problem
        Rows set aside.
    notes : tuple of str
        What was not used.

    Raises
    ------
    OrderError
        When no row can be used.

    Examples
    --------
    >>> quotes, _, _ = parse_quotes("from_litres,price_per_litre\n500,0.62\n1000,0.60\n", today=date(2024, 1, 8))
    >>> quotes.steps
    ((500.0, 0.62), (1000.0, 0.6))
    """
    table = parse_rows(data, error=OrderError)
    require_columns(table, ("from_litres", "price_per_litre"), error=OrderError)
    problems = list(table.problems)
    found: list[tuple[date, float, float]] = []
    for row in table.rows:
        field = "from_litres"
        try:
            litres = parse_number(row.cells[field], decimal=decimal)
            field = "price_per_litre"
            price = parse_number(row.cells[field], decimal=decimal)
            field = "date"
            text = row.cells.get(field, "")
            day = parse_date(text) if text else today
        except ValueError as bad:
            problems.append(Problem("quotes", field, str(bad), row.cells[field], row.number))
            continue
        wrong = _step_problems(litres, price, row=row.number)
        problems += wrong
        if not wrong:
            found.append((day, litres, price))
    later = sum(day > today for day, _, _ in found)
    known = [quote for quote in found if quote[0] <= today]
    if not known:
        problems = problems or [
            Problem("no_quotes", "quotes", "give at least one price that is known by now")
        ]
        raise OrderError(problems)
    newest = max(day for day, _, _ in known)
    steps: dict[float, float] = {}
    for day, litres, price in known:
        if day == newest:
            steps[litres] = min(price, steps.get(litres, np.inf))
    age = (today - newest).days
    old = f"the quotes are {age} days old: prices move, so ask again before you order"
    older = sum(day < newest for day, _, _ in known)
    notes = [f"quotes later than the forecast are not looked at: {later}"] if later else []
    notes += [f"older quotes are not used: {older}"] if older else []
    notes += [old] if age > OLD_QUOTES_D else []
    return Quotes(newest, tuple(sorted(steps.items()))), tuple(problems), tuple(notes)


def _step_problems(litres: float, price: float, *, row: int | None = None) -> list[Problem]:
    problems = []
    if not 0 <= litres <= 100_000:
        problems.append(Problem("quotes", "from_litres", "give litres from 0 to 100,000", f"{litres:g}", row))
    if not 0 < price <= MOST_PRICE:
        mend = "give the price of one litre, above 0, in the money of the budget"
        problems.append(Problem("quotes", "price_per_litre", mend, f"{price:g}", row))
    return problems
