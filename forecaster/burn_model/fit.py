"""Fit the burn model: the prior set out on the grid, the filter run, the posterior kept.

Flow     steps, prior -> **fit** -> posterior
"""

import numpy as np
import numpy.typing as npt

from forecaster.burn_model.changes import Changes
from forecaster.burn_model.degrees import Degrees, degrees_of
from forecaster.burn_model.known import Known
from forecaster.burn_model.posterior import Posterior
from forecaster.burn_model.prior import PastLitres, first_known
from forecaster.burn_model.running import advance
from forecaster.burn_model.settings import Settings
from forecaster.burn_model.steps import Additions, Drivers, Observations
from forecaster.dwelling import BurnPrior

Floats = npt.NDArray[np.float64]
Seconds = npt.NDArray[np.datetime64]


def fit_burn_model(
    drivers: Drivers,
    midnights: Seconds,
    observations: Observations,
    additions: Additions,
    prior: BurnPrior,
    *,
    as_of: np.datetime64,
    normal_temp_c: Floats,
    capacity_l: float,
    past_litres: PastLitres | None = None,
    settings: Settings | None = None,
    degrees: Degrees | None = None,
    changes: Changes | None = None,
) -> Posterior:
    """Run the filter over everything known at the as-of instant.

    Parameters
    ----------
    drivers : Drivers
        Daily drivers, shape (day,), from before the first observation to the day of as-of.
    midnights : datetime64[s] array, shape (day + 1,)
        Instants at which the civil days of ``drivers`` begin, and the end of the last.
    observations : Observations
        Levels within the drivers' days and not after as-of.
    additions : Additions
        Deliveries and oil taken out.
    prior : BurnPrior
        From the survey.
    as_of : datetime64[s]
        The posterior holds at this instant.
    normal_temp_c : float array, shape (day,)
        A normal year's daily temperatures, for the prior's slope at each base. [C]
    capacity_l : float
        Of the tank: the level is first taken to be anywhere in it. [L]
    past_litres : PastLitres, optional
        Litres known to have been burned over past days, as receipts tell.
    settings : Settings, optional
    degrees : Degrees, optional
        Degree-days of the place over the drivers' days, where many tanks share them.
    changes : Changes, optional
        Days on which the house changed for good: from then on what was learnt counts less.

    Notes
    -----
    With no observation at all the posterior's level is anywhere in the tank: the caller's gate
    withholds such a forecast.
    """
    posterior, _ = fit_and_keep(
        drivers, midnights, observations, additions, prior, as_of=as_of, normal_temp_c=normal_temp_c,
        capacity_l=capacity_l, past_litres=past_litres, settings=settings, degrees=degrees,
        changes=changes,
    )  # fmt: skip
    return posterior


def fit_and_keep(
    drivers: Drivers,
    midnights: Seconds,
    observations: Observations,
    additions: Additions,
    prior: BurnPrior,
    *,
    as_of: np.datetime64,
    normal_temp_c: Floats,
    capacity_l: float,
    past_litres: PastLitres | None = None,
    settings: Settings | None = None,
    degrees: Degrees | None = None,
    changes: Changes | None = None,
    settled: np.datetime64 | None = None,
) -> tuple[Posterior, Known]:
    """Run the filter as `fit_burn_model` does, and keep what is known at a reading to go on from.

    ``settled``: nothing up to here is expected to change; see `running.advance`, which also says what comes back.
    """
    s = settings or Settings()
    start = np.datetime64(observations.at[0] if len(observations.at) else midnights[0], "s")
    known = first_known(
        prior, start=start, first_temp_c=float(drivers.temp_c[0]), normal_temp_c=normal_temp_c,
        capacity_l=capacity_l, past_litres=past_litres, settings=s,
    )  # fmt: skip
    degrees = degrees or degrees_of(drivers.temp_c, grid=s.grid, rounding_k=s.rounding_k)
    return advance(
        known, drivers, midnights, observations, additions, as_of=as_of, settings=s, degrees=degrees,
        changes=changes or Changes.none(), settled=settled,
    )  # fmt: skip
