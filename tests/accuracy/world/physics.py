"""The true house by the hour: two nodes of heat, a thermostat, a boiler, hot water.

Flow     the day's weather, its hours, its habits -> **burn of the day**, and how the house stands after it
Formula  light node (air, furniture)  C_a dTi/dt = H_am (Tm - Ti) + (H_l + H_v)(Te - Ti) + gains + heat
         heavy node (walls, floors)   C_m dTm/dt = H_am (Ti - Tm) + H_m (Te - Tm) + gains + heat
         H_v = 0.33 Wh/m³K volume air-changes,  air-changes = n (0.4 + 0.15 wind)
         by steps of an hour, implicit, the heat such that the light node ends on the set-point
         fuel = Q / η(load) + casing and cycling loss (1 - load)
Source   a lumped house of two nodes after the simple hourly method of EN ISO 13790 [from memory]; the
         house is not the engine's model: no degree-days, no base temperature, no utilisation factor
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from numba import njit

from tests.accuracy.world.sky import Hours
from tests.accuracy.world.sun import SunTable

Floats = npt.NDArray[np.float64]

AIR_KWH_PER_M3K = 0.33e-3
WIND_SHARE, STILL_SHARE = 0.15, 0.4
"""Air-changes in wind over those at 4 m/s: 0.4 + 0.15 · wind. Assumption."""
WARM_C, WINDOWS_OPEN = 24.0, 2.5
"""Above this windows are opened, and so many air-changes come on top. [degC, 1/h]"""
RADIANT = 0.4
"""Share of heat, sun and gains that goes to the heavy node. [-]"""
TWO_PERIODS, ALL_DAY, AWAY = 0, 1, 2
"""Plans of a day: heated in the morning and evening, from morning to night, or frost setting."""
STATE = ("light_c", "heavy_c", "tank_kwh", "heating_on", "mean_c")
"""How a house stands: its nodes, hot water left by panels, season switch, mean of the last days."""
OUT = ("burned_kwh", "heating_kwh", "hot_water_kwh", "gains_kwh", "lost_kwh", "stored_kwh", "cooker_kwh")
"""Sums of a day: fuel in all, heat of the radiators, heat into hot water, heat from everything else, heat
lost, heat stored, fuel of the range cooker. [kWh]"""


class Physics(NamedTuple):
    """What a house is made of; conductances in kW/K, capacities in kWh/K, power in kW.

    ``season_c`` is the mean of about five days above which the heating is switched off for the season
    (99: never); ``window_*`` are m² of glass that let all sun in; ``panel`` is the kWh of hot water from a
    kWh/m² on the roof; ``hot_water_months`` has bit m set when oil heats the water in month m (from 0).
    """

    light_kwh_per_k: float
    heavy_kwh_per_k: float
    coupling_kw_per_k: float
    light_loss_kw_per_k: float
    heavy_loss_kw_per_k: float
    volume_m3: float
    air_changes_per_h: float
    shelter: float
    window_east_m2: float
    window_south_m2: float
    window_west_m2: float
    window_north_m2: float
    boiler_kw: float
    efficiency: float
    part_load_gain: float
    cycling_kw: float
    season_c: float
    setback_c: float
    wake_h: float
    leave_h: float
    back_h: float
    sleep_h: float
    cylinder_kwh_per_day: float
    panel_kwh_per_kwh_m2: float
    hot_water_months: float
    cooker_kw: float
    cooker_off_c: float
    gains_base_kw: float
    gains_per_person_kw: float


class Days(NamedTuple):
    """What drives a house, day by day.

    ``temp_c``, ``ghi_wh_m2``, ``hours`` (row of the table of real days) of shape (sample, day);
    ``day_of_year``, ``month``, ``loss_factor``, ``efficiency_factor`` of shape (day,).
    """

    temp_c: Floats
    ghi_wh_m2: Floats
    hours: npt.NDArray[np.int64]
    day_of_year: npt.NDArray[np.int64]
    month: npt.NDArray[np.int64]
    loss_factor: Floats
    efficiency_factor: Floats


class Habits(NamedTuple):
    """What the people do, shapes (sample, day).

    ``set_c`` wanted room temperature, ``plan`` one of the plans, ``people`` at home, ``drawn_kwh`` heat of the
    hot water drawn, ``stove_kw`` and ``stove_h`` of the evening's fire.
    """

    set_c: Floats
    plan: npt.NDArray[np.int64]
    people: Floats
    drawn_kwh: Floats
    stove_kw: Floats
    stove_h: Floats


@njit(cache=True)
def _diffuse_share(clearness: float) -> float:
    """Diffuse share of the day's sun (Erbs, Klein & Duffie 1982, all year; from memory)."""
    k = min(clearness, 0.8)
    share = 1.0 - 0.2727 * k + 2.4495 * k**2 - 11.9514 * k**3 + 9.3879 * k**4
    return share if k < 0.715 else 0.143


