"""Who lives in an invented home: heating hours, showers, evenings by the stove, times away.

Flow     home, weather -> **household's wishes** -> home
Formula  water: the boiler brings the cylinder back when a fifth of its heat is gone;
         stove: chance of a fire = keen / (1 + exp(-(0.45 (9 - T) + 0.7 weekend)))
Source   invented; heat of dry-stored wood 4.1 kWh/kg and a stove that gives 74 % of it: common
         practice, no source
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from api.sources.valley.sky import Floats, Sky, sun_on_plane_w_m2
from forecaster.fuel import Fuel

WATER_KWH_PER_L_K = 1.163e-3
COLD_WATER_C, HOT_WATER_C = 10.0, 58.0
WOOD_KWH_PER_KG = 4.1 * 0.74
FROST_C = 9.0
"""Set-point of an empty house. [C]"""
SUMMER_C, SUMMER_SET_C = 13.5, 14.0
"""After three days as warm as the first, people turn the thermostat down to the second. [C]"""


@dataclass(frozen=True, slots=True)
class Stay:
    """A time in which the home is lived in otherwise: local civil dates, both included."""

    start: str
    end: str
    what: Literal["away", "guests"]
    told: bool = True


@dataclass(frozen=True, slots=True)
class Home:
    """What makes one home burn oil.

    Attributes
    ----------
    loss_w_per_k, leak_share
        Heat lost per degree, and the share of it that goes with the air at 4 m/s of wind. [W/K]
    air_kwh_per_k, mass_kwh_per_k
        Heat held by air and furniture, and by walls. [kWh/K]
    colder_c
        How much colder than the valley's station it is there. [C]
    day_c, night_c, all_day
        Set-points, and whether the day one holds from morning to night. [C]
    wander_c
        How far the set-point wanders over the months, one standard deviation. [C]
    boiler_kw, efficiency, standing_w
        Output, gross efficiency at full fire, and fuel lost while it stands hot. [kW], [W]
    window_m2, window_azimuth
        Clear aperture, that is glass x g x shading; clockwise from north. [m2], [degrees]
    cylinder_l, shower_l
        Hot water kept, and used a day and person. [L]
    stove_evening_kg, stove_kw, stove_keen
        Wood of a usual evening, the most it gives, and how readily it is lit (0: no stove).
    thermal_m2
        Solar thermal panels on the hot water, facing south at 40 degrees. [m2]
    """

    fuel: Fuel
    loss_w_per_k: float
    leak_share: float = 0.3
    air_kwh_per_k: float = 1.2
    mass_kwh_per_k: float = 9.0
    colder_c: float = 0.0
    day_c: float = 19.5
    night_c: float = 15.5
    all_day: bool = False
    wander_c: float = 0.4
    boiler_kw: float = 18.0
    efficiency: float = 0.85
    standing_w: float = 150.0
    window_m2: float = 4.0
    window_azimuth: float = 180.0
    occupants: float = 2.0
    people_w: float = 110.0
    appliances_w: float = 220.0
    hot_water_by_oil: bool = True
    cylinder_l: float = 150.0
    shower_l: float = 28.0
    stove_evening_kg: float = 0.0
    stove_kw: float = 0.0
    stove_keen: float = 0.0
    thermal_m2: float = 0.0
    stays: tuple[Stay, ...] = ()


@dataclass(frozen=True, slots=True)
class Life:
    """What a household does to its home's heat, arrays of shape (hour,) unless said otherwise.

    Attributes
    ----------
    out_c, set_c
        Air outside that home, and what its thermostat asks for. [C]
    water_kwh
        Heat that the boiler gives the cylinder within the hour, after the sun's. [kWh]
    sun_kw, people_kw, stove_kw
        Heat through the windows, of people and what they switch on, and of the stove. [kW]
    stove_kg : shape (UTC day,)
        Wood of that day's evening. [kg]
    """

    out_c: Floats
    set_c: Floats
    water_kwh: Floats
    sun_kw: Floats
    people_kw: Floats
    stove_kw: Floats
    stove_kg: Floats


@dataclass(frozen=True, slots=True)
class _Day:
    """The local clock of each hour: hour of the day, civil date, whether people are at home."""

    clock: Floats
    date: npt.NDArray[np.datetime64]
    away: npt.NDArray[np.bool_]
    guests: npt.NDArray[np.bool_]


def draw_life(home: Home, sky: Sky, *, utc_offset_h: Floats, rng: np.random.Generator) -> Life:
    """Draw how a household lives through the weather.

    Parameters
    ----------
    sky : Sky
        Weather of the valley, whole UTC days.
    utc_offset_h : float array, shape (hour,)
        Local clock minus UTC. [h]
    """
    day = _local_day(home, sky, utc_offset_h)
    out_c = sky.temp_c - home.colder_c
    stove_kw, stove_kg = _light_stove(home, day, out_c, rng)
    return Life(
        out_c=out_c,
        set_c=_set_points(home, day, out_c, rng),
        water_kwh=_heat_water(home, day, sky, rng),
        sun_kw=_window_kw(home, sky),
        people_kw=_people_kw(home, day),
        stove_kw=stove_kw,
        stove_kg=stove_kg,
    )


def _local_day(home: Home, sky: Sky, utc_offset_h: Floats) -> _Day:
    local = sky.at.astype("datetime64[h]") + utc_offset_h.astype("timedelta64[h]")
    date = local.astype("datetime64[D]")
    inside = {"away": np.zeros(len(date), bool), "guests": np.zeros(len(date), bool)}
    for stay in home.stays:
        inside[stay.what] |= (date >= np.datetime64(stay.start)) & (date <= np.datetime64(stay.end))
    return _Day((local - date).astype(float), date, inside["away"], inside["guests"])


def _set_points(home: Home, day: _Day, out_c: Floats, rng: np.random.Generator) -> Floats:
    """Say what the thermostat asks for in each hour. [C]"""
    weekend = (day.date.astype(int) + 3) % 7 >= 5
    morning = (day.clock >= 6) & (day.clock < 9)
    evening = (day.clock >= 16) & (day.clock < 22)
    daytime = (day.clock >= 6) & (day.clock < 22)
    lived = np.where(home.all_day | weekend | day.guests, daytime, morning | evening)
    wander = home.wander_c * _slow_walk(len(day.date), days=45.0, rng=rng)
    asked = np.where(lived, home.day_c + wander + 0.7 * day.guests, home.night_c + 0.5 * wander)
    summer = _last_three_days_c(out_c) > SUMMER_C
    return np.where(day.away, FROST_C, np.where(summer, SUMMER_SET_C, asked))


def _last_three_days_c(out_c: Floats) -> Floats:
    """Average the outdoor temperature over the three days before, the first hours over fewer. [C]"""
    total = np.concatenate([[0.0], np.cumsum(out_c)])
    now = np.arange(1, len(out_c) + 1)
    since = np.maximum(0, now - 72)
    return np.asarray((total[now] - total[since]) / (now - since))


def _people_kw(home: Home, day: _Day) -> Floats:
    """Warmth of people and of what they switch on. [kW]"""
    awake = (day.clock >= 7) & (day.clock < 23)
    people = (home.occupants + 2.0 * day.guests) * home.people_w * np.where(awake, 0.7, 0.9)
    appliances = home.appliances_w * np.where(awake, 1.25, 0.5)
    return np.asarray(np.where(day.away, 60.0, people + appliances) / 1000.0)


def _window_kw(home: Home, sky: Sky) -> Floats:
    sun = sun_on_plane_w_m2(sky, tilt_deg=90.0, azimuth_deg=home.window_azimuth)
    return np.asarray(home.window_m2 * sun / 1000.0)


def _heat_water(home: Home, day: _Day, sky: Sky, rng: np.random.Generator) -> Floats:
    """Heat that the boiler gives the cylinder in each hour, after the sun's. [kWh]

    Showers in the morning and the evening come as they come; the boiler looks at the cylinder at
    six and at five and brings it back when a fifth is gone.
    """
    hours = len(day.clock)
    busy = np.select(
        [(day.clock >= 6) & (day.clock < 9), (day.clock >= 17) & (day.clock < 22)], [0.17, 0.09], 0.004
    )
    people = np.where(day.away, 0.0, home.occupants + 1.5 * day.guests)
    drawn_l = home.shower_l * people * busy * rng.gamma(0.8, 1 / 0.8, hours)
    drawn_kwh = drawn_l * WATER_KWH_PER_L_K * (HOT_WATER_C - COLD_WATER_C)
    if not home.hot_water_by_oil:
        return np.zeros(hours)
    panel_w_m2 = sun_on_plane_w_m2(sky, tilt_deg=40.0, azimuth_deg=180.0)
    sun_kwh = home.thermal_m2 * np.maximum(0.0, 0.62 * panel_w_m2 - 90.0) / 1000.0
    full = home.cylinder_l * WATER_KWH_PER_L_K * (HOT_WATER_C - COLD_WATER_C)
    looked_at = np.isin(day.clock, (6, 7, 17, 18)) & ~day.away
    given = np.zeros(hours)
    held = full
    for t, (draw, sun, look) in enumerate(
        zip(drawn_kwh.tolist(), sun_kwh.tolist(), looked_at.tolist(), strict=True)
    ):
        # a panel may take the store somewhat above its set-point, and no further
        held = min(max(0.0, held * 0.994 - draw) + sun, 1.25 * full)
        if look and held < 0.8 * full:
            given[t] = min(full - held, 0.8 * home.boiler_kw)
            held += given[t]
    return given


def _light_stove(home: Home, day: _Day, out_c: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Light the stove on some evenings, sooner when it is cold: its heat by hour, its wood by day."""
    heat_kw = np.zeros(len(out_c))
    by_day_c = out_c.reshape(-1, 24).mean(axis=1)
    start_day = day.date.reshape(-1, 24)[:, 12]
    weekend = (start_day.astype(int) + 3) % 7 >= 4
    chance = home.stove_keen / (1 + np.exp(-(0.45 * (9.0 - by_day_c) + 0.7 * weekend)))
    away = day.away.reshape(-1, 24)[:, 18]
    lit = (rng.random(len(chance)) < chance) & ~away & (by_day_c < 14.0)
    kg = np.round(np.where(lit, home.stove_evening_kg * rng.gamma(9.0, 1 / 9.0, len(lit)), 0.0), 1)
    if home.stove_evening_kg == 0.0:
        return heat_kw, np.zeros(len(lit))
    heat = np.minimum(kg * WOOD_KWH_PER_KG, 5.0 * home.stove_kw)
    shape = np.zeros(24)
    shape[18:23] = (0.15, 0.25, 0.25, 0.2, 0.15)
    return np.asarray(heat[:, None] * shape).reshape(-1), kg.astype(float)


def _slow_walk(hours: int, *, days: float, rng: np.random.Generator) -> Floats:
    """Draw a daily habit of standard deviation 1 that changes over so many days."""
    keep = np.exp(-1.0 / days)
    walk = np.empty(hours // 24 + 1)
    walk[0] = rng.standard_normal()
    for k in range(1, len(walk)):
        walk[k] = keep * walk[k - 1] + np.sqrt(1 - keep**2) * rng.standard_normal()
    return np.repeat(walk, 24)[:hours]
