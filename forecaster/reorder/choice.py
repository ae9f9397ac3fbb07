"""How much to order, and from which day of the window on, when prices are known.

Flow     order window, spending -> **quantity, first day, bill** -> order advice
Rule     the cheapest litre within the window, by `Spending.cost_per_l`; from the first day whose litre
         costs at most 1 % more than the cheapest, so that pennies do not use up the days to spare.
         With a budget: the largest quantity within it that is no larger than without one.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from forecaster.confidence import OrderMoney
from forecaster.reorder.settings import OrderSettings
from forecaster.reorder.spending import Spending, economic_quantity_l

Floats = npt.NDArray[np.float64]

STEP_L = 10.0
"""Quantities are advised in steps of that many litres. [L]"""
WORTH_WAITING = 0.01
"""A litre that is cheaper by less is not worth ordering later. [-]"""


@dataclass(frozen=True, slots=True)
class Choice:
    """What to order, from which day on; ``litres`` None where the budget reaches no delivery."""

    day: int
    litres: float | None
    money: OrderMoney


@dataclass(frozen=True, slots=True, eq=False)
class _Offers:
    """Quantities that may be ordered: day, litres, factor on the quoted prices; each (offer,)."""

    day: npt.NDArray[np.int64]
    litres: Floats
    drifted: Floats

    def pick(self, score: Floats) -> int:
        """Of the first day whose lowest score is near the lowest of all, the lowest; of equals the larger."""
        near = self.day[score <= score.min() + WORTH_WAITING * abs(score.min())].min()
        mine = np.flatnonzero(self.day == near)
        return int(mine[np.lexsort((-self.litres[mine], score[mine]))[0]])


def choose_order(
    room: Floats, *, earliest: int, latest: int, first: date, yearly_l: float, settings: OrderSettings
) -> Choice | None:
    """Choose quantity and first order day within the window; None without prices.

    Parameters
    ----------
    room : float array, shape (day,)
        Litres that fit on the earliest delivery day of an order placed on each day. [L]
    earliest, latest : int
        The window: the first day on which the smallest delivery fits, and the last safe one.
    first : date
        The day that counts as index 0.
    yearly_l : float
        Litres that this home burns in a year. [L]
    settings : OrderSettings
    """
    spending = settings.spending
    if spending is None:
        return None
    days = earliest + np.flatnonzero(room[earliest : latest + 1] >= settings.smallest_l)
    drifted = spending.drifted(first, days)
    best, low, high = economic_quantity_l(
        spending, yearly_l=yearly_l, least_l=settings.smallest_l, most_l=room[days], drifted=drifted
    )
    offers = _offers(days, drifted, low, best, high)
    cost = spending.cost_per_l(offers.litres, offers.drifted, yearly_l=yearly_l)
    chosen = offers.pick(cost)
    least = float(np.nanmin(spending.bill(low, drifted[:, None])))
    wanted = float(offers.litres[chosen])
    if spending.budget is not None:
        price = spending.quotes.price_per_l(low) * drifted[:, None]
        most = np.minimum(np.minimum(high, wanted), (spending.budget - spending.delivery_cost) / price)
        most = np.where(most >= low, most, np.nan)
        offers = _offers(days, drifted, low, most, most)
        if len(offers.litres) == 0:
            return Choice(int(days[0]), None, _told(spending, least, settings.smallest_l))
        chosen = offers.pick(-offers.litres)
    day, litres = int(offers.day[chosen]), float(offers.litres[chosen])
    bills = [spending.bill(np.array(litres), spending.drifted(first, np.array(d))) for d in (day, latest)]
    money = _told(
        spending, least, settings.smallest_l,
        price_per_l=float(spending.quotes.price_per_l(np.array(litres)) * offers.drifted[chosen]),
        cost=float(bills[0]), limited=litres < wanted,
        safe_until=first + timedelta(days=latest) if latest > 0 else None,
        waiting_cost=float(bills[1] - bills[0]) if latest > 0 else None,
    )  # fmt: skip
    return Choice(day, litres, money)


def down_to_step(litres: Floats) -> Floats:
    """Round down to a quantity that is advised.

    Examples
    --------
    >>> down_to_step(np.array([1234.0, 500.0]))
    array([1230.,  500.])
    """
    down: Floats = np.floor(litres / STEP_L + 1e-9) * STEP_L
    return down


def _offers(days: npt.NDArray[np.int64], drifted: Floats, low: Floats, best: Floats, high: Floats) -> _Offers:
    """Both neighbours of the best quantity in steps, where they lie within their price step."""
    below = np.maximum(down_to_step(best), low)
    above = np.where(down_to_step(best) + STEP_L <= high, down_to_step(best) + STEP_L, below)
    litres = np.stack([below, np.maximum(above, below)], axis=-1)
    day = np.broadcast_to(days[:, None, None], litres.shape)
    factor = np.broadcast_to(drifted[:, None, None], litres.shape)
    there = ~np.isnan(litres)
    return _Offers(day[there], litres[there], factor[there])


def _told(
    spending: Spending,
    smallest_cost: float,
    smallest_l: float,
    *,
    price_per_l: float | None = None,
    cost: float | None = None,
    limited: bool = True,
    safe_until: date | None = None,
    waiting_cost: float | None = None,
) -> OrderMoney:
    return OrderMoney(
        quoted=spending.quotes.quoted, price_per_l=price_per_l, cost=cost, budget=spending.budget,
        limited_by_budget=limited, smallest_l=smallest_l, smallest_cost=smallest_cost,
        drift_per_month=spending.drift_per_month, safe_until=safe_until, waiting_cost=waiting_cost,
    )  # fmt: skip
