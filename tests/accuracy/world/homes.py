"""Worlds: where houses stand, how they are built and lived in, how they are measured; and one house drawn.

Flow     world, chance -> **true house**: climate, physics, ways, tank, sensor, supply -> survey as stated
Source   heat capacities by class and coupling: EN ISO 13790 [from memory]; efficiencies about SAP 2012 Table
         4b; heat loss of 1 to 4 W/K a m² of floor: houses from new to old [from memory]; all else
         assumptions, with no claim but that the two worlds differ

Settings are tuned on `TUNING` and reported on `REPORTING`: other stations, other stretches of weather and
real days, better and larger houses, other sensors, habits and surveys.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from forecaster.dwelling import Solar, Stove, Survey
from forecaster.fuel import GAS_OIL, KEROSENE
from forecaster.tanks import (
    LyingCylinder,
    Moulded,
    Shape,
    StrappingTable,
    Tank,
    UprightBox,
    UprightCylinder,
    lying_oval,
)
from tests.accuracy.world.habits import Ways
from tests.accuracy.world.physics import Physics
from tests.accuracy.world.sky import Climate, Sky, draw_climate, reporting_sky, tuning_sky

ZONE = "UTC"
"""Days of the worlds run by solar time, which is called UTC."""
BOILER_KINDS = ("standard_1985_1997", "standard_1998", "condensing", "condensing_combi")
EFFICIENCY = (0.71, 0.80, 0.84, 0.82)
"""Published winter efficiencies of these kinds, gross. [-]"""
LARGEST_LOSS_W_PER_K = 550.0
"""Larger houses are no homes with one tank beside them. Assumption. [W/K]"""
COOKER_FIRE = 0.33
"""Mean fire of a range cooker over its full fire. Assumption. [-]"""
BUILT = (1890, 1915, 1940, 1958, 1971, 1979, 1987, 1993, 1999, 2005, 2012)


@dataclass(frozen=True, slots=True)
class World:
    """Distributions of houses; a pair (median, relative sd) is a lognormal, (low, high) a range.

    Attributes
    ----------
    name
        For the tables.
    places
        Stations of the packaged normals near which houses stand.
    sky
        Gives records and real days of its weather.
    climate_offset_k, spread
        As `draw_climate` takes them.
    floor_m2, loss_w_per_k_m2
        Floor area and heat loss by floor area.
    heavy_kwh_per_k_m2, coupling_w_per_k_m2
        Heat capacity of walls and floors, and their coupling to the air, by floor area.
    glass_share
        South windows by floor area, so that all sun comes in; east, west and north have less.
    boilers
        Chances of `BOILER_KINDS`.
    set_c, wander_k
        Mean and sd of the set-point between houses; sd of its slow wander within a house. [degC, K]
    constant, always_on
        Chances that rooms are hardly set back, and that the heating is never switched off for summer.
    people
        Chances of one to six.
    stoves, panels, cookers, water_not_oil
        Chances of each.
    resolution_mm
        Steps of sensors, each as likely as another.
    echo_sd_steps, sensor_offset_mm, drift_mm_per_year
        Noise of a reading in steps, and sds of the height as stated and of the drift.
    uncompensated
        Chance of a sensor that takes an air temperature for granted.
    spikes, dropouts
        Chances for a reading.
    stuck_a_year, silent_a_year
        Runs of repeated readings, and days without any, by number a year; their lengths geometric.
    readings_a_day
        Chances of one to four.
    table_sd, moulded_table_sd
        Relative sds of litres by the tank's file.
    ticket_sd, ticket_missing, ticket_misdated
        Relative sd of a ticket's litres, and chances.
    stated
        Relative sds of the survey: heat loss, floor area, evenings with a fire.
    unstated
        Chance that an answer of the survey is missing.
    """

    name: str
    places: tuple[str, ...]
    sky: Callable[[], Sky]
    climate_offset_k: float
    spread: tuple[float, float]
    floor_m2: tuple[float, float]
    loss_w_per_k_m2: tuple[float, float]
    heavy_kwh_per_k_m2: tuple[float, float]
    coupling_w_per_k_m2: tuple[float, float]
    glass_share: tuple[float, float]
    boilers: tuple[float, ...]
    set_c: tuple[float, float]
    wander_k: tuple[float, float]
    constant: float
    always_on: float
    people: tuple[float, ...]
    stoves: float
    panels: float
    cookers: float
    water_not_oil: float
    resolution_mm: tuple[float, ...]
    echo_sd_steps: float
    sensor_offset_mm: float
    drift_mm_per_year: float
    uncompensated: float
    spikes: float
    dropouts: float
    stuck_a_year: float
    silent_a_year: float
    readings_a_day: tuple[float, ...]
    table_sd: float
    moulded_table_sd: float
    ticket_sd: float
    ticket_missing: float
    ticket_misdated: float
    stated: tuple[float, float, float]
    unstated: float


TUNING = World(
    name="tuning",
    places=(
        "Dublin Airport", "Claremorris", "Belmullet", "Casement", "Valley", "Newton Rigg", "Ross-On-Wye",
        "Yeovilton", "Oxford", "Durham",
    ),
    sky=tuning_sky,
    climate_offset_k=0.35, spread=(0.0, 1.0),
    floor_m2=(125.0, 0.35), loss_w_per_k_m2=(2.8, 0.28),
    heavy_kwh_per_k_m2=(0.055, 0.40), coupling_w_per_k_m2=(8.0, 0.30), glass_share=(0.015, 0.045),
    boilers=(0.25, 0.30, 0.30, 0.15), set_c=(19.2, 1.2), wander_k=(0.35, 0.8),
    constant=0.25, always_on=0.5, people=(0.2, 0.36, 0.18, 0.17, 0.07, 0.02),
    stoves=0.40, panels=0.20, cookers=0.08, water_not_oil=0.20,
    resolution_mm=(10.0, 10.0, 5.0, 20.0), echo_sd_steps=0.25, sensor_offset_mm=6.0, drift_mm_per_year=4.0,
    uncompensated=0.2, spikes=0.004, dropouts=0.02, stuck_a_year=1.2, silent_a_year=1.5,
    readings_a_day=(0.55, 0.25, 0.05, 0.15),
    table_sd=0.01, moulded_table_sd=0.04, ticket_sd=0.010, ticket_missing=0.02, ticket_misdated=0.02,
    stated=(0.18, 0.08, 0.3), unstated=0.2,
)  # fmt: skip
"""Ireland, Wales and the west of England: older houses, Dublin's weather to Bedford's."""

REPORTING = World(
    name="reporting",
    places=(
        "Leuchars", "Wick Airport", "Eskdalemuir", "Waddington", "Shawbury", "Sutton Bonington", "Sheffield",
        "Stornoway", "De Bilt", "Maastricht",
    ),
    sky=reporting_sky,
    climate_offset_k=0.45, spread=(0.3, 1.25),
    floor_m2=(145.0, 0.40), loss_w_per_k_m2=(2.3, 0.33),
    heavy_kwh_per_k_m2=(0.070, 0.45), coupling_w_per_k_m2=(7.0, 0.35), glass_share=(0.010, 0.060),
    boilers=(0.15, 0.30, 0.35, 0.20), set_c=(19.8, 1.4), wander_k=(0.4, 0.95),
    constant=0.40, always_on=0.6, people=(0.26, 0.38, 0.15, 0.14, 0.05, 0.02),
    stoves=0.50, panels=0.30, cookers=0.10, water_not_oil=0.25,
    resolution_mm=(10.0, 5.0, 20.0, 10.0, 15.0), echo_sd_steps=0.35, sensor_offset_mm=9.0,
    drift_mm_per_year=6.0, uncompensated=0.3, spikes=0.006, dropouts=0.03, stuck_a_year=1.8,
    silent_a_year=2.0, readings_a_day=(0.6, 0.2, 0.08, 0.12),
    table_sd=0.015, moulded_table_sd=0.05, ticket_sd=0.014, ticket_missing=0.03, ticket_misdated=0.03,
    stated=(0.24, 0.12, 0.4), unstated=0.3,
)  # fmt: skip
"""Scotland, the east of England and the Netherlands: better and larger houses, rougher sensors and surveys."""


@dataclass(frozen=True, slots=True)
class Sensor:
    """A level sensor as it truly is.

    ``offset_mm`` its face above the stated height, ``drift_mm_per_year``, ``echo_sd_mm`` noise before the
    step, ``sticky`` whether it repeats itself until the level has moved by a step, ``sun_k`` warmth of its
    thermometer on a bright day over the headspace's; rates as in the world; ``at_h`` hours of reading.
    """

    offset_mm: float
    drift_mm_per_year: float
    echo_sd_mm: float
    sticky: bool
    sun_k: float
    spikes: float
    dropouts: float
    stuck_a_year: float
    silent_a_year: float
    at_h: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Supply:
    """How a household buys oil.

    ``lead_d`` days from order to delivery at most, ``fixed_l`` what it orders (0: fill up), ``spare_share`` of
    the usable litres at which it orders; ticket errors as in the world; ``mentions_fill`` whether bills say
    whether the tank was filled.
    """

    lead_d: int
    fixed_l: float
    spare_share: float
    ticket_sd: float
    missing: float
    misdated: float
    mentions_fill: bool


@dataclass(frozen=True, slots=True, eq=False)
class TrueHouse:
    """A house as it truly is.

    Attributes
    ----------
    climate
        Of its place.
    physics, ways
        What it is made of, and how people live in it.
    tank, shape
        The tank as on file, and the true inside.
    site_offset_k, site_sd_k
        Air at the house over that at the weather station: always, and sd from day to day.
    oil_days, oil_sun_k
        Time in which the oil follows the air [d], and how a bright day warms it. [K]
    sensor, supply
        How it is measured and supplied.
    floor_m2, loss_w_per_k, annual_efficiency
        For checks: floor, heat loss at 4 m/s of wind, efficiency at half load.
    survey
        As a person states it.
    """

    climate: Climate
    physics: Physics
    ways: Ways
    tank: Tank
    shape: Shape
    site_offset_k: float
    site_sd_k: float
    oil_days: float
    oil_sun_k: float
    sensor: Sensor
    supply: Supply
    floor_m2: float
    loss_w_per_k: float
    annual_efficiency: float
    survey: Survey


def draw_house(world: World, rng: np.random.Generator) -> TrueHouse:
    """Draw a house of a world, its tank as small as a household can live with."""
    climate_rng, house_rng, people_rng, tank_rng, survey_rng = rng.spawn(5)
    place = world.places[int(climate_rng.integers(len(world.places)))]
    climate = draw_climate(
        place, climate_rng, sky=world.sky(), offset_sd_c=world.climate_offset_k, spread=world.spread
    )
    built = _Built.draw(world, house_rng)
    ways = _draw_ways(world, people_rng)
    tank, shape = _draw_tank(world, tank_rng, yearly_l=built.rough_litres(ways.people))
    physics = built.physics
    return TrueHouse(
        climate=climate,
        physics=physics,
        ways=ways,
        tank=tank,
        shape=shape,
        site_offset_k=float(house_rng.normal(0.0, 0.4)),
        site_sd_k=float(house_rng.uniform(0.2, 0.7)),
        oil_days=float(tank_rng.uniform(1.5, 5.0)),
        oil_sun_k=float(tank_rng.uniform(0.0, 5.0)) if tank.location == "outdoors" else 0.0,
        sensor=_draw_sensor(world, tank, tank_rng),
        supply=_draw_supply(world, tank, tank_rng),
        floor_m2=built.floor_m2,
        loss_w_per_k=built.loss_w_per_k,
        annual_efficiency=physics.efficiency,
        survey=_state(world, climate, built, ways, survey_rng),
    )


def _log(rng: np.random.Generator, median_sd: tuple[float, float]) -> float:
    return float(median_sd[0] * np.exp(median_sd[1] * np.clip(rng.standard_normal(), -2.2, 2.2)))


@dataclass(frozen=True, slots=True)
class _Built:
    """A building, and what its people know of it."""

    physics: Physics
    floor_m2: float
    loss_w_per_k: float
    year: int
    kind: int
    season_only: bool
    water_oil: bool
    thermal_m2: float
    pv_kwp: float
    azimuth: float
    glass_m2: float

    @classmethod
    def draw(cls, world: World, rng: np.random.Generator) -> "_Built":
        floor = _log(rng, world.floor_m2)
        loss_m2 = min(_log(rng, world.loss_w_per_k_m2), LARGEST_LOSS_W_PER_K / floor)
        loss = loss_m2 * floor / 1000.0
        volume = 2.45 * floor
        changes = float(np.clip(rng.normal(0.35 + 0.15 * loss_m2, 0.12), 0.25, 1.2))
        air = min(0.33e-3 * volume * changes, 0.4 * loss)
        changes = air / (0.33e-3 * volume)
        light_share = rng.uniform(0.25, 0.45)
        kind = int(rng.choice(4, p=world.boilers))
        design_kw = loss * 23.0
        boiler = float(np.clip(design_kw * rng.uniform(1.25, 2.2), 12.0, 45.0))
        share = rng.uniform(*world.glass_share)
        azimuth = float(rng.choice([90.0, 135.0, 180.0, 180.0, 180.0, 225.0, 270.0]))
        towards = {90.0: (1, 0.3, 0.3, 0.2), 135.0: (0.7, 0.7, 0.3, 0.2), 180.0: (0.35, 1, 0.35, 0.15),
                   225.0: (0.3, 0.7, 0.7, 0.2), 270.0: (0.3, 0.3, 1, 0.2)}[azimuth]  # fmt: skip
        glass = share * floor * np.array(towards)
        panels = rng.random() < world.panels
        electric = rng.random() < 0.5
        thermal = rng.uniform(2.0, 5.0) if panels and not electric else 0.0
        pv = rng.uniform(2.0, 6.0) if panels and electric else 0.0
        combi = kind == 3
        water_draw = rng.random()
        water_oil, season_only = water_draw >= world.water_not_oil, False
        if not water_oil and water_draw < 0.6 * world.water_not_oil:
            water_oil, season_only = True, True
        months = (0b1111 << 0 | 0b111 << 9) if season_only else (0b111111111111 if water_oil else 0)
        cooker = rng.random() < world.cookers
        wake = float(rng.integers(5, 8))
        setback_k = rng.uniform(0.5, 2.0) if rng.random() < world.constant else rng.uniform(3.0, 7.0)
        always = rng.random() < world.always_on
        physics = Physics(
            light_kwh_per_k=float(rng.uniform(0.006, 0.014) * floor),
            heavy_kwh_per_k=_log(rng, world.heavy_kwh_per_k_m2) * floor,
            coupling_kw_per_k=_log(rng, world.coupling_w_per_k_m2) * floor / 1000.0,
            light_loss_kw_per_k=float(light_share * (loss - air)),
            heavy_loss_kw_per_k=float((1.0 - light_share) * (loss - air)),
            volume_m3=volume,
            air_changes_per_h=changes,
            shelter=float(rng.uniform(0.5, 1.3)),
            window_east_m2=float(glass[0]),
            window_south_m2=float(glass[1]),
            window_west_m2=float(glass[2]),
            window_north_m2=float(glass[3]),
            boiler_kw=boiler,
            efficiency=float(EFFICIENCY[kind] + 0.02 + rng.normal(0.0, 0.025)),
            part_load_gain=float(rng.uniform(0.0, 0.06) if kind >= 2 else rng.uniform(-0.04, 0.0)),
            cycling_kw=float(rng.uniform(0.05, 0.3) if kind >= 2 else rng.uniform(0.15, 0.6)),
            season_c=99.0 if always else float(rng.uniform(12.5, 16.0)),
            setback_c=float(np.clip(19.3 - setback_k, 11.0, 19.0)),
            wake_h=wake,
            leave_h=wake + float(rng.integers(2, 4)),
            back_h=float(rng.integers(15, 18)),
            sleep_h=float(rng.integers(21, 24)),
            cylinder_kwh_per_day=float(rng.uniform(0.1, 0.4) if combi else rng.uniform(1.0, 2.8)),
            panel_kwh_per_kwh_m2=float(thermal * rng.uniform(0.3, 0.45) + pv * rng.uniform(0.2, 0.45)),
            hot_water_months=float(months),
            cooker_kw=float(rng.uniform(0.6, 1.1)) if cooker else 0.0,
            cooker_off_c=float(rng.uniform(13.5, 16.0)) if rng.random() < 0.5 else 99.0,
            gains_base_kw=float(rng.uniform(0.08, 0.25)),
            gains_per_person_kw=float(rng.uniform(0.09, 0.16)),
        )
        age = int(np.clip(np.interp(-loss_m2, [-4.0, -1.0], [0, 10]) + rng.normal(0.0, 1.3), 0, 10))
        return cls(
            physics, floor, 1000.0 * loss, BUILT[age] + int(rng.integers(-3, 4)), kind, season_only,
            bool(water_oil), float(thermal), float(pv), azimuth, float(glass.max()),
        )  # fmt: skip

    def rough_litres(self, people: float) -> float:
        """A year's litres, roughly: only to choose a tank by."""
        heat = self.loss_w_per_k / 1000.0 * 24.0 * 2100.0 + 900.0 * people + 8760.0 * self.physics.cooker_kw
        return heat / (10.3 * self.physics.efficiency)


