"""True houses that are not the model, and an oracle that knows them.

Flow     records of real weather (records, sun, sky) -> houses by the hour (physics, habits, homes)
         -> tanks, tickets, sensors (supply, gauge) -> **lives** (life) -> the oracle (oracle)

A house is two nodes of heat under hourly weather, with people in it; it has no degree-days and no base
temperature. Settings are tuned on the world `TUNING` and reported on `REPORTING`, which differs in its
stations, stretches of weather, houses, habits, sensors and surveys. The oracle runs the same house on
from its true state over the weather scenarios that every rival is given.
"""

from tests.accuracy.world.homes import REPORTING, TUNING, TrueHouse, World
from tests.accuracy.world.life import Faults, Life, draw_life, weather_years_for
from tests.accuracy.world.oracle import oracle_litres

__all__ = [
    "REPORTING",
    "TUNING",
    "Faults",
    "Life",
    "TrueHouse",
    "World",
    "draw_life",
    "oracle_litres",
    "weather_years_for",
]
