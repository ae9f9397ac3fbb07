"""The homes of the invented valley: who lives there, what they burn, what their tank and sensor are.

Every name, person, size and habit here is invented.

Flow     **who** -> homes, gauge -> files
"""

from dataclasses import dataclass

import numpy as np

from api.sources.valley.gauge import Habit, Probe
from api.sources.valley.household import Home, Stay
from forecaster.fuel import GAS_OIL, KEROSENE


@dataclass(frozen=True, slots=True)
class Plan:
    """All that is fixed about one house before its weather and its people's chances are drawn."""

    key: str
    name: str
    blurb: str
    home: Home
    habit: Habit
    probe: Probe
    tank_toml: str
    survey_toml: str
    keeps_stove_log: bool = False


WEIR_COTTAGE = Plan(
    key="weir-cottage",
    name="Weir Cottage",
    blurb="Two people, a wood stove, solar panels on the hot water, and a tank so small that the "
    "smallest delivery hardly fits.",
    home=Home(
        fuel=KEROSENE,
        loss_w_per_k=165.0,
        mass_kwh_per_k=12.0,
        boiler_kw=15.0,
        efficiency=0.86,
        window_m2=3.0,
        window_azimuth=200.0,
        occupants=2.0,
        stove_evening_kg=6.0,
        stove_kw=5.0,
        stove_keen=0.75,
        thermal_m2=3.0,
        stays=(
            Stay("2023-07-08", "2023-07-21", "away"),
            Stay("2023-12-23", "2024-01-01", "guests"),
            Stay("2024-06-15", "2024-06-28", "away"),
            Stay("2024-12-22", "2024-12-28", "guests"),
        ),
    ),
    habit=Habit(start_l=330.0, order_at_l=150.0, drop_l=500.0),
    probe=Probe(),
    tank_toml="""\
# Weir Cottage, an invented house: a small steel tank beside the shed.
name = "Weir Cottage"
product = "kerosene"
shape = "rectangular"
length_mm = 1200
width_mm = 600
height_mm = 900
sensor_height_mm = 960
dead_band_mm = 80
resolution_mm = 10
safe_fill_fraction = 0.95
location = "outdoors"
timezone = "Europe/London"
""",
    survey_toml="""\
# What the people of Weir Cottage said, rounded as people do.
latitude = 54.5
longitude = -2.6
elevation_m = 130
timezone = "Europe/London"
heat_loss_w_per_k = 180
occupants = 2
boiler_efficiency = 0.85
boiler_kw = 15
hot_water = "oil"

[stove]
rated_kw = 5
evenings_per_week = 4
hours = 5

[solar]
window_m2 = 5
window_azimuth = 200
thermal_m2 = 3
""",
    keeps_stove_log=True,
)

OLD_FORGE = Plan(
    key="old-forge",
    name="The Old Forge",
    blurb="A plain house: four people, a boiler, a tank that takes a good delivery, a sensor that works.",
    home=Home(
        fuel=KEROSENE,
        loss_w_per_k=235.0,
        mass_kwh_per_k=14.0,
        boiler_kw=20.0,
        efficiency=0.84,
        window_m2=5.0,
        window_azimuth=160.0,
        occupants=4.0,
        appliances_w=300.0,
        stays=(
            Stay("2023-08-05", "2023-08-18", "away"),
            Stay("2024-02-10", "2024-02-16", "away", told=False),
            Stay("2024-08-03", "2024-08-16", "away"),
            Stay("2024-12-23", "2024-12-30", "guests"),
        ),
    ),
    habit=Habit(start_l=900.0, order_at_l=420.0, drop_l=None),
    probe=Probe(),
    tank_toml="""\
# The Old Forge, an invented house: a steel tank behind the house.
name = "The Old Forge"
product = "kerosene"
shape = "rectangular"
length_mm = 1600
width_mm = 950
height_mm = 1200
sensor_height_mm = 1270
resolution_mm = 10
safe_fill_fraction = 0.95
location = "outdoors"
timezone = "Europe/London"
""",
    survey_toml="""\
# What the people of The Old Forge said, rounded as people do.
latitude = 54.5
longitude = -2.6
elevation_m = 130
timezone = "Europe/London"
heat_loss_w_per_k = 260
occupants = 4
boiler_efficiency = 0.84
boiler_kw = 20
hot_water = "oil"

[solar]
window_m2 = 8
window_azimuth = 160
""",
)

UPPER_BYRE = Plan(
    key="upper-byre",
    name="Upper Byre",
    blurb="High up the valley; its sensor has sent one and the same number since the middle of December.",
    home=Home(
        fuel=KEROSENE,
        loss_w_per_k=215.0,
        mass_kwh_per_k=16.0,
        colder_c=0.8,
        boiler_kw=20.0,
        efficiency=0.83,
        window_m2=3.5,
        window_azimuth=190.0,
        occupants=3.0,
        stays=(Stay("2024-07-20", "2024-08-02", "away"),),
    ),
    habit=Habit(start_l=800.0, order_at_l=620.0, drop_l=800.0),
    probe=Probe(stuck_from=np.datetime64("2024-12-16T00:00")),
    tank_toml="""\
# Upper Byre, an invented house: an upright steel drum.
name = "Upper Byre"
product = "kerosene"
shape = "vertical_cylinder"
diameter_mm = 1150
height_mm = 1500
sensor_height_mm = 1560
resolution_mm = 10
safe_fill_fraction = 0.95
location = "outdoors"
timezone = "Europe/London"
""",
    survey_toml="""\
# What the people of Upper Byre said, rounded as people do.
latitude = 54.5
longitude = -2.6
elevation_m = 250
timezone = "Europe/London"
heat_loss_w_per_k = 200
occupants = 3
boiler_efficiency = 0.82
boiler_kw = 20
hot_water = "oil"
""",
)

LONG_BARN = Plan(
    key="long-barn",
    name="Long Barn",
    blurb="Five people warm all day from a lying cylinder of gas oil; the sensor takes every air for "
    "air of 20 °C and is blind near the top.",
    home=Home(
        fuel=GAS_OIL,
        loss_w_per_k=330.0,
        mass_kwh_per_k=22.0,
        all_day=True,
        day_c=19.0,
        night_c=16.0,
        boiler_kw=28.0,
        efficiency=0.84,
        window_m2=7.0,
        occupants=5.0,
        appliances_w=380.0,
        cylinder_l=210.0,
        stays=(Stay("2024-08-10", "2024-08-24", "away"),),
    ),
    habit=Habit(start_l=1250.0, order_at_l=750.0, drop_l=1500.0),
    probe=Probe(utc_hours=(6, 18), drift_mm_per_year=4.0, spike=0.004),
    tank_toml="""\
# Long Barn, an invented house: a lying cylinder with dished ends.
name = "Long Barn"
product = "gas_oil"
shape = "horizontal_cylinder"
diameter_mm = 1100
length_mm = 2000
ends = "elliptical"
sensor_height_mm = 1180
sensor_assumed_air_c = 20
dead_band_mm = 250
resolution_mm = 10
safe_fill_fraction = 0.95
location = "outdoors"
timezone = "Europe/London"
""",
    survey_toml="""\
# What the people of Long Barn said, rounded as people do.
latitude = 54.5
longitude = -2.6
elevation_m = 150
timezone = "Europe/London"
heat_loss_w_per_k = 350
occupants = 5
boiler_efficiency = 0.84
boiler_kw = 28
hot_water = "oil"

[solar]
window_m2 = 11
window_azimuth = 180
""",
)

PLANS = (WEIR_COTTAGE, OLD_FORGE, UPPER_BYRE, LONG_BARN)
