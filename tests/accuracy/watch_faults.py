"""What households are told, on the day: of sound houses, and after each kind of fault, by the whole engine.

Flow     life, fault -> readings and tickets as they would come -> state and reasons by as-of day -> **delays, alarms**

The faults that the simulated world has of its own (a sensor that repeats itself or falls silent, a ticket without
its oil, a tank of another size, other habits) come from there; the others are put into the readings here.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC

import numpy as np
import numpy.typing as npt

from forecaster.climate import WeatherYears
from forecaster.pipeline import Inputs, work_out
from forecaster.readings import Readings
from forecaster.states import State
from tests.accuracy.world import Faults, Life, World, draw_life

Floats = npt.NDArray[np.float64]
QUIET_D = 14.0
"""Alarms less far apart are one. [d]"""
TOLD_EVERY_D = 3
LOOK_D = (0, 1, 2, 3, 4, 6, 8, 11, 14, 18, 23, 30)
"""Days after a fault at whose ends the engine is asked. [d]"""
COLDEST = 15
"""Of a life's days after the first year, a fault in frost is put on the one before the coldest stretch of so many."""
SIZES = (0.85, 1.0, 1.15)
DAY = np.timedelta64(1, "D")
LOUD = (State.CHECK, State.URGENT)


@dataclass(frozen=True, slots=True)
class Told:
    """What sound houses are told: days a tank-year in each state, and with each reason; as-of days looked at.

    ``alarms_a_year`` counts stretches in which a date is withheld by a question, `QUIET_D` apart.
    """

    houses: int
    days: int
    days_a_year: dict[str, float]
    se: dict[str, float]
    reasons_days_a_year: dict[str, float]
    alarms_a_year: float
    alarms_a_year_se: float
    alarms_a_year_by_reason: dict[str, float]


