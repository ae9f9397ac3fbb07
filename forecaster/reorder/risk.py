"""The chance of running dry before an order comes: over the lead time, and however late the order is seen to be due.

Flow     chance of being dry, delivery days -> **risk of each order day** -> latest order day
Formula  dry[d]  = sum over leads L of P(L) * P(dry by the delivery of an order placed on d)
         where deliveries slow down in cold spells, the delivery day is each path's own:
         dry[d]  = mean over paths i of sum over L of P(L) * [ run_dry[i] <= delivery(d, L + extra[i, d]) ]
         risk[d] = mean over u = 0 .. look - 1 of dry[d + u]
         Somebody who looks every few days comes to a latest order day some days late, any number below the
         review interval being as likely: over many cycles they run dry as often as the mean says.
Source   protection over lead time and review interval: Silver, Pyke & Peterson, Inventory Management and
         Production Planning (from memory); the mean over the interval in place of its end follows from
         reckoning the chance of a cycle
"""

from datetime import date

import numpy as np
import numpy.typing as npt

from forecaster.reorder.days import nth_working_day, working_days
from forecaster.reorder.lead import ColdLead, Spells
from forecaster.reorder.settings import OrderSettings

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]

ROUNDING = 1e-12
"""A risk above the accepted one by no more than that is rounding. [-]"""


def count_order_days(first: date, days: int, *, settings: OrderSettings, slower: int) -> int:
    """Count the order days that lie within sight, with every delivery of an order seen late.

    Parameters
    ----------
    first : date
        The day that counts as index 0.
    days : int
        Days that are simulated.
    settings : OrderSettings
    slower : int
        Working days more that a cold spell may take.
    """
    working = working_days(first, days, settings=settings)
    longest = settings.leads[0][-1:] + slower
    last = working[nth_working_day(working, np.arange(days), longest)][:, 0]
    return max(int((last < days).sum()) - (len(settings.late_days) - 1), 0)


def first_unsafe_day(
    p_dry: Floats, *, first: date, order_days: int, settings: OrderSettings, spells: Spells | None
) -> int | None:
    """Find the first order day whose risk is above the accepted one; None where there is none in sight.

    Parameters
    ----------
    p_dry : float array, shape (day,)
        Chance of having touched the heel by the end of each day.
    first : date
        The day that counts as index 0.
    order_days : int
        Days on which to order that lie within sight.
    settings : OrderSettings
    spells : Spells or None
        None: deliveries are taken to be as quick in a cold spell.

    Notes
    -----
    Deliveries that never slow down, and deliveries that always do, bracket the answer: only the days
    between need each path's own delivery day.
    """
    cold, late = settings.cold_lead, len(settings.late_days)
    working = working_days(first, order_days + late, settings=settings)
    leads, chance = settings.leads
    nth = nth_working_day(working, np.arange(order_days + late - 1), leads)

    def first_above(extra: int, until: int) -> int:
        by = working[np.minimum(nth + extra, len(working) - 1)]
        above = np.flatnonzero(_mean_over(p_dry[by] @ chance, late) > settings.risk + ROUNDING)
        return min(int(above[0]), until) if len(above) else until

    at_latest = first_above(0, order_days)
    if spells is None or cold is None or cold.most_days == 0:
        return at_latest if at_latest < order_days else None
    dry: dict[int, float] = {}
    for day in range(first_above(cold.most_days, at_latest), at_latest):
        for seen in range(day, day + late):
            if seen not in dry:
                dry[seen] = _joint_chance(seen, nth[seen], working, spells, cold, settings)
        if sum(dry[seen] for seen in range(day, day + late)) / late > settings.risk + ROUNDING:
            return day
    return at_latest if at_latest < order_days else None


def _mean_over(dry: Floats, days: int) -> Floats:
    """Mean over each day and those after it, as many as asked."""
    mean: Floats = np.lib.stride_tricks.sliding_window_view(dry, days).mean(axis=1)
    return mean


def _joint_chance(
    day: int, nth: Indices, working: Indices, spells: Spells, cold: ColdLead, settings: OrderSettings
) -> float:
    """Chance of being dry when an order of that day comes, each path with the delivery day of its own weather."""
    extra = cold.extra_days(spells.colder_k(day))
    by = working[np.minimum(nth[None, :] + extra[:, None], len(working) - 1)]
    dry = spells.run_dry[:, None] <= by
    return float(dry.mean(axis=0) @ settings.leads[1])
