"""A tank replayed on a life's burn under a rule of ordering.

Flow     life's burn, rule -> orders, deliveries -> **cycles**: did it run dry, what was left at delivery
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from forecaster.climate import normal_day
from forecaster.fuel import to_bulk_litres
from forecaster.reorder.choice import down_to_step
from forecaster.reorder.days import nth_working_day, working_days
from forecaster.reorder.lead import SPELL_DAYS
from tests.accuracy.closed_loop.looks import ORDERING, Looker
from tests.accuracy.data import Floats
from tests.accuracy.world import Life
from tests.accuracy.world.records import Ints

LOOKS_ANYWAY_D = 14
"""However much is in the tank, somebody looks so often. [d]"""
FAR, FAR_L = 1.4, 40.0
"""Above so many times the last level at which an order was due, and so many litres, nobody looks. [-, L]"""
BELIEVABLE = 0.15
"""A reading further off than that part of the capacity is a false echo to anybody. [-]"""
OPEN_H = (8.0, 17.0)
"""A tanker comes at some hour between. [h]"""

Rule = Callable[[int, float, float], float | None]
"""(day, usable litres now, most usable litres) -> litres to order, or None."""


@dataclass(frozen=True, slots=True)
class Cycle:
    """From one delivery to the next: whether only the heel was left when it came, and what else was. [L]"""

    dry: bool
    left_l: float


@dataclass(frozen=True, slots=True, eq=False)
class House:
    """A life as a tank is replayed on it.

    ``burned_l`` true bulk litres by day, ``extra_days`` how much slower an order of each day is,
    ``seen_error_l`` what the sensor shows too much at the beginning of each day.
    """

    life: Life
    burned_l: Floats
    extra_days: Ints
    seen_error_l: Floats

    @classmethod
    def of(cls, life: Life) -> "House":
        """Take from a life what the replay needs."""
        bulk = np.asarray(to_bulk_litres(life.burned_l, life.oil_c, life.tank.fuel.density_15c))
        colder = normal_day(life.house.climate.normals, life.date)[0] - life.weather.temp_c
        week = np.convolve(colder, np.full(SPELL_DAYS, 1.0 / SPELL_DAYS), mode="valid")
        cold = ORDERING.cold_lead
        assert cold is not None
        return cls(life, bulk, cold.extra_days(week), seen_error_l(life, bulk))


def replay_tank(
    house: House, rule: Rule, *, usable_l: float, start_l: float, from_day: int,
    rng: np.random.Generator,
) -> tuple[tuple[Cycle, ...], int]:  # fmt: skip
    """Let a household follow a rule; the same generator gives every rule the same luck with its deliveries.

    Parameters
    ----------
    house : House
    rule : callable
    usable_l, start_l : float
        True litres between heel and safe fill, and those of them that are in the tank at first. [L]
    from_day : int
        First day of the life on which somebody looks.
    rng : Generator

    Returns
    -------
    cycles
        Those that ended.
    days
        From the beginning to the last delivery.
    """
    level = start_l
    last_day = len(house.extra_days) - 1
    luck = iter(rng.random((400, 2)))
    cycles: list[Cycle] = []
    day, ended = from_day, from_day
    while day < last_day:
        wanted = None
        if (day - from_day) % ORDERING.look_every_days == 0:
            wanted = rule(day, level, usable_l)
        if wanted is None:
            level = max(level - house.burned_l[day], 0.0)
            day += 1
            continue
        lead, hour = next(luck)
        comes = _delivery_day(house, day, float(lead))
        at = OPEN_H[0] + float(hour) * (OPEN_H[1] - OPEN_H[0])
        if comes >= len(house.burned_l):
            break
        before = level - house.burned_l[day:comes].sum() - house.burned_l[comes] * at / 24.0
        cycles.append(Cycle(bool(before <= 0.0), float(max(before, 0.0))))
        filled = min(max(before, 0.0) + wanted, usable_l)
        level = max(filled - house.burned_l[comes] * (1.0 - at / 24.0), 0.0)
        # a look is on a day of its own rhythm, whenever oil came
        day = ended = comes + 1
    return tuple(cycles), ended - from_day


def forecast_rule(look: Looker, risk: float, *, least_l: float) -> Rule:
    """Order when the look says that it is due, what surely fits on the earliest delivery day."""
    last: dict[str, float] = {"day": -np.inf, "due": 0.0}

    def rule(day: int, level_l: float, most_l: float) -> float | None:
        far = level_l > FAR * last["due"] + FAR_L
        if far and 0 <= day - last["day"] < LOOKS_ANYWAY_D:
            return None
        told = look(day)
        last.update(day=day, due=told.due_below_l[risk])
        if level_l >= told.due_below_l[risk]:
            return None
        room = most_l - level_l + told.burned_least_l
        return max(float(down_to_step(np.array(room))), least_l)

    return rule


def reserve_rule(reserve: float, *, least_l: float, error_l: Floats | None = None) -> Rule:
    """Order when no more than a fixed part of the usable litres is left, what fits on that day.

    ``error_l`` is what is seen too much on each day; None: the true level is known.
    """

    def rule(day: int, level_l: float, most_l: float) -> float | None:
        seen = level_l if error_l is None else level_l + float(error_l[day])
        if seen >= reserve * most_l:
            return None
        return max(float(down_to_step(np.array(most_l - seen))), least_l)

    return rule


def seen_error_l(life: Life, burned_l: Floats) -> Floats:
    """How many litres too much the newest sound reading shows at the beginning of each day, shape (day,).

    By the tank's file, its table's error apart; what nobody would believe (outside the tank, or far from
    the truth) is passed over, and so are days on which oil came.
    """
    tank, shape = life.tank, life.house.shape
    share = shape.capacity_l / tank.capacity_l
    dip = (tank.sensor_height_mm or 0.0) - life.readings.value
    day = (life.readings.at.astype("datetime64[D]") - life.date[0]).astype(np.int64)
    part = (life.readings.at - life.readings.at.astype("datetime64[D]")) / np.timedelta64(1, "D")
    sound = (dip >= 0.0) & (dip <= tank.shape.height_mm) & (day > 0) & (life.delivered_l[day] == 0.0)
    day, part = day[sound], part[sound]
    true = life.level_l[day - 1] - part * burned_l[day]
    error = share * np.asarray(tank.shape.litres(dip[sound])) - true
    near = np.abs(error) < BELIEVABLE * tank.capacity_l
    day, error = day[near], error[near]
    newest = np.searchsorted(day, np.arange(len(life.date)), side="left") - 1
    return np.where(newest >= 0, error[np.maximum(newest, 0)], 0.0)


def _delivery_day(house: House, ordered: int, luck: float) -> int:
    """Day on which an order comes: its lead time by chance, and longer in the cold."""
    first = house.life.date[ordered].item()
    working = working_days(first, 1, settings=ORDERING)
    leads, chance = ORDERING.leads
    drawn = leads[np.searchsorted(np.cumsum(chance), luck * 0.999999, side="right")]
    nth = nth_working_day(working, np.array([0]), np.array([drawn]))[0, 0]
    return ordered + int(working[nth + house.extra_days[ordered]])
