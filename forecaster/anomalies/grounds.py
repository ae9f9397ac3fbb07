"""What the forecast rests on: how wide it is, how long the tank was watched, what weather is known.

Source   common practice, no source
"""

from collections.abc import Sequence

import numpy as np

from forecaster.anomalies.evidence import Evidence
from forecaster.anomalies.sight import WIDE_SHARE, band_share
from forecaster.phrases import day_text, days_text
from forecaster.states import Reason, State

SHORT_HISTORY_D = 30.0
"""A house watched for less rests on its survey. [d]"""
LEAST_HEAT_KD, HEAT_BASE_C = 100.0, 15.5
"""A house watched through fewer degree-days below that has not shown how it heats. [K d], [C]"""
OLD_WEATHER_D = 3
"""The newest known weather may be that many civil days before as-of. [d]"""
COLDER_K = 3.0
"""Forecast days colder than anything seen by more than that: an outlook errs by 2.5 K itself. [K]"""


def wide_band(e: Evidence) -> Sequence[Reason]:
    """Find that the litres are known only roughly."""
    if band_share(e.now_l, e.tank) <= WIDE_SHARE:
        return ()
    text = "How much is left is known only roughly: a reading of the gauge would make it sure."
    return [Reason("wide_band", State.WIDE, text)]


def short_history(e: Evidence) -> Sequence[Reason]:
    """Find a house that has not been watched for long, or not while it was heated."""
    first = e.posterior.observed_from
    if first is None or not e.trusted().any():
        return ()
    days = e.since(first)
    ending = "how fast it empties comes from your survey and is not yet learnt from the tank."
    if days < SHORT_HISTORY_D:
        watched = f"for {days_text(days)}" if round(days) >= 1 else "for less than a day"
        text = f"The tank has been watched {watched}: {ending}"
        return [Reason("short_history", State.WIDE, text)]
    watched_days = e.past.date >= first.astype("datetime64[D]")
    heat_kd = float(np.maximum(HEAT_BASE_C - e.past.temp_c[watched_days], 0.0).sum())
    if heat_kd < LEAST_HEAT_KD:
        text = f"The tank has been watched since {e.day(first)} in warm weather only: in the cold, {ending}"
        return [Reason("short_history", State.WIDE, text)]
    return ()


def old_weather(e: Evidence) -> Sequence[Reason]:
    """Find that the weather behind us is not known up to now."""
    today, newest = e.past.date[-1], e.past.newest
    if newest is None:
        text = "No weather was given: normal weather for the season is assumed for the past as well."
        return [Reason("no_weather", State.WIDE, text)]
    if (today - newest).astype(int) <= OLD_WEATHER_D:
        return ()
    day = newest.astype("datetime64[D]").item()
    told = day_text(day, year=day.year != today.item().year)
    text = (
        f"The last known weather is of {told}; from there on we assume normal weather for the season. If it "
        "has been colder, less oil is left than we reckon."
    )
    return [Reason("old_weather", State.WIDE, text)]


def colder_than_learnt(e: Evidence) -> Sequence[Reason]:
    """Find a weather forecast far below anything that the house was watched in."""
    first = e.posterior.observed_from
    if e.outlook is None or first is None:
        return ()
    learnt = (e.past.date >= first.astype("datetime64[D]")) & ~e.past.assumed
    ahead = e.outlook.temp_c[e.outlook.date >= e.past.date[-1]]
    if not learnt.any() or len(ahead) == 0:
        return ()
    coldest, seen = float(ahead.min()), float(e.past.temp_c[learnt].min())
    if coldest >= seen - COLDER_K:
        return ()
    text = (
        f"The weather forecast goes down to a daily mean of {round(coldest)} °C, colder than anything we have "
        f"learnt from here ({round(seen)} °C): the tank may empty faster than we reckon."
    )
    return [Reason("colder_than_learnt", State.WIDE, text)]


FINDERS = (wide_band, short_history, old_weather, colder_than_learnt)
