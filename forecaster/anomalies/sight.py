"""Is the tank seen: no level yet, silence, no echo, too near the sensor, tickets only.

Rule     silent: no level, but a lone one far off, for max(1.5 usual intervals, 48 h); stale: silent, and the 80 %
         band wider than 40 % of the usable capacity, or the fullest burn may have reached the heel
Source   common practice, no source
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from forecaster.anomalies.evidence import Evidence
from forecaster.deliveries import levels_by_tickets
from forecaster.phrases import days_text, litres_text
from forecaster.screening import Flag
from forecaster.states import Reason, State
from forecaster.tanks import Tank

Floats = npt.NDArray[np.float64]

WIDE_SHARE, STALE_SHARE = 0.10, 0.40
"""80 % band of litres over usable capacity from which a forecast is wide, and may be stale. [-]"""
FULLEST_BURN = 0.005
"""The fullest burn that the data allow leaves less than that share of the paths below it. [-]"""
QUIET_FACTOR, QUIET_LEAST_H = 1.5, 48.0
"""A source is silent after 1.5 of its usual intervals, but not before 48 hours."""
ONE_LEVEL_H, ONE_FILL_H = 24.0, 24.0 * 182
"""Usual interval of a source that was heard once: a sensor's day, half a year between fills. [h]"""
LOST_ECHOES, LOST_LEAST_H = 3, 12.0
"""So many readings in a row without a level, over at least so many hours, are told."""
FEW_OF = 4
"""Of so many readings a day or more, at least half should show a level."""
CONFLICTS = 3
"""So many second readings under one time in a week are told."""
SWING_D, SWING_READINGS = 7, 4
"""Swings are looked for over so many days with so many readings a day."""
SWING_CORRELATION, SWING_DAYS = 0.6, 5.0
"""A swing follows the time of day with that correlation; one of more than five days' burn is doubted."""
BURNS_BY_DAY = 0.35
"""Burning by day and not by night is a wave of up to that part of the day's burn. [-]"""


def band_share(now_l: Floats, tank: Tank) -> float:
    """Width of the 80 % band of litres, over the usable capacity."""
    low, high = np.quantile(now_l, [0.1, 0.9])
    return float(high - low) / tank.usable_l


def no_level(e: Evidence) -> Sequence[Reason]:
    """Find a tank that was never seen, nor filled on a known day."""
    if e.trusted().any() or e.posterior.observed_from is not None:
        return ()
    return [Reason("no_level", State.BLIND, "Send a first reading, or type what the gauge shows.")]


def silence(e: Evidence) -> Sequence[Reason]:
    """Find a source that no longer speaks: wide while the tank is tightly bounded, else stale."""
    came = e.levels.at[e.trusted()]
    only_fills = len(came) == 0
    at = e.levels.at[e.heard()]
    if only_fills:
        # a ticket with dips tells two levels at once: its day counts
        told = levels_by_tickets(e.deliveries, e.tank).at.astype("datetime64[D]")
        at = np.unique(told).astype("datetime64[s]")
    if len(at) == 0:
        return ()
    alone = ONE_FILL_H if only_fills else ONE_LEVEL_H
    spoke = at if only_fills else came
    usual_h = float(np.median(np.diff(spoke[-21:]) / np.timedelta64(3600, "s"))) if len(spoke) > 1 else alone
    silent_h = e.since(at[-1]) * 24
    if silent_h <= max(QUIET_FACTOR * usual_h, QUIET_LEAST_H):
        return ()
    ago = f"since {e.day(at[-1])}, {days_text(silent_h / 24)} ago"
    said = f"No fill has been entered {ago}." if only_fills else f"No level that we trust has come {ago}."
    may_be_dry = float(np.quantile(e.now_l, FULLEST_BURN)) <= e.tank.heel_l
    if band_share(e.now_l, e.tank) > STALE_SHARE or may_be_dry:
        text = f"{said} {_weather_since(e, at[-1])} Please read the gauge and enter what it shows."
        return [Reason("stale", State.STALE, text)]
    text = f"{said} The answer goes on from there by the weather, and is less sure."
    return [Reason("silent", State.WIDE, text)]


def _weather_since(e: Evidence, at: np.datetime64) -> str:
    """What the weather did since an instant."""
    known = (e.past.date > at.astype("datetime64[D]")) & ~e.past.assumed
    if not known.any():
        return "What the weather did since is not known."
    mean = round(float(e.past.temp_c[known].mean()))
    days = int(known.sum())
    if days == 1:
        return f"On the one day known since, it was {mean} °C."
    return f"Since then it was {mean} °C on average, over {days_text(days)}."


def _lost(e: Evidence) -> tuple[npt.NDArray[np.bool_], int]:
    """Which readings show no level in the tank, and from which on all do."""
    lost = (e.levels.flags & (Flag.NO_ECHO | Flag.ABOVE_TANK | Flag.BELOW_TANK)) != 0
    seen = np.flatnonzero(~lost)
    return lost, int(seen[-1]) + 1 if len(seen) else 0


def another_tank(e: Evidence) -> Sequence[Reason]:
    """Find a sensor that goes on measuring where this tank is not."""
    _, first = _lost(e)
    flags = e.levels.flags[first:]
    good = np.flatnonzero(e.trusted())
    if len(flags) < LOST_ECHOES or (flags & Flag.NO_ECHO).any() or not len(good):
        return ()
    if (e.levels.at[-1] - e.levels.at[first]) / np.timedelta64(1, "h") < LOST_LEAST_H:
        return ()
    where = "above its top" if (flags[-1] & Flag.ABOVE_TANK) else "below its bottom"
    text = (
        f"Since {e.when(e.levels.at[first])} every reading lies outside this tank, {where}. This looks like another "
        "tank, or a sensor that was moved. Nothing is forecast until you confirm the tank's size and the sensor's "
        "height; until then read the gauge."
    )
    return [Reason("another_tank", State.CHECK, text)]


