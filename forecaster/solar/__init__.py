"""The sun: what it brings through windows, and what panels on the roof make of it.

Flow     daily irradiation -> `plane` -> useful sun, `panels` -> burn model
"""

from forecaster.solar.panels import diverted_kwh, hot_water_share_from_sun, solar_thermal_share
from forecaster.solar.plane import (
    TABLE_SHAPE,
    TABLE_VERSION,
    Facing,
    Plane,
    PlaneTable,
    RecentTables,
    daily_diffuse_fraction,
    keep_tables_in,
    plane_irradiation_kwh_m2,
    windows_irradiation_kwh_m2,
)
from forecaster.solar.shade import Shade, open_beam, open_sky

__all__ = [
    "TABLE_SHAPE",
    "TABLE_VERSION",
    "Facing",
    "Plane",
    "PlaneTable",
    "RecentTables",
    "Shade",
    "daily_diffuse_fraction",
    "diverted_kwh",
    "hot_water_share_from_sun",
    "keep_tables_in",
    "open_beam",
    "open_sky",
    "plane_irradiation_kwh_m2",
    "solar_thermal_share",
    "windows_irradiation_kwh_m2",
]
