"""The order window and the quantity.

Flow     litres paths, chance of being dry -> **order window** -> wording
Rule     latest   = last day d with P(dry by the delivery of an order placed on d) <= risk, the mean over the
                    days that pass until somebody looks again
         earliest = first day d with P(room >= smallest delivery on the EARLIEST delivery day) >= 0.9
         litres   = safe fill - 90 % (fullest) level on the earliest delivery day, down to a 10 l step
         With prices, litres is the cheapest that fits within the window, and earliest the first day on
         which it does.
"""

from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from forecaster.confidence import OrderAdvice
from forecaster.phrases import day_text, litres_text, money_text
from forecaster.reorder.choice import Choice, choose_order, down_to_step
from forecaster.reorder.days import delivery_days, nth_working_day, working_days
from forecaster.reorder.lead import Spells
from forecaster.reorder.risk import count_order_days, first_unsafe_day
from forecaster.reorder.settings import OrderSettings

Floats = npt.NDArray[np.float64]

FITS = 0.9
"""Chance with which the smallest delivery must fit, and the level the quantity is reckoned from."""
DAYS_PER_YEAR = 365.25

WHOM_TO_ASK = (
    "Ask the supplier about a smaller delivery or about paying in parts; an oil club or neighbours about "
    "sharing a delivery; the local council or an advice service about help with heating costs."
)
"""Said where the smallest delivery is out of reach. Common practice, no source."""


