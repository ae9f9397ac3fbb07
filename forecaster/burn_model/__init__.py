"""The burn-rate model: how many litres a day, from levels, weather and a survey.

The level itself is filtered, not its daily differences: one step of a 1 cm sensor is more than a
day's burn, so a difference carries two sensor errors a day, while a level weeks later carries the
same error once. Given a base temperature, a thermal inertia, a size of the slow departure and a
sensor noise, the model is linear and Gaussian; these four stand on a grid whose points are weighed
by their likelihood with forgetting.

State    V' = V - x'theta - mu m + delivered + noise(day_noise mu)
         theta' = theta + drift,   m' = phi m + noise     (mu = the burn expected from theta)
Level    y = (bulk litres per litre at 15 C) V + sensor noise
x        1: base load;  2: degree-days, softplus of (base - smoothed temperature);
         3: minus degree-days met by sun;  4: minus degree-days met by the stove
Flow     levels, deliveries, drivers, survey prior -> **posterior** -> forecast
Source   state space and notation: Durbin & Koopman 2012; weights with forgetting (dynamic model
         averaging): Raftery, Karny & Ettler, Technometrics 52 (2010) 52-66; base temperature as a
         fitted parameter: Fels, Energy and Buildings 9 (1986) 5-18; settings: measured by replays
"""

from forecaster.burn_model.changes import Changes, declared
from forecaster.burn_model.degrees import Degrees, degrees_of
from forecaster.burn_model.drivers import House, house_drivers
from forecaster.burn_model.fit import fit_burn_model
from forecaster.burn_model.lanes import Grid
from forecaster.burn_model.posterior import Posterior
from forecaster.burn_model.prior import PastLitres, reference_slope_factor
from forecaster.burn_model.settings import Settings
from forecaster.burn_model.steps import Additions, Drivers, Observations
from forecaster.burn_model.stored import Stored, from_bytes, to_bytes
from forecaster.burn_model.updating import Updated, go_on, must_replay, update_burn_model

__all__ = [
    "Additions",
    "Changes",
    "Degrees",
    "Drivers",
    "Grid",
    "House",
    "Observations",
    "PastLitres",
    "Posterior",
    "Settings",
    "Stored",
    "Updated",
    "declared",
    "degrees_of",
    "fit_burn_model",
    "from_bytes",
    "go_on",
    "house_drivers",
    "must_replay",
    "reference_slope_factor",
    "to_bytes",
    "update_burn_model",
]
