"""The oil store of an invented home and the sensor on its lid, with the faults that sensors have.

Flow     burn -> deliveries, **level**, **readings** -> files
Formula  litres(t+1) = litres(t) - burned + delivered, all at 15 C
         ullage read = round((sensor height - dip + drift + noise) x c(assumed) / c(headspace))
         c(T) = 331.3 sqrt(1 + T/273.15) m/s
Source   speed of sound in dry air, ideal gas, from memory; everything else is invented
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from api.sources.valley.sky import Floats, Hours, Sky
from forecaster.fuel import to_bulk_litres, to_litres_at_15c
from forecaster.tanks import Tank

NO_ECHO_MM = 9999
"""What these sensors send when no echo came back. [mm]"""
TICKET_SD = 0.01
"""Relative error of a delivery ticket against what went in."""


@dataclass(frozen=True, slots=True)
class Habit:
    """How a household buys oil: when it orders, and how much.

    Attributes
    ----------
    start_l
        In the tank when the record begins. [L]
    order_at_l
        It orders when the sensor shows less than that. [L]
    drop_l
        Litres it asks for; None: fill the tank.
    """

    start_l: float
    order_at_l: float
    drop_l: float | None = None


@dataclass(frozen=True, slots=True)
class Probe:
    """A sensor and its faults; chances are for each reading.

    Attributes
    ----------
    utc_hours
        Hours of the day at which it measures.
    noise_mm, drift_mm_per_year
        Error of a single echo, one standard deviation, and how the face sinks. [mm]
    hold
        Chance that it repeats its last value, and does so for some days.
    stuck_from
        From then on it sends one value only; None: it never does.
    """

    utc_hours: tuple[int, ...] = (6,)
    minute: int = 10
    noise_mm: float = 2.5
    drift_mm_per_year: float = 0.0
    spike: float = 0.006
    no_echo: float = 0.007
    missing: float = 0.015
    hold: float = 0.004
    stuck_from: np.datetime64 | None = None


@dataclass(frozen=True, slots=True)
class Store:
    """What was in the tank, arrays of shape (hour,).

    Attributes
    ----------
    litres_15c, litres
        In the tank at the start of each hour, at 15 C and as bulk at the oil's temperature. [L]
    drawn_15c, delivered_15c
        Burned and delivered within the hour. [L at 15 C]
    oil_c
        Temperature of the oil. [C]
    dry_at
        Start of the first hour at the heel, when the boiler stops; None if that never comes.
    """

    at: Hours
    litres_15c: Floats
    litres: Floats
    drawn_15c: Floats
    delivered_15c: Floats
    oil_c: Floats
    dry_at: np.datetime64 | None


@dataclass(frozen=True, slots=True)
class Echoes:
    """What the sensor sent, shape (reading,); air_c is the headspace it measured itself."""

    at: npt.NDArray[np.datetime64]
    ullage_mm: Floats
    air_c: Floats


def oil_temperature_c(sky: Sky, *, colder_c: float, lag_days: float) -> Floats:
    """Follow the air with the lag of a tank out of doors, a little warmed by the sun. [C]"""
    outside = sky.temp_c - colder_c + sky.ghi_w_m2 / 150.0
    oil = np.empty(len(outside))
    share = 1.0 / (24.0 * lag_days)
    now = float(outside[:72].mean())
    for t, around in enumerate(outside.tolist()):
        oil[t] = now
        now += share * (around - now)
    return oil


def fill_store(
    at: Hours,
    wanted_15c: Floats,
    *,
    oil_c: Floats,
    tank: Tank,
    habit: Habit,
    looks_until: np.datetime64,
    rng: np.random.Generator,
) -> Store:
    """Let a household burn oil and buy it; nothing is delivered from ``looks_until`` on.

    Parameters
    ----------
    at : datetime64[h] array, shape (hour,)
        Whole UTC days.
    wanted_15c : float array, shape (hour,)
        What the boiler would burn if the oil never ran out. [L at 15 C]

    Notes
    -----
    A household looks at the gauge every evening. The supplier comes 3 to 10 working days after
    the order, and hurries when the boiler would stop before that. At the heel the boiler stops,
    and the level stays.
    """
    density = tank.fuel.density_15c
    heel_15c = to_litres_at_15c(np.full(len(at), tank.heel_l), oil_c, density)
    used = np.concatenate([[0.0], np.cumsum(wanted_15c)])
    start_15c = float(to_litres_at_15c(habit.start_l, oil_c[0], density))
    delivered = np.zeros(len(at))
    got, due = 0.0, -1
    for hour in range(18, len(at), 24):
        level_l = float(to_bulk_litres(start_15c + got - used[hour], oil_c[hour], density))
        if at[hour] >= looks_until or level_l <= tank.heel_l:
            break
        if hour <= due or level_l >= habit.order_at_l:
            continue
        due = _delivery_hour(at, hour, start_15c + got - used[:-1] - heel_15c, rng)
        if at[due] >= looks_until:
            break
        room_l = tank.safe_fill_l - float(to_bulk_litres(start_15c + got - used[due], oil_c[due], density))
        drop_l = room_l if habit.drop_l is None else min(habit.drop_l, room_l)
        delivered[due] = float(to_litres_at_15c(drop_l, oil_c[due], density))
        got += delivered[due]
    level_15c = start_15c + np.concatenate([[0.0], np.cumsum(delivered)[:-1]]) - used[:-1]
    stopped = level_15c <= heel_15c
    first = int(stopped.argmax()) if stopped.any() else len(at)
    drawn = np.where(np.arange(len(at)) < first, wanted_15c, 0.0)
    level_15c = start_15c + np.concatenate([[0.0], np.cumsum(delivered - drawn)[:-1]])
    return Store(
        at=at,
        litres_15c=level_15c,
        litres=np.asarray(to_bulk_litres(level_15c, oil_c, density)),
        drawn_15c=drawn,
        delivered_15c=delivered,
        oil_c=oil_c,
        dry_at=at[first] if first < len(at) else None,
    )


def _delivery_hour(at: Hours, ordered: int, above_heel_15c: Floats, rng: np.random.Generator) -> int:
    """Say in which hour the tanker comes: by day, on a working day, before the boiler stops."""
    lead = int(rng.integers(3, 11))
    morning = int(rng.integers(9, 15))
    day = int(np.busday_offset(at[ordered].astype("datetime64[D]"), lead, roll="backward").astype(int))
    booked = (day - int(at[0].astype("datetime64[D]").astype(int))) * 24 + morning
    below = above_heel_15c[ordered:] <= 0.0
    if below.any():
        day_before = (ordered + int(below.argmax())) // 24 - 1
        booked = min(booked, max(ordered + 15, day_before * 24 + 9))
    return min(booked, len(at) - 1)


def take_readings(
    store: Store,
    *,
    tank: Tank,
    probe: Probe,
    headspace_c: Floats,
    until: np.datetime64,
    rng: np.random.Generator,
) -> Echoes:
    """Let the sensor measure up to ``until``, and send what such sensors send.

    Parameters
    ----------
    headspace_c : float array, shape (hour,)
        Air in the tank, which decides the speed of sound. [C]
    """
    if tank.sensor_height_mm is None:
        raise ValueError("a tank with a sensor needs the height of the sensor's face")
    midnight = store.at[::24].astype("datetime64[m]")
    minutes = np.array([h * 60 + probe.minute for h in probe.utc_hours]).astype("timedelta64[m]")
    times = (midnight[:, None] + minutes).reshape(-1)
    times = times[times <= until]
    hours = (times - store.at[0].astype("datetime64[m]")).astype(float) / 60.0
    litres = np.interp(hours, np.arange(len(store.at)), store.litres)
    air_c = np.interp(hours, np.arange(len(store.at)), headspace_c)
    ullage = tank.sensor_height_mm - tank.shape.dip_mm(litres)
    ullage += probe.drift_mm_per_year * hours / 8766.0 + probe.noise_mm * rng.standard_normal(len(times))
    if tank.sensor_assumed_air_c is not None:
        ullage *= sound_m_per_s(tank.sensor_assumed_air_c) / sound_m_per_s(air_c)
    step = tank.resolution_mm
    sent = np.round(np.maximum(ullage, tank.dead_band_mm) / step) * step
    sent = _hold(sent, probe, rng)
    spiked = rng.random(len(sent)) < probe.spike
    wrong = np.round(sent * rng.uniform(0.25, 0.7, len(sent)) / step) * step
    sent = np.where(spiked, np.maximum(wrong, tank.dead_band_mm), sent)
    sent = np.where(rng.random(len(sent)) < probe.no_echo, float(NO_ECHO_MM), sent)
    heard = rng.random(len(sent)) >= probe.missing
    if probe.stuck_from is not None:
        stuck = times >= probe.stuck_from
        good = np.flatnonzero(~stuck & (sent != NO_ECHO_MM) & ~spiked)
        sent = np.where(stuck, sent[good[-1]], sent)
    return Echoes(times[heard], sent[heard], np.round(air_c[heard], 1))


def sound_m_per_s(air_c: float | Floats) -> Floats:
    """Give the speed of sound in dry air. [m/s]

    Examples
    --------
    >>> round(float(sound_m_per_s(20.0)), 1)
    343.2
    """
    return np.asarray(331.3 * np.sqrt(1.0 + np.asarray(air_c) / 273.15))


def _hold(sent: Floats, probe: Probe, rng: np.random.Generator) -> Floats:
    """Repeat a value for one to four days now and then, as these sensors do."""
    held = sent.copy()
    days = rng.integers(1, 5, len(sent))
    for k in np.flatnonzero(rng.random(len(sent)) < probe.hold):
        held[k : k + 1 + int(days[k]) * len(probe.utc_hours)] = sent[k]
    return held