def advise_order(
    litres: Floats,
    p_dry: Floats,
    *,
    now_l: Floats,
    first: date,
    safe_fill_l: float,
    settings: OrderSettings,
    spells: Spells | None = None,
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
    settings : OrderSettings
    spells : Spells, optional
        The paths' weather; None: deliveries are taken to be as quick in a cold spell.

    Notes
    -----
    Room on a delivery day is reckoned from the evening before: the tanker may come in the morning. It
    is reckoned for the shortest lead time, which no cold spell lengthens. Oil that is promised for a
    later day needs its room too.
    """
    days = litres.shape[1]
    slower = settings.cold_lead.most_days if settings.cold_lead is not None and spells is not None else 0
    in_sight = count_order_days(first, days, settings=settings, slower=slower)
    if in_sight == 0:
        return _no_need(days)
    unsafe = first_unsafe_day(p_dry, first=first, order_days=in_sight, settings=settings, spells=spells)
    if unsafe is None:
        return _no_need(in_sight)
    room = safe_fill_l - _fullest_l(litres, now_l, first=first, order_days=in_sight, settings=settings)
    fits = np.flatnonzero(room >= settings.smallest_l)
    earliest = int(fits[0]) if len(fits) else None
    last = max(unsafe - 1, 0)
    if earliest is None or earliest > last:
        return _no_window(earliest, unsafe - 1, first=first, room_l=float(room[last]), settings=settings)
    yearly_l = (float(now_l.mean() - litres[:, -1].mean()) + _promised_l(first, days, settings)) / days
    choice = choose_order(
        room, earliest=earliest, latest=last, first=first, yearly_l=yearly_l * DAYS_PER_YEAR,
        settings=settings,
    )  # fmt: skip
    return _window(earliest, unsafe - 1, choice, first=first, room=room, settings=settings)


def order_below_l(
    litres: Floats,
    *,
    now_l: Floats,
    first: date,
    heel_l: float,
    settings: OrderSettings,
    spells: Spells | None = None,
) -> float | None:
    """Level below which an order is due today: the heel, and what may burn until a delivery.

    Parameters
    ----------
    litres : float array, shape (path, day)
        Bulk litres at the end of each day ahead. [L]
    now_l : float array, shape (path,)
        Bulk litres at the as-of instant. [L]
    first : date
        Civil date of as-of.
    heel_l : float
        Litres that the boiler cannot use. [L]
    settings : OrderSettings
    spells : Spells, optional
        The paths' weather, where deliveries slow down in the cold.

    Returns
    -------
    float or None
        Bulk litres; None where deliveries lie beyond the days simulated. [L]

    Notes
    -----
    The newsvendor's quantity of the demand over lead time and review: the accepted risk stands for
    1 - critical ratio.

    Examples
    --------
    >>> falling = 500.0 - 10.0 * np.arange(1, 21)[None]
    >>> order_below_l(falling, now_l=np.array([500.0]), first=date(2024, 1, 8), heel_l=50.0,
    ...               settings=OrderSettings(lead_days=(3, 3)))
    100.0
    """
    # due today where tomorrow is too late, or any day until the next look
    orders = np.array([u + 1 for u in settings.late_days] if settings.look_every_days else [0])
    working = working_days(first, int(orders[-1]) + 1, settings=settings)
    leads, chance = settings.leads
    nth = nth_working_day(working, orders, leads)
    cold, burned = settings.cold_lead, []
    for order_day, places in zip(orders, nth, strict=True):
        extra = np.zeros(len(now_l), np.int64)
        if spells is not None and cold is not None:
            extra = cold.extra_days(spells.colder_k(int(order_day)))
        by = working[np.minimum(places[None, :] + extra[:, None], len(working) - 1)]
        if by.max() >= litres.shape[1]:
            return None
        burned.append(now_l[:, None] - np.take_along_axis(litres, by, axis=1))
    all_burned = np.stack(burned)
    weight = np.broadcast_to(chance, all_burned.shape)
    return heel_l + _quantile(all_burned, weight, 1.0 - settings.risk)


def quantity_l(room_l: float, *, min_drop_l: float) -> float:
    """Litres to order for the room there is: down to a 10 l step, never below the smallest delivery.

    Examples
    --------
    >>> quantity_l(1234.0, min_drop_l=500.0)
    1230.0
    """
    return max(float(down_to_step(np.array(room_l))), min_drop_l)


def _quantile(value: Floats, weight: Floats, chance: float) -> float:
    """Quantile of weighted values, linear between them; of equal weights numpy's own."""
    if np.ptp(weight) == 0.0:
        return float(np.quantile(value, chance))
    order = np.argsort(value, axis=None)
    ordered = weight.ravel()[order]
    below = np.cumsum(ordered) - ordered
    return float(np.interp(chance, below / below[-1], value.ravel()[order]))


def _fullest_l(
    litres: Floats, now_l: Floats, *, first: date, order_days: int, settings: OrderSettings
) -> Floats:
    """Level that nine tanks in ten do not exceed on the evening before the earliest delivery: (order day,)."""
    earliest = delivery_days(first, order_days, settings=settings)[0][:, 0]
    # distinct delivery days only, and days first: several times faster
    distinct, back = np.unique(earliest, return_inverse=True)
    fullest = _quantile_up(np.concatenate([now_l[None], litres.T])[distinct])[back]
    for day in settings.ordered:
        promised = (day - first).days
        if 0 <= promised < litres.shape[1]:
            then = float(_quantile_up(litres[None, :, promised])[0])
            fullest = np.where(earliest <= promised, np.maximum(fullest, then), fullest)
    return fullest


def _quantile_up(litres: Floats) -> Floats:
    """Level that nine paths in ten do not exceed, of each row. [L]"""
    ordered = np.sort(litres, axis=1)
    level: Floats = ordered[:, int(np.ceil(FITS * (ordered.shape[1] - 1)))]
    return level


def _promised_l(first: date, days: int, settings: OrderSettings) -> float:
    return sum(v for day, v in settings.ordered.items() if 0 <= (day - first).days < days)


def _window(
    earliest: int,
    latest: int,
    choice: Choice | None,
    *,
    first: date,
    room: Floats,
    settings: OrderSettings,
) -> OrderAdvice:
    note = "order_today" if latest <= 0 else "window"
    last = first + timedelta(days=latest)
    if choice is None:
        litres = quantity_l(float(room[earliest]), min_drop_l=settings.smallest_l)
        return OrderAdvice(first + timedelta(days=earliest), last, litres, note, _order_text(litres, note))
    begin = first + timedelta(days=choice.day)
    if choice.litres is None:
        by = day_text(last, year=last.year != first.year) if latest > 0 else "today"
        text = (
            f"The smallest delivery of {litres_text(settings.smallest_l)} costs about "
            f"{money_text(choice.money.smallest_cost)}, and {money_text(choice.money.budget or 0.0)} is to be "
            f"spent: that is too little for any delivery. To be safe, oil has to be ordered by {by} all the "
            f"same. {WHOM_TO_ASK}"
        )
        return OrderAdvice(begin, last, None, note, text, choice.money)
    return OrderAdvice(begin, last, choice.litres, note, _order_text(choice.litres, note), choice.money)


def _order_text(litres: float, note: str) -> str:
    return f"Order about {litres:,.0f} litres{' today' if note == 'order_today' else ''}."


def _no_window(
    earliest: int | None, latest: int, *, first: date, room_l: float, settings: OrderSettings
) -> OrderAdvice:
    def on(index: int) -> date:
        return first + timedelta(days=index)

    last = max(latest, 0)
    fits = float(down_to_step(np.array(max(room_l, 0.0))))
    smallest = litres_text(settings.smallest_l)
    by = (
        f"the last safe day to order is {day_text(on(last), year=on(last).year != first.year)}"
        if latest > 0
        else "a safe order is due today"
    )
    room_then = f"what is sure to fit then is {litres_text(fits)}" if fits else "nothing is sure to fit then"
    little = "a supplier who delivers that little, " if fits else ""
    text = (
        f"There is no day on which the smallest delivery of {smallest} is sure to fit and the tank is still "
        f"safe from running dry: {by}, and {room_then}. What would open a window: {little}a shorter delivery "
        "time, or a larger tank."
    )
    begin = on(earliest) if earliest is not None else None
    return OrderAdvice(begin, on(latest), None, "no_safe_window", text)


def _no_need(days: int) -> OrderAdvice:
    return OrderAdvice(
        None, None, None, "no_need", f"No order is needed within the {days} days that can be seen."
    )