def _draw_ways(world: World, rng: np.random.Generator) -> Ways:
    people = 1.0 + int(rng.choice(len(world.people), p=world.people))
    stove = rng.random() < world.stoves
    return Ways(
        people=people,
        set_c=float(np.clip(rng.normal(*world.set_c), 16.0, 23.0)),
        wander_sd_k=float(rng.uniform(*world.wander_k)),
        wander_days=float(rng.uniform(15.0, 60.0)),
        whim_sd_k=float(rng.uniform(0.1, 0.4)),
        works=float(rng.choice([0.0, 0.5, 0.9], p=[0.35, 0.25, 0.4])),
        water_l_person=float(25.0 * np.exp(rng.normal(0.0, 0.3))),
        water_l_house=float(36.0 * np.exp(rng.normal(0.0, 0.4))),
        water_sd=float(rng.uniform(0.15, 0.4)),
        water_wander_sd=float(rng.uniform(0.05, 0.25)),
        fires=float(rng.uniform(0.15, 0.85)) if stove else 0.0,
        fire_kw=float(rng.uniform(2.5, 6.0)),
        fire_hours=float(rng.uniform(3.0, 5.0)),
        fire_cold_per_k=float(rng.uniform(0.05, 0.3)),
        journeys=float(rng.uniform(0.5, 4.0)),
        visits=float(rng.uniform(0.5, 6.0)),
        forgets=float(rng.uniform(0.0, 0.03)),
        ill=float(rng.uniform(0.0, 0.03)),
    )