@njit(cache=True)
def run_house(house, days, habits, sun, hours, start, keep_states):
    """Run a house through its days.

    Parameters
    ----------
    house, days, habits, sun, hours
        `Physics`, `Days`, `Habits`, `SunTable`, `Hours`.
    start
        How it stands at first, shape (5,) as `STATE`.
    keep_states
        Whether the state at the end of each day is kept.

    Returns
    -------
    out, states, by_hour
        Shape (sample, day, 7) as `OUT`; (sample, day, 5) and (sample, day, 24), the fuel of each hour,
        or (1, 1, 5) and (1, 1, 24) where not kept.
    """
    samples, n = days.temp_c.shape
    out = np.zeros((samples, n, 7))
    states = np.zeros((samples, n, 5)) if keep_states else np.zeros((1, 1, 5))
    by_hour = np.zeros((samples, n, 24)) if keep_states else np.zeros((1, 1, 24))
    for s in range(samples):
        light, heavy, spare, on, mean = start[0], start[1], start[2], start[3], start[4]
        for d in range(n):
            doy, row = days.day_of_year[d], days.hours[s, d]
            temp, ghi = days.temp_c[s, d], days.ghi_wh_m2[s, d]
            mean += (temp - mean) / 5.0
            if mean > house.season_c + 1.0:
                on = 0.0
            elif mean < house.season_c - 1.0:
                on = 1.0
            diffuse = ghi * _diffuse_share(ghi / max(sun.above_wh_m2[doy], 1.0))
            set_c, plan, people = habits.set_c[s, d], habits.plan[s, d], habits.people[s, d]
            first, light_0, heavy_0 = 0.0, light, heavy

            roof = 0.0
            if house.panel_kwh_per_kwh_m2 > 0.0:
                for h in range(24):
                    d_h = diffuse * sun.of_diffuse[doy, h]
                    beam = max(0.0, ghi * sun.of_all[doy, h] - d_h)
                    roof += (beam * sun.roof[doy, h] + 0.91 * d_h) / 1000.0
            oil_heats = (int(house.hot_water_months) >> days.month[d]) & 1
            need = habits.drawn_kwh[s, d] + (house.cylinder_kwh_per_day if plan != 2 else 0.0)
            spare = 0.6 * spare + house.panel_kwh_per_kwh_m2 * roof
            from_sun = min(spare, 0.95 * need)
            spare = min(spare - from_sun, 8.0)
            need = (need - from_sun) * oil_heats
            cooker = house.cooker_kw if mean < house.cooker_off_c else 0.0

            for h in range(24):
                te, wind = temp + hours.swing_c[row, h], hours.wind_m_per_s[row, h] * house.shelter
                d_h = diffuse * sun.of_diffuse[doy, h]
                g_h = ghi * sun.of_all[doy, h]
                beam = max(0.0, g_h - d_h)
                even = 0.5 * d_h + 0.1 * g_h
                solar = (
                    house.window_east_m2 * (beam * sun.wall[doy, h, 0] + even)
                    + house.window_south_m2 * (beam * sun.wall[doy, h, 1] + even)
                    + house.window_west_m2 * (beam * sun.wall[doy, h, 2] + even)
                    + house.window_north_m2 * (beam * sun.wall[doy, h, 3] + even)
                ) / 1000.0
                active = house.wake_h <= h < house.sleep_h
                home = plan == 1 or h < house.leave_h or h >= house.back_h
                gains = house.gains_base_kw
                if plan != 2:
                    gains += (
                        people
                        * house.gains_per_person_kw
                        * (1.4 if (active and home) else (0.25 if active else 0.7))
                    )
                stove = habits.stove_kw[s, d] if 18 <= h < 18 + habits.stove_h[s, d] else 0.0
                free = solar + gains + stove + 0.4 * cooker
                target = house.setback_c
                if plan == 2:
                    target = 8.0
                elif active and home:
                    target = set_c
                hot = 0.0
                if h == 6 or h == 17:
                    hot = 0.45 * need
                elif h == 20:
                    hot = 0.1 * need

                changes = house.air_changes_per_h * (0.4 + 0.15 * wind)
                loss_factor = days.loss_factor[d]
                if light > 24.0:
                    changes += 2.5
                h_l = house.light_loss_kw_per_k * loss_factor + 0.33e-3 * house.volume_m3 * changes
                h_m = house.heavy_loss_kw_per_k * loss_factor
                h_c, c_a, c_m = house.coupling_kw_per_k, house.light_kwh_per_k, house.heavy_kwh_per_k
                # [a  -h_c] [light']   [r_a + 0.6 Q]
                # [-h_c  b] [heavy'] = [r_m + 0.4 Q]
                a, b = c_a + h_c + h_l, c_m + h_c + h_m
                det = a * b - h_c * h_c
                r_a = c_a * light + h_l * te + 0.6 * free
                r_m = c_m * heavy + h_m * te + 0.4 * free
                unheated = (b * r_a + h_c * r_m) / det
                rise = (0.6 * b + 0.4 * h_c) / det
                heat = 0.0
                if on > 0.0 and unheated < target:
                    heat = min((target - unheated) / rise, max(0.0, house.boiler_kw - hot))
                light_1 = unheated + rise * heat
                heavy = (h_c * (r_a + 0.6 * heat) + a * (r_m + 0.4 * heat)) / det
                light = light_1
                out[s, d, 4] += h_l * (light - te) + h_m * (heavy - te)
                out[s, d, 1] += heat
                out[s, d, 2] += hot
                out[s, d, 3] += free
                made = heat + hot
                if made > 0.0:
                    load = min(1.0, made / house.boiler_kw)
                    eta = house.efficiency * days.efficiency_factor[d]
                    eta *= 1.0 + house.part_load_gain * (0.5 - load)
                    fuel = made / eta + house.cycling_kw * (1.0 - load)
                    first += fuel
                    if keep_states:
                        by_hour[s, d, h] = fuel
                if keep_states:
                    by_hour[s, d, h] += cooker
            out[s, d, 5] = house.light_kwh_per_k * (light - light_0) + house.heavy_kwh_per_k * (
                heavy - heavy_0
            )
            out[s, d, 6] = 24.0 * cooker
            out[s, d, 0] = first + 24.0 * cooker
            if keep_states:
                states[s, d, 0], states[s, d, 1], states[s, d, 2] = light, heavy, spare
                states[s, d, 3], states[s, d, 4] = on, mean
    return out, states, by_hour


def run(
    house: Physics, days: Days, habits: Habits, sun: SunTable, hours: Hours, *, start: Floats,
    keep_states: bool = False,
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """Run a house through its days; see `run_house`."""
    out, states, by_hour = run_house(house, days, habits, sun, hours, start, keep_states)
    return out, states, by_hour
