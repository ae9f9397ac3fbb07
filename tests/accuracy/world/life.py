"""A life of a true house: its weather, burn, deliveries, readings and tickets, from one seed.

Flow     world, seed, faults -> house -> **life**; what a user has of it (readings, tickets, survey) and the truth
"""

from dataclasses import dataclass, replace

import numpy as np

from forecaster.deliveries import Deliveries, Receipts
from forecaster.dwelling import Survey
from forecaster.fuel import to_bulk_litres
from forecaster.readings import Readings
from forecaster.tanks import LyingBox, LyingCylinder, Shape, StrappingTable, Tank, UprightBox, UprightCylinder
from forecaster.weather import Weather
from tests.accuracy.world.gauge import Truth, read
from tests.accuracy.world.habits import draw_habits
from tests.accuracy.world.homes import TrueHouse, World, draw_house
from tests.accuracy.world.physics import Days as DrivingDays
from tests.accuracy.world.physics import run
from tests.accuracy.world.records import Days, Floats, Ints, month_of, of_year
from tests.accuracy.world.sky import Climate, cut, draw_weather, weather_ahead
from tests.accuracy.world.sun import SunTable, sun_table
from tests.accuracy.world.supply import Bought, buy, receipts_of, tickets_of

BEFORE_D, SETTLING_D = 731, 30
"""Days before the first reading of which there are receipts, and before those for the house to settle."""
FIRST = np.datetime64("2022-01-01")
"""The first reading is of a day of the year from here on."""
SITE_MEMORY = 0.7
"""From day to day, of the air at the house over that at the station. [-]"""
DAMPED = {"outdoors": (10.0, 1.0), "shed": (12.0, 0.7), "indoors": (17.0, 0.1)}
"""Mean and share of the outdoor swing of the air about a tank. Assumptions."""


@dataclass(frozen=True, slots=True)
class Faults:
    """What goes wrong, and from which day of the life (0 the first) on; None for nothing.

    Attributes
    ----------
    leak
        (day, litres at 15 °C a day) from the day on.
    theft
        (day, litres) at once.
    silent_delivery
        (day, litres) delivered without a ticket.
    empty_ticket
        (day, litres) on a ticket, and nothing delivered.
    stuck_from, dead_from
        Day from which the sensor repeats itself for ever, or says nothing.
    boiler
        (day, factor on its efficiency).
    insulation
        (day, factor on the loss by conduction).
    habits
        (day, people more, kelvin warmer).
    geometry
        Factor on the true litres of the tank, always, beside the file's own error.
    """

    leak: tuple[int, float] | None = None
    theft: tuple[int, float] | None = None
    silent_delivery: tuple[int, float] | None = None
    empty_ticket: tuple[int, float] | None = None
    stuck_from: int | None = None
    dead_from: int | None = None
    boiler: tuple[int, float] | None = None
    insulation: tuple[int, float] | None = None
    habits: tuple[int, float, float] | None = None
    geometry: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Life:
    """A house day by day; arrays of shape (day,), the days those of UTC.

    Attributes
    ----------
    house
        The truth.
    date
        Consecutive days from the first reading on.
    weather
        As the station reports it; a day's weather is known at its end.
    weather_before
        The same of the two years before, with which receipts can be read.
    burned_l
        Burned each day, litres at 15 °C. [l]
    lost_l, delivered_l
        Leaked or stolen, and delivered, each day, litres at 15 °C. [l]
    level_l
        True bulk litres at the end of each day, at the temperature that the oil then has. [l]
    level_15c_l
        The same as litres at 15 °C. [l]
    oil_c
        True temperature of the oil at the end of each day. [degC]
    readings, deliveries, receipts, tank, survey
        What a user has. Receipts are of the two years before the first reading.
    states, walk
        How house and people stand at the end of each day, shapes (day, 5), (day, 5).
    sums
        Sums of each day, shape (day, 7), as `physics.OUT`. [kWh]
    loss_factor, efficiency_factor, more_people, warmer_k
        Changes by faults.
    """

    house: TrueHouse
    date: Days
    weather: Weather
    weather_before: Weather
    burned_l: Floats
    lost_l: Floats
    delivered_l: Floats
    level_l: Floats
    level_15c_l: Floats
    oil_c: Floats
    readings: Readings
    deliveries: Deliveries
    receipts: Receipts
    tank: Tank
    survey: Survey
    states: Floats
    walk: Floats
    sums: Floats
    loss_factor: Floats
    efficiency_factor: Floats
    more_people: Floats
    warmer_k: Floats