def _draw_tank(world: World, rng: np.random.Generator, *, yearly_l: float) -> tuple[Tank, Shape]:
    """Draw a tank for a year's litres: the file's, and the true one, which holds some per cent more or less."""
    wanted = float(np.clip(yearly_l * rng.uniform(0.5, 1.1), 900.0, 4000.0))
    kind = int(rng.choice(5, p=[0.35, 0.30, 0.20, 0.05, 0.10]))
    moulded = kind == 0
    true = 1.0 + (world.moulded_table_sd if moulded else world.table_sd) * float(
        np.clip(rng.standard_normal(), -2.5, 2.5)
    )
    height = float(np.round(rng.uniform(1050.0, 1450.0), -1))

    def shape(litres: float) -> Shape:
        if kind == 0:
            return Moulded(nominal_l=litres, height_mm=height)
        if kind == 1:
            return UprightBox(length_mm=litres * 1e6 / (height * 0.75 * height), width_mm=0.75 * height,
                              height_mm=height)  # fmt: skip
        if kind == 2:
            return LyingCylinder(diameter_mm=height, length_mm=litres * 1e6 / (np.pi / 4.0 * height**2))
        if kind == 3:
            return UprightCylinder(diameter_mm=2000.0 * np.sqrt(litres * 1e-3 / np.pi / (height * 1e-3)),
                                   height_mm=height)  # fmt: skip
        oval = lying_oval(length_mm=1000.0, width_mm=1.35 * height, height_mm=height)
        return lying_oval(
            length_mm=1000.0 * litres / oval.capacity_l, width_mm=1.35 * height, height_mm=height
        )

    filed = shape(wanted)
    inside = shape(wanted * true)
    if moulded:
        inside = _bulged(
            inside, bulge=0.3 * world.moulded_table_sd * float(np.clip(rng.standard_normal(), -2.0, 2.0))
        )
    resolution = float(world.resolution_mm[int(rng.integers(len(world.resolution_mm)))])
    location = str(rng.choice(["outdoors", "shed", "indoors"], p=[0.8, 0.12, 0.08]))
    tank = Tank(
        filed,
        GAS_OIL if rng.random() < 0.15 else KEROSENE,
        safe_fill_l=0.95 * filed.capacity_l,
        heel_l=float(filed.litres(50.0)),
        sensor_height_mm=height + float(np.round(rng.uniform(30.0, 120.0), -1)),
        dead_band_mm=0.0,
        resolution_mm=resolution,
        sensor_assumed_air_c=15.0 if rng.random() < world.uncompensated else None,
        location=location,
        timezone=ZONE,
        table_sd_fraction=0.05 if moulded else 0.0,
    )
    return tank, inside


