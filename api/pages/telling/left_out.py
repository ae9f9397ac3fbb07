"""Readings that were set aside, with the reason of each.

Flow     readings, tank -> screening -> **left out** -> template
"""

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from forecaster.civil import civil_date, to_datetime
from forecaster.phrases import day_text
from forecaster.readings import Quantity
from forecaster.screening import CENSORED, SET_ASIDE, Flag, screen_readings

if TYPE_CHECKING:
    from forecaster.pipeline import Inputs

MOST_ROWS = 40
"""Of more, the newest are shown."""

REASONS: dict[Flag, str] = {
    Flag.NO_ECHO: "the sensor saw no echo; this does not tell whether there is oil",
    Flag.ABOVE_TANK: "more oil than the tank holds",
    Flag.BELOW_TANK: "further down than the bottom of the tank",
    Flag.DEAD_BAND: "too near for the sensor: taken as “at least so much”",
    Flag.SPIKE: "far from the readings before and after it, which agree with each other",
    Flag.STUCK: "the same value although oil must have been burned",
    Flag.DUPLICATE: "the same as an earlier reading of that time",
    Flag.CONFLICT: "another value for a time that already has one",
    Flag.UNIT: "changed its size at one stroke, as if the unit had changed",
    Flag.TREND: "climbs by little steps without a delivery; water may be getting in",
}
"""Each flag in words."""

_UNITS = {
    Quantity.ULLAGE_MM: ("{:,.0f} mm above the oil", 1.0),
    Quantity.DIP_MM: ("{:,.0f} mm of oil", 1.0),
    Quantity.LITRES: ("{:,.0f} litres", 1.0),
    Quantity.FRACTION: ("{:.0f} in 100 of the tank", 100.0),
}


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading that was left out."""

    at: str
    value: str
    reason: str


@dataclass(frozen=True, slots=True)
class LeftOut:
    """The newest readings left out.

    ``count`` is how many there are in all, ``at_least`` how many say only "at least so much" (they are
    used, and not left out), ``known`` how many readings there are.
    """

    readings: tuple[Reading, ...]
    count: int
    at_least: int
    known: int

    @property
    def count_words(self) -> str:
        """How many, for the line that opens the table."""
        if self.count == 0:
            return "no reading"
        return f"{self.count:,} of {self.known:,} readings"

    @property
    def caption(self) -> str:
        """What the table holds."""
        if self.count > len(self.readings):
            return f"The newest {len(self.readings)} of {self.count:,} readings that are not reckoned with"
        return "Readings that are kept and shown, and not reckoned with"


def find_left_out(inputs: "Inputs", zone: ZoneInfo) -> LeftOut:
    """Screen the readings as the forecast did, and tell those that are not used."""
    readings = inputs.readings
    if readings is None or len(readings.at) == 0:
        return LeftOut((), 0, 0, 0)
    tickets = inputs.deliveries.at if inputs.deliveries is not None else None
    flags = screen_readings(readings, inputs.tank, ticket_at=tickets)
    found = np.flatnonzero(flags & int(SET_ASIDE))
    rows = tuple(
        Reading(
            _moment(to_datetime(readings.at[i]), zone),
            value_words(str(readings.quantity[i]), float(readings.value[i])),
            "; ".join(words for flag, words in REASONS.items() if flags[i] & int(flag)),
        )
        for i in found[::-1][:MOST_ROWS]
    )
    at_least = int(((flags & int(CENSORED)) != 0).sum())
    return LeftOut(rows, len(found), at_least, len(flags))


def _moment(at: datetime, zone: ZoneInfo) -> str:
    return f"{day_text(civil_date(at, zone), year=True)} {at.astimezone(zone):%H:%M}"


def value_words(quantity: str, value: float | None) -> str:
    """Write a reading's value in the unit in which it came."""
    if value is None or not np.isfinite(value):
        return "no value"
    form, factor = _UNITS[Quantity(quantity)]
    return form.format(value * factor)
