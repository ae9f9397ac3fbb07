"""Invented homes, hour by hour: two temperatures, a boiler, and what the household wants of it.

A thermal simulator, not the engine's burn model: nothing in it knows of degree-days. It keeps the
temperature of the air and of the building's mass, and asks of the boiler each hour what the
thermostat wants.

::

      outdoors --leaks, wind--> AIR <--stove, people, sun, boiler
          |                      |
          +------- fabric ---- MASS <--sun, stove

Flow     weather, household -> **burn** -> gauge
Formula  C_air dT_air = Q + G_air + leak (T_out - T_air) + couple (T_mass - T_air)
         C_mass dT_mass = G_mass + couple (T_air - T_mass) + skin (T_out - T_mass)
         backward Euler over one hour, Q the heat that brings the air to its set-point, at most
         the boiler's; litres = (Q + hot water) / efficiency / gross heat of a litre, and losses
Source   two-node lumped heat balance, common practice, no source; every home is invented
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from api.sources.valley.household import Home, draw_life
from api.sources.valley.sky import Floats, Sky

WINDOWS_OPEN_C = 23.5
"""Warmer than that, people open the windows and the heat is gone. [C]"""
LEAST_FIRE = 0.08
"""Below this share of its output the boiler waits, until the air is half a degree too cold."""


@dataclass(frozen=True, slots=True)
class Burn:
    """What the homes did, arrays of shape (home, hour) unless said otherwise; heat in kWh an hour.

    Attributes
    ----------
    litres_15c
        Oil burned in each hour. [L at 15 C]
    fuel_kwh, room_kwh, water_kwh
        Gross heat of that oil, and the heat given to rooms and to the hot water.
    gains_kwh, leaked_kwh, skin_kwh, vented_kwh
        Heat from sun, people and stove, and lost by air, by the fabric and by open windows.
    air_c, mass_c : shape (home, hour + 1)
        Temperatures at the start of each hour, and at the end. [C]
    stove_kg : shape (home, day)
        Wood burned on each UTC day's evening. [kg]
    """

    litres_15c: Floats
    fuel_kwh: Floats
    room_kwh: Floats
    water_kwh: Floats
    gains_kwh: Floats
    leaked_kwh: Floats
    skin_kwh: Floats
    vented_kwh: Floats
    air_c: Floats
    mass_c: Floats
    stove_kg: Floats


def simulate_homes(
    homes: Sequence[Home],
    sky: Sky,
    *,
    utc_offset_h: Floats,
    rngs: Sequence[np.random.Generator],
) -> Burn:
    """Burn oil in each home, hour by hour.

    Parameters
    ----------
    homes : sequence of Home
        All are stepped together.
    sky : Sky
        Weather of the valley, whole UTC days.
    utc_offset_h : float array, shape (hour,)
        Local clock minus UTC. [h]
    rngs : sequence of Generator, one a home
        People's own chances; a home's burn does not depend on its neighbours.
    """
    lives = [
        draw_life(home, sky, utc_offset_h=utc_offset_h, rng=rng)
        for home, rng in zip(homes, rngs, strict=True)
    ]
    sun_kw = np.stack([life.sun_kw for life in lives])
    people_kw = np.stack([life.people_kw for life in lives])
    stove_kw = np.stack([life.stove_kw for life in lives])
    water_kwh = np.stack([life.water_kwh for life in lives])
    rooms = _step_rooms(
        homes,
        out_c=np.stack([life.out_c for life in lives]),
        wind_m_s=sky.wind_m_s,
        set_c=np.stack([life.set_c for life in lives]),
        air_gain_kw=0.3 * sun_kw + people_kw + 0.65 * stove_kw,
        mass_gain_kw=0.7 * sun_kw + 0.35 * stove_kw,
        water_kw=water_kwh,
    )
    fuel_kwh = _fuel_kwh(homes, rooms.room_kwh + water_kwh)
    gross = np.array([[h.fuel.gross_kwh_per_l] for h in homes])
    return Burn(
        litres_15c=fuel_kwh / gross,
        fuel_kwh=fuel_kwh,
        room_kwh=rooms.room_kwh,
        water_kwh=water_kwh,
        gains_kwh=sun_kw + people_kw + stove_kw,
        leaked_kwh=rooms.leaked_kwh,
        skin_kwh=rooms.skin_kwh,
        vented_kwh=rooms.vented_kwh,
        air_c=rooms.air_c,
        mass_c=rooms.mass_c,
        stove_kg=np.stack([life.stove_kg for life in lives]),
    )


def conductances_kw_per_k(home: Home) -> tuple[float, float, float]:
    """Split a home's heat loss into air leaks, outer skin and the path from air to mass. [kW/K]

    Skin and path stand in series; with the leaks beside them they give the home's whole loss.

    Examples
    --------
    >>> from forecaster.fuel import KEROSENE
    >>> leak, skin, couple = conductances_kw_per_k(Home(KEROSENE, loss_w_per_k=200.0))
    >>> round(leak + 1 / (1 / skin + 1 / couple), 6)
    0.2
    """
    leak = home.loss_w_per_k * home.leak_share / 1000.0
    fabric = home.loss_w_per_k / 1000.0 - leak
    couple = 8.0 * fabric
    return leak, 1.0 / (1.0 / fabric - 1.0 / couple), couple


@dataclass(frozen=True, slots=True)
class _Rooms:
    room_kwh: Floats
    leaked_kwh: Floats
    skin_kwh: Floats
    vented_kwh: Floats
    air_c: Floats
    mass_c: Floats


def _step_rooms(
    homes: Sequence[Home],
    *,
    out_c: Floats,
    wind_m_s: Floats,
    set_c: Floats,
    air_gain_kw: Floats,
    mass_gain_kw: Floats,
    water_kw: Floats,
) -> _Rooms:
    """Solve the two heat balances for each hour in turn, all homes at once."""
    count, hours = out_c.shape
    leak, skin, couple = (np.array(c) for c in zip(*map(conductances_kw_per_k, homes), strict=True))
    leak_kw = leak[:, None] * (0.4 + 0.6 * wind_m_s / 4.0)
    c_air = np.array([h.air_kwh_per_k for h in homes])
    c_mass = np.array([h.mass_kwh_per_k for h in homes])
    room_kw = np.maximum(0.0, np.array([[h.boiler_kw] for h in homes]) - water_kw)

    # [air, -couple; -couple, mass] [T_air; T_mass] = [known_air + Q; known_mass], one row an hour
    air = c_air[:, None] + leak_kw + couple[:, None]
    mass = c_mass + couple + skin
    determinant = air * mass[:, None] - couple[:, None] ** 2
    known_air = leak_kw * out_c + air_gain_kw
    known_mass = skin[:, None] * out_c + mass_gain_kw
    degrees_per_kw = mass[:, None] / determinant
    pull = couple / mass

    air_c = np.empty((hours + 1, count))
    mass_c = np.empty((hours + 1, count))
    room = np.empty((hours, count))
    air_c[0], mass_c[0] = set_c[:, 0], set_c[:, 0] - 1.0
    least = LEAST_FIRE * room_kw
    rows = tuple(a.T.copy() for a in (known_air, known_mass, degrees_per_kw, set_c, room_kw, least))
    for t, (to_air, to_mass, per_kw, want_c, most, few) in enumerate(zip(*rows, strict=True)):
        from_mass = c_mass * mass_c[t] + to_mass
        free_c = per_kw * (c_air * air_c[t] + to_air + pull * from_mass)
        need = np.minimum((want_c - free_c) / per_kw, most)
        fire = np.where((need >= few) | (free_c < want_c - 0.5), np.maximum(need, 0.0), 0.0)
        vent = np.minimum((WINDOWS_OPEN_C - free_c) / per_kw, 0.0)
        room[t] = fire + vent
        air_c[t + 1] = free_c + per_kw * (fire + vent)
        mass_c[t + 1] = (from_mass + couple * air_c[t + 1]) / mass
    warm, walls = air_c[1:].T, mass_c[1:].T
    return _Rooms(
        room_kwh=np.maximum(room, 0.0).T,
        leaked_kwh=leak_kw * (warm - out_c),
        skin_kwh=skin[:, None] * (walls - out_c),
        vented_kwh=np.maximum(-room, 0.0).T,
        air_c=air_c.T,
        mass_c=mass_c.T,
    )


def _fuel_kwh(homes: Sequence[Home], heat_kwh: Floats) -> Floats:
    """Turn heat given into fuel: full-fire efficiency, and losses of a boiler that stands hot."""
    efficiency = np.array([[h.efficiency] for h in homes])
    standing = np.array([[h.standing_w / 1000.0] for h in homes])
    return np.asarray(heat_kwh / efficiency + np.where(heat_kwh > 0.0, standing, 0.0))
