"""Is the tank seen: no level yet, silence, no echo, too near the sensor, tickets only.

Rule     silent: no level for max(1.5 usual intervals, 48 h); stale: silent, and the 80 % band wider
         than 40 % of the usable capacity or the fullest burn may have reached the heel
Source   common practice, no source
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from forecaster.anomalies.evidence import Evidence
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
    at = e.levels.at[e.trusted()]
    only_fills = len(at) == 0
    if only_fills:
        filled = (e.deliveries.filled == "yes") & ~e.deliveries.removed
        at = np.sort(e.deliveries.at[filled])
    if len(at) == 0:
        return ()
    alone = ONE_FILL_H if only_fills else ONE_LEVEL_H
    usual_h = float(np.median(np.diff(at[-21:]) / np.timedelta64(3600, "s"))) if len(at) > 1 else alone
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


def lost_echo(e: Evidence) -> Sequence[Reason]:
    """Find a sensor that still speaks but sees nothing."""
    lost = (e.levels.flags & (Flag.NO_ECHO | Flag.ABOVE_TANK | Flag.BELOW_TANK)) != 0
    seen = np.flatnonzero(~lost)
    first = int(seen[-1]) + 1 if len(seen) else 0
    if len(lost) - first < LOST_ECHOES:
        return ()
    if (e.levels.at[-1] - e.levels.at[first]) / np.timedelta64(1, "h") < LOST_LEAST_H:
        return ()
    good = np.flatnonzero(e.trusted())
    since = f" since {e.when(e.levels.at[good[-1]])}" if len(good) else ""
    text = f"No valid echo{since}. This does not tell us whether there is oil; read the gauge."
    return [Reason("no_echo", State.WIDE, text)]


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


FINDERS = (no_level, silence, lost_echo, dead_band, tickets_only)
