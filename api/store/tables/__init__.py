"""Every table of the service, by subject.

Flow     columns -> **tables** -> store
"""

from api.store.tables import access, doors, ordering, reach, setup
from api.store.tables.base import metadata
from api.store.tables.tanks import (
    QUANTITIES,
    delivery,
    forecast,
    outlook_day,
    reading,
    reading_aside,
    receipt,
    sensor,
    station,
    tank,
    tank_text,
    tank_version,
    weather_day,
)

__all__ = [
    "QUANTITIES",
    "access",
    "delivery",
    "doors",
    "forecast",
    "metadata",
    "ordering",
    "outlook_day",
    "reach",
    "reading",
    "reading_aside",
    "receipt",
    "sensor",
    "setup",
    "station",
    "tank",
    "tank_text",
    "tank_version",
    "weather_day",
]