def lost_echo(e: Evidence) -> Sequence[Reason]:
    """Find a sensor that still speaks but sees nothing."""
    lost, first = _lost(e)
    if len(lost) - first < LOST_ECHOES:
        return _few_echoes(e, lost)
    if another_tank(e) or (e.levels.at[-1] - e.levels.at[first]) / np.timedelta64(1, "h") < LOST_LEAST_H:
        return ()
    good = np.flatnonzero(e.trusted())
    since = f" since {e.when(e.levels.at[good[-1]])}" if len(good) else ""
    text = f"No valid echo{since}. This does not tell us whether there is oil; read the gauge."
    return [Reason("no_echo", State.WIDE, text)]


def _few_echoes(e: Evidence, lost: npt.NDArray[np.bool_]) -> Sequence[Reason]:
    """Find a sensor that sees the oil less than half of the time."""
    day = e.levels.at > e.posterior.at - np.timedelta64(1, "D")
    sent, missed = int(day.sum()), int((lost & day).sum())
    if sent < FEW_OF or missed <= sent / 2:
        return ()
    text = (
        f"Of the last day's {sent} readings, {missed} showed no valid echo. The others are used; read the gauge if "
        "it goes on."
    )
    return [Reason("few_echoes", State.WIDE, text)]


def clock(e: Evidence) -> Sequence[Reason]:
    """Find a sensor that sends other levels under times at which it had sent one before."""
    week = e.levels.at > e.posterior.at - np.timedelta64(7, "D")
    other = week & ((e.levels.flags & Flag.CONFLICT) != 0)
    if int(other.sum()) < CONFLICTS:
        return ()
    since = e.when(e.levels.at[other][0])
    text = (
        f"Since {since} the sensor has sent {int(other.sum())} readings under times at which it had already sent "
        "another: its clock may have been set back. Which came first is not known. Please read the gauge."
    )
    return [Reason("clock", State.CHECK, text)]


def swing_l(e: Evidence) -> tuple[float, float]:
    """How far the levels of the last week swing up and down with the time of day, and a day's fall. [L, L]

    0 where they do not follow it, or no more than burning by day explains.
    """
    ok = np.flatnonzero(e.trusted() & ~e.levels.censored)
    ok = ok[e.levels.at[ok] > e.posterior.at - np.timedelta64(SWING_D, "D")]
    if len(ok) < SWING_READINGS * SWING_D:
        return 0.0, 0.0
    day = (e.levels.at[ok] - e.levels.at[ok[0]]) / np.timedelta64(1, "s") / 86_400.0
    litres = e.levels.litres[ok]
    smooth = np.stack([np.ones_like(day), day, day**2, day**3], axis=1)
    waves = np.stack([np.cos(2.0 * np.pi * day), np.sin(2.0 * np.pi * day)], axis=1)
    rest = litres - smooth @ np.linalg.lstsq(smooth, litres, rcond=None)[0]
    wave = np.linalg.lstsq(np.hstack([smooth, waves]), litres, rcond=None)[0][-2:]
    size = float(np.hypot(*wave))
    a_day = max(float(litres[0] - litres[-1]) / max(float(day[-1]), 1.0), 0.0)
    follows = float(np.var(waves @ wave)) > SWING_CORRELATION**2 * float(np.var(rest))
    burning = 0.5 * float(e.levels.step_l[ok[-1]]) + BURNS_BY_DAY * a_day
    return (size, a_day) if follows and size > burning else (0.0, a_day)


def swing(e: Evidence) -> Sequence[Reason]:
    """Find levels that go up and down with the time of day, as with a sensor in the sun."""
    size, a_day = swing_l(e)
    if size <= 0.0:
        return ()
    step_l = float(e.levels.step_l[e.trusted()][-1])
    told = litres_text(size, sd=max(step_l / 2.0, 2.0))
    too_much = 2.0 * size > SWING_DAYS * max(a_day, 1.0)
    text = (
        f"The readings swing by about {told} up and down with the time of day, as with a sensor in the sun. "
    )
    text += (
        "That is more than you burn in several days: please read the gauge early in the morning."
        if too_much
        else "What is left is known less well than the sensor's step says."
    )
    return [Reason("swing", State.CHECK if too_much else State.WIDE, text)]


def dead_band(e: Evidence) -> Sequence[Reason]:
    """Find oil so near the sensor that only "at least" is known."""
    usable = np.flatnonzero(e.trusted())
    if len(usable) == 0 or not e.levels.censored[usable[-1]]:
        return ()
    least = np.floor(float(e.levels.litres[usable[-1]]) / 10.0) * 10.0
    text = f"The oil stands too close to the sensor to be measured: there are at least {litres_text(least)}."
    return [Reason("dead_band", State.WIDE, text)]


def tickets_only(e: Evidence) -> Sequence[Reason]:
    """Find a tank whose level nobody has read."""
    if e.trusted().any() or e.posterior.observed_from is None:
        return ()
    text = "No level has been read: this rests on the last fill, the weather and your survey."
    return [Reason("tickets_only", State.WIDE, text)]


FINDERS = (no_level, silence, another_tank, lost_echo, clock, swing, dead_band, tickets_only)
