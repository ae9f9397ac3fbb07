"""When to order and how much: the order window.

Flow     litres paths, chance of being dry -> **order window** -> wording
Rule     latest   = last day d with P(dry by the delivery of an order placed on d, plus one look) <= risk
         earliest = first day d with P(room >= smallest delivery on the EARLIEST delivery day) >= 0.9
         litres   = safe fill - 90 % (fullest) level on the earliest delivery day, down to a 10 l step
Source   reorder point under uncertain demand and lead time, periodic review: the textbooks' rule
         (Silver, Pyke & Peterson, Inventory Management and Production Planning, from memory)
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from forecaster.confidence import OrderAdvice
from forecaster.errors import OrderError, Problem
from forecaster.phrases import day_text, litres_text

Floats = npt.NDArray[np.float64]

FITS = 0.9
"""Chance with which the smallest delivery must fit, and the level the quantity is reckoned from."""
STEP_L = 10.0
"""Quantities are advised in steps of that many litres. [L]"""


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
        Accepted chance of running dry in one order cycle.
    min_drop_l
        Smallest delivery. [L]
    ordered
        Orders already placed: civil date promised -> bulk litres. [L]
    """

    lead_days: tuple[int, int] = (3, 10)
    holidays: str | None = None
    closed: frozenset[date] = frozenset()
    look_every_days: int = 1
    risk: float = 0.005
    min_drop_l: float = 500.0
    ordered: Mapping[date, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        low, high = self.lead_days
        problems = []
        if not 0 <= low <= high <= 120:
            problems.append(
                Problem(
                    "lead_days", "lead_days", "give working days as 3-10, within 0 to 120", f"{low}-{high}"
                )
            )
        if not 0 < self.risk <= 0.5:
            problems.append(
                Problem(
                    "risk", "risk", "give a chance above 0 and at most 0.5, such as 0.005", f"{self.risk:g}"
                )
            )
        if not 0 <= self.look_every_days <= 60:
            problems.append(
                Problem("look_every_days", "look_every_days", "give 0 to 60 days", f"{self.look_every_days}")
            )
        if not 0 < self.min_drop_l <= 100_000:
            problems.append(
                Problem("min_drop_l", "min_drop_l", "give litres above 0", f"{self.min_drop_l:g}")
            )
        if any(not 0 < litres <= 100_000 for litres in self.ordered.values()):
            problems.append(Problem("ordered", "ordered", "give litres above 0 as DATE:litres"))
        if problems:
            raise OrderError(problems)


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


def delivery_days(
    first: date, days: int, *, settings: OrderSettings
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Delivery day of an order placed on each day, for each lead time.

    Parameters
    ----------
    first : date
        The day that counts as index 0.
    days : int
        Order days looked at.

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
    low, high = settings.lead_days
    span = days + 2 * high + 60
    calendar = [first + timedelta(days=i) for i in range(span)]
    shut = public_holidays(settings.holidays, range(first.year, calendar[-1].year + 1)) | settings.closed
    working = np.array([i for i, d in enumerate(calendar) if d.weekday() < 5 and d not in shut], np.int64)
    # working days strictly after the order day; a lead of 0 is the order day or the next working day
    after = np.searchsorted(working, np.arange(days), side="right")
    leads = np.arange(low, high + 1)
    same_day = np.searchsorted(working, np.arange(days), side="left")
    nth = np.where(leads[None, :] == 0, same_day[:, None], after[:, None] + leads[None, :] - 1)
    return working[np.minimum(nth, len(working) - 1)], working


def advise_order(
    litres: Floats,
    p_dry: Floats,
    *,
    now_l: Floats,
    first: date,
    safe_fill_l: float,
    settings: OrderSettings,
) -> OrderAdvice:
    """Find the order window and the quantity.

    Parameters
    ----------
    litres : float array, shape (path, day)
        Bulk litres at the end of each day ahead, orders already placed counted. [L]
    p_dry : float array, shape (day,)
        Chance of having touched the heel by the end of each day.
    now_l : float array, shape (path,)
        Bulk litres at the as-of instant. [L]
    first : date
        Civil date of as-of: day index 0, and the first possible order date.
    safe_fill_l : float
        Litres up to which the tank may be filled. [L]

    Notes
    -----
    Room on a delivery day is reckoned from the evening before: the tanker may come in the morning.
    """
    days = litres.shape[1]
    delivery, _ = delivery_days(first, days, settings=settings)
    # only order days whose every delivery (and one look more) lies within sight
    in_sight = int((delivery[:, -1] + settings.look_every_days < days).sum())
    if in_sight == 0:
        return _no_need(days)
    seen = delivery[:in_sight]
    risk = p_dry[seen + settings.look_every_days].mean(axis=1)
    # distinct delivery days only, and days first: several times faster
    first_delivery, back = np.unique(seen[:, 0], return_inverse=True)
    evening_before = np.concatenate([now_l[None], litres.T])[first_delivery]
    ordered = np.sort(evening_before, axis=1)
    fullest = ordered[:, int(np.ceil(FITS * (ordered.shape[1] - 1)))][back]
    room = safe_fill_l - fullest
    fits = np.flatnonzero(room >= settings.min_drop_l)
    safe = risk <= settings.risk
    latest = int(np.flatnonzero(~safe)[0]) - 1 if not safe.all() else None
    earliest = int(fits[0]) if len(fits) else None
    if latest is None:
        return _no_need(in_sight)
    return _window(earliest, latest, first=first, room=room, settings=settings)


def order_below_l(
    litres: Floats, *, now_l: Floats, first: date, heel_l: float, settings: OrderSettings
) -> float | None:
    """Level below which an order is due today: the heel, and what may burn until a delivery.

    Parameters
    ----------
    litres : float array, shape (path, day)
        Bulk litres at the end of each day ahead. [L]
    now_l : float array, shape (path,)
        Bulk litres at the as-of instant. [L]

    Returns
    -------
    float or None
        Bulk litres; None where deliveries lie beyond the days simulated. [L]

    Examples
    --------
    >>> falling = 500.0 - 10.0 * np.arange(1, 21)[None]
    >>> order_below_l(falling, now_l=np.array([500.0]), first=date(2024, 1, 8), heel_l=50.0,
    ...               settings=OrderSettings(lead_days=(3, 3)))
    100.0
    """
    delivery, _ = delivery_days(first, 1, settings=settings)
    by = delivery[0] + settings.look_every_days
    if by[-1] >= litres.shape[1]:
        return None
    burned = now_l[:, None] - litres[:, by]
    return heel_l + float(np.quantile(burned, 1.0 - settings.risk))


def quantity_l(room_l: float, *, min_drop_l: float) -> float:
    """Litres to order for the room there is: down to a 10 l step, never below the smallest delivery.

    Examples
    --------
    >>> quantity_l(1234.0, min_drop_l=500.0)
    1230.0
    """
    return max(float(np.floor(room_l / STEP_L + 1e-9) * STEP_L), min_drop_l)


def _window(
    earliest: int | None, latest: int, *, first: date, room: Floats, settings: OrderSettings
) -> OrderAdvice:
    def on(index: int) -> date:
        return first + timedelta(days=index)

    last = max(latest, 0)
    if earliest is None or earliest > last:
        fits = float(np.floor(max(room[last], 0.0) / STEP_L) * STEP_L)
        smallest = litres_text(settings.min_drop_l)
        by = (
            f"the last safe day to order is {day_text(on(last), year=on(last).year != first.year)}"
            if latest > 0
            else "a safe order is due today"
        )
        room_then = (
            f"what is sure to fit then is {litres_text(fits)}" if fits else "nothing is sure to fit then"
        )
        little = "a supplier who delivers that little, " if fits else ""
        text = (
            f"There is no day on which the smallest delivery of {smallest} is sure to fit and the tank is still "
            f"safe from running dry: {by}, and {room_then}. What would open a window: {little}a shorter delivery "
            "time, or a larger tank."
        )
        return OrderAdvice(
            on(earliest) if earliest is not None else None, on(latest), None, "no_safe_window", text
        )
    litres = quantity_l(float(room[earliest]), min_drop_l=settings.min_drop_l)
    if latest <= 0:
        return OrderAdvice(
            on(earliest), on(latest), litres, "order_today", f"Order about {litres:,.0f} litres today."
        )
    return OrderAdvice(on(earliest), on(latest), litres, "window", f"Order about {litres:,.0f} litres.")


def _no_need(days: int) -> OrderAdvice:
    return OrderAdvice(
        None, None, None, "no_need", f"No order is needed within the {days} days that can be seen."
    )
