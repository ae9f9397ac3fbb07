"""On which day oil ordered today may come: working days, public holidays, the supplier's closing days.

Flow     order settings -> **delivery days** -> order window
"""

from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from forecaster.errors import OrderError, Problem
from forecaster.reorder.settings import OrderSettings

Indices = npt.NDArray[np.int64]

BEYOND_D = 60
"""Days of the calendar beyond twice the longest lead time: no run of closing days is longer. [d]"""


def public_holidays(code: str | None, years: range) -> frozenset[date]:
    """Public holidays of a country or region.

    Parameters
    ----------
    code : str or None
        ISO 3166 country, or country-subdivision: IE, GB-ENG. None: none.
    years : range

    Raises
    ------
    OrderError
        For a code that the holidays library does not know.

    Examples
    --------
    >>> date(2024, 12, 26) in public_holidays("GB-ENG", range(2024, 2025))
    True
    """
    if code is None:
        return frozenset()
    from holidays import country_holidays

    country, _, region = code.upper().partition("-")
    try:
        return frozenset(country_holidays(country, subdiv=region or None, years=list(years)))
    except (NotImplementedError, KeyError, ValueError):
        mend = "give a country such as IE, or country-region such as GB-ENG"
        raise OrderError(Problem("holidays", "holidays", mend, code)) from None


def delivery_days(first: date, days: int, *, settings: OrderSettings) -> tuple[Indices, Indices]:
    """Delivery day of an order placed on each day, for each lead time.

    Parameters
    ----------
    first : date
        The day that counts as index 0.
    days : int
        Order days looked at.
    settings : OrderSettings

    Returns
    -------
    delivery : int array, shape (day, lead)
        Index of the delivery day; an order placed today with a lead of 1 comes on the next working day.
    working : int array, shape (some,)
        Indices of working days.

    Examples
    --------
    >>> friday = date(2024, 1, 12)
    >>> delivery_days(friday, 2, settings=OrderSettings(lead_days=(1, 2)))[0]
    array([[3, 4],
           [3, 4]])
    """
    working = working_days(first, days, settings=settings)
    return working[nth_working_day(working, np.arange(days), settings.leads[0])], working


def working_days(first: date, days: int, *, settings: OrderSettings) -> Indices:
    """Indices of the days on which the supplier delivers, far enough beyond the order days looked at."""
    longest = settings.lead_span[1] + (settings.cold_lead.most_days if settings.cold_lead else 0)
    calendar = [first + timedelta(days=i) for i in range(days + 2 * longest + BEYOND_D)]
    shut = public_holidays(settings.holidays, range(first.year, calendar[-1].year + 1)) | settings.closed
    return np.array([i for i, d in enumerate(calendar) if d.weekday() < 5 and d not in shut], np.int64)


def nth_working_day(working: Indices, order_days: Indices, leads: Indices) -> Indices:
    """Place, among the working days, of the delivery of each order day and lead time: (day, lead)."""
    # working days strictly after the order day; a lead of 0 is the order day or the next working day
    after = np.searchsorted(working, order_days, side="right")
    same_day = np.searchsorted(working, order_days, side="left")
    nth = np.where(leads[None, :] == 0, same_day[:, None], after[:, None] + leads[None, :] - 1)
    return np.minimum(nth, len(working) - 1)