def draw_life(
    world: World,
    rng: np.random.Generator,
    *,
    days: int,
    faults: Faults = Faults(),
) -> Life:
    """Draw a house and let it live.

    Parameters
    ----------
    world
        `TUNING` or `REPORTING`.
    rng
        A fresh generator: the same seed gives the same life bit for bit. Each part of chance has a stream
        of its own, so that a fault changes what follows from it and no other draw.
    days
        From the first reading on.
    faults
        What goes wrong.

    Returns
    -------
    Life
    """
    house_rng, day_rng, weather_rng, habit_rng, site_rng, buy_rng, ticket_rng, gauge_rng = rng.spawn(8)
    house = draw_house(world, house_rng)
    whole = SETTLING_D + BEFORE_D + days
    first = FIRST + int(day_rng.integers(0, 365))
    date = np.arange(first - (whole - days), first + days, dtype="datetime64[D]")
    weather, hours = draw_weather(house.climate, date, weather_rng)
    ahead = np.arange(whole) - (whole - days)

    def since(fault: tuple[float, ...] | None, at: int, otherwise: float) -> Floats:
        return (
            np.full(whole, otherwise) if fault is None else np.where(ahead >= fault[0], fault[at], otherwise)
        )

    loss, efficiency = since(faults.insulation, 1, 1.0), since(faults.boiler, 1, 1.0)
    people, warmer = since(faults.habits, 1, 0.0), since(faults.habits, 2, 0.0)
    at_house = weather.temp_c[None, :] + site_departures(house, (1, whole), site_rng)
    habits, walk = draw_habits(
        house.ways, date=date, temp_c=at_house, start=np.zeros(5), rng=habit_rng, more_people=people,
        warmer_k=warmer,
    )  # fmt: skip
    driving = driving_days(date, at_house, weather.ghi_wh_m2[None, :], hours[None, :], loss, efficiency)
    begin = np.array([18.0, 17.0, 0.0, 1.0, weather.temp_c[0]])
    out, states, by_hour = run(
        house.physics, driving, habits, sun_of(house.climate), house.climate.hours, start=begin,
        keep_states=True,
    )  # fmt: skip
    burned = out[0, :, 0] / house.tank.fuel.gross_kwh_per_l
    by_hour_l = by_hour[0] / house.tank.fuel.gross_kwh_per_l
    lost = np.where(ahead == (faults.theft or (whole, 0.0))[0], (faults.theft or (0, 0.0))[1], 0.0)
    lost = lost + since(faults.leak, 1, 0.0)

    shape = house.shape
    if faults.geometry != 1.0:
        shape = scaled(house, faults.geometry)
    air = weather.temp_c[:, None] + house.climate.hours.swing_c[hours] + house.site_offset_k
    near = damp(air, house.tank.location)
    oil = oil_temperature_c(near.mean(axis=1), weather.ghi_wh_m2, house)
    bought = buy(
        burned, lost, oil_c=oil, shape=shape, tank=house.tank, supply=house.supply, rng=buy_rng,
        silent=shifted(faults.silent_delivery, whole - days), quiet_until=SETTLING_D,
    )  # fmt: skip
    held = slice(whole - days, whole)
    ullage, headspace, sun = _at_readings(house, shape, bought, by_hour_l, oil, near, weather, held)
    readings = read(
        Truth(ullage, headspace, sun), house.tank, house.sensor, date=date[held], rng=gauge_rng,
        stuck_from=faults.stuck_from, dead_from=faults.dead_from,
    )  # fmt: skip
    before = (bought.day >= SETTLING_D) & (bought.day < whole - days)
    ticket_before, ticket_after = ticket_rng.spawn(2)
    return Life(
        house=house,
        date=date[held],
        weather=cut(weather, whole - days, whole),
        weather_before=cut(weather, SETTLING_D, whole - days),
        burned_l=burned[held],
        lost_l=bought.lost_l[held],
        delivered_l=bought.delivered_l[held],
        level_l=np.asarray(to_bulk_litres(bought.level_l[held], oil[held], house.tank.fuel.density_15c)),
        level_15c_l=bought.level_l[held],
        oil_c=oil[held],
        readings=readings,
        deliveries=tickets_of(
            bought.where(bought.day >= whole - days), date, house.supply, ticket_before,
            extra=shifted(faults.empty_ticket, whole - days),
        ),
        receipts=receipts_of(bought.where(before), date, house.supply, ticket_after),
        tank=house.tank,
        survey=house.survey,
        states=states[0, held],
        walk=walk[0, held],
        sums=out[0, held],
        loss_factor=loss[held],
        efficiency_factor=efficiency[held],
        more_people=people[held],
        warmer_k=warmer[held],
    )  # fmt: skip