def _bulged(shape: Shape, *, bulge: float) -> StrappingTable:
    """A moulded tank that is wider below and narrower above than its file says, by a share of its litres."""
    dip = np.linspace(0.0, shape.height_mm, 61)
    litres = shape.litres(dip) + bulge * shape.capacity_l * np.sin(2.0 * np.pi * dip / shape.height_mm)
    return StrappingTable(tuple(dip.tolist()), tuple(litres.tolist()))


def _draw_sensor(world: World, tank: Tank, rng: np.random.Generator) -> Sensor:
    count = 1 + int(rng.choice(4, p=world.readings_a_day))
    first = float(rng.uniform(0.5, min(7.5, 24.0 / count - 0.5)))
    return Sensor(
        offset_mm=float(rng.normal(0.0, world.sensor_offset_mm)),
        drift_mm_per_year=float(rng.normal(0.0, world.drift_mm_per_year)),
        echo_sd_mm=float(world.echo_sd_steps * tank.resolution_mm * rng.uniform(0.5, 1.5)),
        sticky=bool(rng.random() < 0.3),
        sun_k=float(rng.uniform(0.0, 5.0)),
        spikes=world.spikes * float(rng.choice([0.2, 1.0, 3.0])),
        dropouts=world.dropouts * float(rng.choice([0.2, 1.0, 3.0])),
        stuck_a_year=world.stuck_a_year * float(rng.choice([0.0, 1.0, 2.0])),
        silent_a_year=world.silent_a_year * float(rng.choice([0.0, 1.0, 2.0])),
        at_h=tuple(first + 24.0 / count * i for i in range(count)),
    )


