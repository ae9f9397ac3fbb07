"""Levels: ullage to dip to litres, each with its standard deviation.

Flow     readings, flags, tank, air -> **levels** -> deliveries, burn model
Formula  ullage = as read · c(air) / c(assumed),  dip = sensor height − ullage,  litres = V(dip);
         var(mm) = step²/12 + floor² + (ullage · sd(air) / 2T)²;  sd(l) = V(dip ± sd) − V(dip)
Source   c = 331.3 √(1 + T/273.15) m/s, dry air, as in public driver code of ultrasonic modules
"""

from forecaster.levels.air import (
    OIL_DAYS,
    PLACES,
    AirAt,
    Place,
    headspace_air,
    oil_temperature_c,
    speed_of_sound_m_per_s,
)
from forecaster.levels.convert import SENSOR_FLOOR_MM, Levels, to_levels
from forecaster.levels.stuck import (
    SCRUB_STEPS,
    TELL_STEPS,
    StuckRun,
    cumulative_burn_l,
    find_stuck,
    stuck_run,
)

__all__ = [
    "OIL_DAYS",
    "PLACES",
    "SCRUB_STEPS",
    "SENSOR_FLOOR_MM",
    "TELL_STEPS",
    "AirAt",
    "Levels",
    "Place",
    "StuckRun",
    "cumulative_burn_l",
    "find_stuck",
    "headspace_air",
    "oil_temperature_c",
    "speed_of_sound_m_per_s",
    "stuck_run",
    "to_levels",
]