def weather_years_for(
    life: Life, *, start: np.datetime64, days: int, scenarios: int, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Draw the weather ahead that the oracle and all its rivals are given.

    Parameters
    ----------
    life
        Whose station, and whose weather before ``start``, the draws begin from.
    start, days, scenarios
        First day, how many, and how often.
    rng
        Source of chance.

    Returns
    -------
    temp_c, ghi_wh_m2
        Shape (scenario, day), from the engine's generator about the nearest station's normals.
    """
    known = int((start - life.date[0]).astype(np.int64))
    if not 0 < known <= life.date.size:
        raise ValueError(f"the weather before {start} is not of this life")
    recent = cut(life.weather, 0, known)
    return weather_ahead(
        life.house.climate, recent, start=start, days=days, scenarios=scenarios, rng=rng
    )  # fmt: skip


def driving_days(
    date: Days, temp_c: Floats, ghi_wh_m2: Floats, hours: Ints, loss: Floats, efficiency: Floats
) -> DrivingDays:
    """Put together what drives the physics; the sky's arrays of shape (sample, day)."""
    return DrivingDays(
        np.ascontiguousarray(temp_c), np.ascontiguousarray(ghi_wh_m2), np.ascontiguousarray(hours),
        of_year(date), month_of(date), loss, efficiency,
    )  # fmt: skip


def sun_of(climate: Climate) -> SunTable:
    """The sun's tables of a place, latitude to a tenth."""
    return sun_table(round(climate.latitude, 1))


def site_departures(house: TrueHouse, shape: tuple[int, int], rng: np.random.Generator) -> Floats:
    """Air at the house over that at the station, shape (sample, day). [K]"""
    shock = rng.standard_normal(shape)
    out = np.empty(shape)
    out[:, 0] = shock[:, 0]
    kept = np.sqrt(1.0 - SITE_MEMORY**2)
    for day in range(1, shape[1]):
        out[:, day] = SITE_MEMORY * out[:, day - 1] + kept * shock[:, day]
    return np.asarray(house.site_offset_k + house.site_sd_k * out)


def damp(air_c: Floats, location: str) -> Floats:
    """Air about a tank of some place."""
    mean, share = DAMPED[location]
    return mean + share * (air_c - mean)


def oil_temperature_c(air_c: Floats, ghi_wh_m2: Floats, house: TrueHouse) -> Floats:
    """Temperature of the oil at the end of each day: it follows the air, and the sun warms it."""
    target = air_c + house.oil_sun_k * ghi_wh_m2 / 6000.0
    share = 1.0 - np.exp(-1.0 / house.oil_days)
    out = np.empty(target.size)
    oil = float(target[:5].mean())
    for day, toward in enumerate(target):
        oil += share * (toward - oil)
        out[day] = oil
    return out


def shifted(fault: tuple[int, float] | None, by: int) -> tuple[int, float] | None:
    """Count a fault's day from the first simulated day."""
    return None if fault is None else (fault[0] + by, fault[1])


def scaled(house: TrueHouse, factor: float) -> Shape:
    """The true shape with its litres multiplied."""
    match house.shape:
        case StrappingTable() as shape:
            return StrappingTable(shape.dips_mm, tuple(factor * litres for litres in shape.volumes_l))
        case UprightCylinder() as shape:
            return replace(shape, diameter_mm=shape.diameter_mm * factor**0.5)
        case UprightBox() | LyingBox() | LyingCylinder() as shape:
            return replace(shape, length_mm=shape.length_mm * factor)
    raise TypeError(f"no rule to scale {house.shape}")


def _at_readings(
    house: TrueHouse, shape: Shape, bought: Bought, by_hour_l: Floats, oil: Floats, near: Floats,
    weather: Weather, held: slice,
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """Ullage, air in the headspace, and how bright it is, at the hours of reading, shape (day, reading)."""
    at_h = np.array(house.sensor.at_h)
    days = np.arange(held.start, held.stop)
    so_far = np.concatenate([np.zeros((len(by_hour_l), 1)), np.cumsum(by_hour_l, axis=1)], axis=1)
    whole = at_h.astype(np.int64)
    used = so_far[:, whole] + (at_h - whole) * by_hour_l[:, whole]
    begin = np.concatenate([bought.level_l[:1], bought.level_l[:-1]])
    level = begin[:, None] - used - bought.lost_l[:, None] * at_h / 24.0
    level += bought.delivered_l[:, None] * (at_h[None, :] >= bought.hour[:, None])
    oil_before = np.concatenate([oil[:1], oil[:-1]])
    warm = oil_before[:, None] + (oil - oil_before)[:, None] * at_h / 24.0
    bulk = to_bulk_litres(level, warm, house.tank.fuel.density_15c)[days]
    dip = shape.dip_mm(np.clip(bulk, 0.0, shape.capacity_l))
    day = weather.ghi_wh_m2[days, None] / 6000.0
    bright = day * np.maximum(0.0, np.cos((at_h - 13.0) / 24.0 * 2.0 * np.pi)) ** 2
    return (
        (house.tank.sensor_height_mm or 0.0) - dip,
        near[days][:, whole],
        np.broadcast_to(bright, dip.shape),
    )