def _draw_supply(world: World, tank: Tank, rng: np.random.Generator) -> Supply:
    fixed = 0.0
    if rng.random() < 0.4:
        fixed = min(float(rng.choice([500.0, 900.0, 1000.0])), 100.0 * np.floor(0.6 * tank.usable_l / 100.0))
    return Supply(
        lead_d=int(rng.integers(2, 12)),
        fixed_l=float(fixed),
        spare_share=float(rng.uniform(0.12, 0.4)),
        ticket_sd=world.ticket_sd,
        missing=world.ticket_missing,
        misdated=world.ticket_misdated,
        mentions_fill=bool(rng.random() < 0.7),
    )


def _state(
    world: World, climate: Climate, built: _Built, ways: Ways, rng: np.random.Generator
) -> Survey:  # fmt: skip
    """Fill a survey in as its people would: rounded, erring, and some answers left out."""

    def said(value: float, sd: float) -> float:
        return value * float(np.exp(sd * rng.standard_normal()))

    loss_sd, floor_sd, fire_sd = world.stated
    keep = rng.random(6) >= world.unstated
    loss = np.round(said(built.loss_w_per_k, loss_sd), -1)
    floor = np.round(said(built.floor_m2, floor_sd), -1)
    evenings = float(np.clip(np.round(said(7.0 * ways.fires, fire_sd)), 1.0, 7.0))
    stove = Stove(
        rated_kw=float(np.round(said(ways.fire_kw, 0.2))), evenings_per_week=evenings,
        hours=float(np.round(ways.fire_hours)),
    ) if ways.fires > 0.0 else None  # fmt: skip
    solar = Solar(
        window_m2=max(1.0, float(np.round(said(1.8 * built.glass_m2, 0.25)))) if keep[4] else None,
        window_azimuth=built.azimuth if keep[4] else 180.0,
        thermal_m2=round(built.thermal_m2, 1),
        pv_kwp=round(built.pv_kwp, 1),
        diverter=built.pv_kwp > 0.0,
    ) if keep[4] or built.thermal_m2 or built.pv_kwp else None  # fmt: skip
    water = "season" if built.season_only else ("oil" if built.water_oil else "other")
    return Survey(
        latitude=round(climate.latitude, 3),
        longitude=round(climate.longitude, 3),
        timezone=ZONE,
        elevation_m=round(climate.elevation_m),
        floor_area_m2=float(floor) if keep[0] else None,
        built=built.year if keep[1] else None,
        heat_loss_w_per_k=float(loss) if rng.random() < 0.4 else None,
        occupants=ways.people if keep[2] else None,
        boiler=BOILER_KINDS[built.kind] if keep[3] else None,
        boiler_kw=float(np.round(built.physics.boiler_kw)) if keep[5] else None,
        hot_water=water,
        hot_water_oil_months=(1, 2, 3, 4, 10, 11, 12) if built.season_only else tuple(range(1, 13)),
        range_cooker_kw=round(said(built.physics.cooker_kw / COOKER_FIRE, 0.2), 1) or None,
        stove=stove,
        solar=solar,
    )
