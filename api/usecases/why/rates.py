"""What the survey said of the house, and what the readings made of it, each with its interval.

Flow     prior, fit -> **rates before and after** -> explanation
Rule     a rate is measured where the readings left less than 0.7 of the spread that it had before: the
         same rule as the account's
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from forecaster.burn_model import Posterior
    from forecaster.dwelling import BurnPrior

Name = Literal["steady_l_per_day", "cold_l_per_kday", "wood_l_per_kwh"]
MEASURED_BELOW = 0.7
"""A rate is measured where the readings left less than that of the spread it had before. [-]"""
Z80 = 1.2816
"""Half the width of the interval that holds a normal eight times in ten. [standard deviations]"""


@dataclass(frozen=True, slots=True)
class Rate:
    """One rate of a house: from the survey and as it stands now, each with its 8-in-10 interval.

    Attributes
    ----------
    name
        Litres at 15 C a day that do not follow the weather; litres for each degree-day; litres that each
        kilowatt-hour of wood heat spares.
    survey, now
        Middle, lower and upper end.
    measured
        Whether the readings told it. False: what stands in ``now`` is the survey's still.
    """

    name: Name
    survey: tuple[float, float, float]
    now: tuple[float, float, float]
    measured: bool


def compare_rates(prior: "BurnPrior", posterior: "Posterior") -> tuple[Rate, ...]:
    """Set the fit's rates beside the survey's; the stove's only where there is one."""
    mean, cov = posterior.moments()
    sd = np.sqrt(np.diag(cov))
    found = [
        _rate("steady_l_per_day", prior.base_l_per_day, prior.base_rel_sd, mean[1], sd[1]),
        _rate("cold_l_per_kday", prior.slope_l_per_kday, prior.slope_rel_sd, mean[2], sd[2]),
    ]
    if prior.stove_l_per_kwh > 0.0:
        found.append(_rate("wood_l_per_kwh", prior.stove_l_per_kwh, prior.stove_rel_sd, mean[4], sd[4]))
    return tuple(found)


def _rate(name: Name, before: float, rel_sd: float, mean: float, sd: float) -> Rate:
    before_sd = rel_sd * before
    is_measured = bool(sd < MEASURED_BELOW * before_sd)
    return Rate(name, _interval(before, before_sd), _interval(float(mean), float(sd)), is_measured)


def _interval(middle: float, sd: float) -> tuple[float, float, float]:
    """The 8-in-10 interval of a rate that is not below nothing."""
    return max(middle, 0.0), max(middle - Z80 * sd, 0.0), max(middle + Z80 * sd, 0.0)