@dataclass(frozen=True, slots=True)
class Delay:
    """How soon a fault is told of, by a reason that names it: median of days, shares by days; lives looked at."""

    fault: str
    reasons: tuple[str, ...]
    lives: int
    median_d: float
    within_3_d: float
    within_14_d: float
    within_30_d: float
    se_14_d: float


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault: what the world does of it, what is done to the readings from its day on, and what names it."""

    codes: tuple[str, ...]
    world: Callable[[int], Faults] | None = None
    spoil: Callable[[Life, Readings, int], Readings] | None = None
    in_frost: bool = False


def _since(life: Life, readings: Readings, day: int) -> Floats:
    """Days since the fault of each reading, 0 before; shape (n,)."""
    began = life.date[day].astype("datetime64[s]")
    return np.maximum((readings.at - began) / DAY, 0.0)


def _unit(life: Life, readings: Readings, day: int) -> Readings:
    """Centimetres for millimetres."""
    since = _since(life, readings, day)
    return replace(readings, value=np.where(since > 0.0, readings.value / 10.0, readings.value))


def _swapped(life: Life, readings: Readings, day: int) -> Readings:
    """The sensor goes on in another tank, half as high again and nearly empty."""
    since = _since(life, readings, day)
    other = 1.45 * (life.tank.sensor_height_mm or 0.0) + 2.0 * np.minimum(since, 50.0)
    return replace(readings, value=np.where(since > 0.0, np.round(other), readings.value))


def _rising(life: Life, readings: Readings, day: int) -> Readings:
    """Ten millimetres of water a day get in."""
    return replace(readings, value=np.maximum(readings.value - 10.0 * _since(life, readings, day), 0.0))


def _no_use(life: Life, readings: Readings, day: int) -> Readings:
    """Nothing is burned any more; the sensor still moves by a step now and then."""
    since = _since(life, readings, day)
    held = np.flatnonzero(since == 0.0)
    last = readings.value[held[-1]] if len(held) else readings.value[0]
    step = life.tank.resolution_mm * (np.arange(len(since)) % 3 == 0)
    return replace(readings, value=np.where(since > 0.0, last + step, readings.value))


def _at_the_heel(life: Life, readings: Readings, day: int) -> Readings:
    """The level stands at the draw-off."""
    heel = (life.tank.sensor_height_mm or 0.0) - life.tank.heel_mm
    return replace(
        readings, value=np.where(_since(life, readings, day) > 0.0, np.round(heel), readings.value)
    )


FAULTS: Mapping[str, Fault] = {
    "stuck sensor": Fault(("stuck",), world=lambda day: Faults(stuck_from=day)),
    "silent sensor": Fault(("silent", "stale", "no_echo"), world=lambda day: Faults(dead_from=day)),
    "ticket without its oil": Fault(
        ("ticket_without_rise", "ticket_not_yet_seen"), world=lambda day: Faults(empty_ticket=(day, 500.0))
    ),
    "habits: two people more, a kelvin warmer": Fault(
        ("slow_loss", "more_use", "loss"), world=lambda day: Faults(habits=(day, 2.0, 1.0))
    ),
    "another unit": Fault(("unit", "another_tank"), spoil=_unit),
    "another tank": Fault(("another_tank", "no_echo", "contradiction"), spoil=_swapped),
    "rising by a centimetre a day": Fault(("rising",), spoil=_rising),
    "no use in frost": Fault(("no_use_in_frost", "stuck"), spoil=_no_use, in_frost=True),
    "at the draw-off": Fault(("maybe_dry",), spoil=_at_the_heel),
}


def inputs_at(life: Life, day: int) -> Inputs:
    """What a user has at the end of a day of a life."""
    as_of = (life.date[day] + 1).astype("datetime64[s]").item().replace(tzinfo=UTC)
    return Inputs(
        tank=life.tank, as_of=as_of, readings=life.readings, weather=life.weather, deliveries=life.deliveries,
        receipts=life.receipts, survey=life.survey,
    )  # fmt: skip


def tell(life: Life, day: int) -> tuple[State, tuple[str, ...]]:
    """State and codes of all that the engine finds at the end of a day."""
    start = life.date[day] + 1
    calm = WeatherYears(start, np.full((8, 31), 8.0), np.full((8, 31), 2000.0), "the same mild days")
    asked = replace(inputs_at(life, day), weather_ahead=calm, horizon_days=30, paths=200)
    forecast = work_out(asked, rng=np.random.default_rng(1)).forecast
    return forecast.state, tuple(r.code for r in forecast.reasons)


def measure_told(world: World, *, seed: int, houses: int, every_d: int = TOLD_EVERY_D) -> Told:
    """Ask the whole engine of sound houses, on some days of the second year."""
    states: list[dict[str, float]] = []
    reasons: dict[str, int] = {}
    loud: dict[str, int] = {}
    asked, counts = 0, np.zeros(houses)
    for number in range(houses):
        life = draw_life(world, np.random.default_rng([seed, number]), days=732)
        days = range(366 + number % every_d, 732, every_d)
        told = [tell(life, day) for day in days]
        asked += len(told)
        states.append({s.name: sum(state is s for state, _ in told) / len(told) for s in State})
        for _, codes in told:
            for code in set(codes):
                reasons[code] = reasons.get(code, 0) + 1
        for first in begins([day for day, (state, _) in zip(days, told, strict=True) if state in LOUD]):
            counts[number] += 1
            for code in set(told[list(days).index(first)][1]):
                loud[code] = loud.get(code, 0) + 1
    by_state = {s.name: np.array([share[s.name] for share in states]) * 365.25 for s in State}
    years = 366.0 / 365.25
    return Told(
        houses, asked, {k: round(float(v.mean()), 2) for k, v in by_state.items()},
        {k: round(float(v.std(ddof=1) / np.sqrt(houses)), 2) for k, v in by_state.items()},
        {k: round(365.25 * n / asked, 2) for k, n in sorted(reasons.items(), key=lambda i: -i[1])},
        round(float(counts.mean()) / years, 2), round(float(counts.std(ddof=1) / np.sqrt(houses)) / years, 2),
        {k: round(n / houses / years, 2) for k, n in sorted(loud.items(), key=lambda i: -i[1])},
    )  # fmt: skip


def begins(days: list[int]) -> list[int]:
    """Days that begin a stretch: further than `QUIET_D` from the one before.

    Examples
    --------
    >>> begins([3, 6, 9, 40, 43])
    [3, 40]
    """
    return [day for i, day in enumerate(days) if i == 0 or day - days[i - 1] > QUIET_D]


def measure_delays(world: World, *, seed: int, houses: int) -> list[Delay]:
    """Put each fault into each house, and ask the engine at the ends of some days from then on."""
    return [_delay(name, fault, world, seed=seed, houses=houses) for name, fault in FAULTS.items()]


def _delay(name: str, fault: Fault, world: World, *, seed: int, houses: int) -> Delay:
    delays: list[float] = []
    for number in range(houses):
        day = int(np.random.default_rng([seed, number, 4]).integers(380, 690))
        if fault.in_frost:
            day = _coldest(draw_life(world, np.random.default_rng([seed, number]), days=732))
        life = _faulty(fault, world, np.random.default_rng([seed, number]), day=day)
        if named(fault, tell(life, day - 1)[1]):
            continue  # it was told of before it was there
        told = (after for after in LOOK_D if named(fault, tell(life, day + after)[1]))
        delays.append(next(told, np.inf))
    d = np.array(delays)
    share = float((d <= 14).mean())
    return Delay(
        name, fault.codes, len(d), float(np.median(d)), round(float((d <= 3).mean()), 3), round(share, 3),
        round(float((d <= 30).mean()), 3), round(float(np.sqrt(share * (1.0 - share) / len(d))), 3),
    )  # fmt: skip


def measure_geometry(world: World, *, seed: int, houses: int) -> dict[str, float]:
    """Share of houses told, after two years, that tickets and rises disagree; by true size over the file's."""
    told = dict.fromkeys(SIZES, 0)
    for number in range(houses):
        for size in SIZES:
            faults = Faults(geometry=size)
            life = draw_life(world, np.random.default_rng([seed, number]), days=732, faults=faults)
            told[size] += bool(set(tell(life, 730)[1]) & {"geometry", "ticket_off"})
    return {f"{size:g}": round(count / houses, 3) for size, count in told.items()}


def named(fault: Fault, codes: tuple[str, ...]) -> bool:
    """Whether a reason among those given names the fault."""
    return bool(set(codes) & set(fault.codes))


def _faulty(fault: Fault, world: World, chance: np.random.Generator, *, day: int) -> Life:
    """A life with the fault from the day on."""
    faults = fault.world(day) if fault.world is not None else Faults()
    life = draw_life(world, chance, days=max(day + max(LOOK_D) + 2, 732), faults=faults)
    if fault.spoil is None:
        return life
    return replace(life, readings=fault.spoil(life, life.readings, day))


def _coldest(life: Life) -> int:
    """First day of the coldest stretch of the second year."""
    mean = np.convolve(life.weather.temp_c, np.ones(COLDEST) / COLDEST, mode="valid")
    return 380 + int(mean[380:690].argmin())
