"""The dwelling: what people know about their house, as a first guess at how it burns oil.

Flow     survey.toml -> `parsing` -> `survey` -> `heat_loss`, `hot_water`, `gains` -> `prior` -> burn model
"""

from forecaster.dwelling.gains import (
    gains_utilisation_factor,
    thermal_time_constant_h,
    window_aperture_m2,
    window_gain_w,
)
from forecaster.dwelling.glazing import glass_by_side
from forecaster.dwelling.heat_loss import heat_loss_w_per_k, ventilation_loss_w_per_k
from forecaster.dwelling.hot_water import (
    baths_per_day,
    hot_water_demand_kwh,
    hot_water_kwh_per_day,
    litres_of_hot_water_per_day,
    occupants_from_floor_area,
    other_uses_litres_per_day,
    water_heating_efficiency,
)
from forecaster.dwelling.parsing import parse_survey, read_survey
from forecaster.dwelling.prior import BurnPrior, burn_prior
from forecaster.dwelling.survey import BOILERS, Boiler, Solar, Stove, Survey, Window, heating_by_month

__all__ = [
    "BOILERS",
    "Boiler",
    "BurnPrior",
    "Solar",
    "Stove",
    "Survey",
    "Window",
    "baths_per_day",
    "burn_prior",
    "gains_utilisation_factor",
    "glass_by_side",
    "heat_loss_w_per_k",
    "heating_by_month",
    "hot_water_demand_kwh",
    "hot_water_kwh_per_day",
    "litres_of_hot_water_per_day",
    "occupants_from_floor_area",
    "other_uses_litres_per_day",
    "parse_survey",
    "read_survey",
    "thermal_time_constant_h",
    "ventilation_loss_w_per_k",
    "water_heating_efficiency",
    "window_aperture_m2",
    "window_gain_w",
]
