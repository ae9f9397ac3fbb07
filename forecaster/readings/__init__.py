"""Readings: what was read off the tank, when, checked but not yet interpreted.

A file of readings has a time and one level column, whose name carries quantity and unit. Each
bad row becomes a problem that names row, field, value and mend; every good row is kept.

Flow     bytes -> rows -> **readings** -> screening -> levels
"""

from forecaster.readings.parse import parse_readings
from forecaster.readings.quantities import LEVEL_COLUMNS, ParsedReadings, Quantity, Readings
from forecaster.readings.times import parse_local_time

__all__ = [
    "LEVEL_COLUMNS",
    "ParsedReadings",
    "Quantity",
    "Readings",
    "parse_local_time",
    "parse_readings",
]
