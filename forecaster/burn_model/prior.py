"""The survey as the filter's first state, at every point of the grid.

Flow     survey prior, receipts -> **state before the first level** -> filter
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from forecaster.burn_model.known import Known
from forecaster.burn_model.lanes import STATES, UPPER, Points, spread_out, unpack
from forecaster.burn_model.settings import Settings
from forecaster.burn_model.steps import Drivers
from forecaster.dwelling import BurnPrior

Floats = npt.NDArray[np.float64]

_OWN = np.flatnonzero(UPPER[0] == UPPER[1])
"""Where a packed covariance holds the variances."""


@dataclass(frozen=True, slots=True)
class PastLitres:
    """Litres burned over whole past days, from receipts: drivers of those days, total, sd. [L at 15 C]"""

    drivers: Drivers
    litres: float
    sd_l: float


def reference_slope_factor(
    bases_c: Floats, normal_temp_c: Floats, *, at_c: float, rounding_k: float, seasons_c: Floats | None = None
) -> Floats:
    """Factors on the slope that keep a year's degree-day litres the same at every base and season.

    A survey knows about the litres of a year, neither about the base temperature nor about when the heating is
    switched off: so the prior's slope at base b and season c is the slope at ``at_c`` times D(at_c)/D(b, c), D
    being the year's degree-days for which heat is wanted.

    Parameters
    ----------
    bases_c : float array, shape (base,)
        Base temperatures. [C]
    normal_temp_c : float array, shape (day,)
        A normal year's daily temperatures. [C]
    at_c : float
        The base for which the prior's slope was meant, the heating never off. [C]
    seasons_c : float array, shape (base,), optional
        Mean of mild days at which the heating is switched off; without it, never. [C]

    Examples
    --------
    >>> year = 10 + 6 * np.sin(np.arange(365) * 2 * np.pi / 365)
    >>> reference_slope_factor(np.array([15.0, 18.0]), year, at_c=18.0, rounding_k=1.2).round(2)
    array([1.51, 1.  ])
    """
    from forecaster.burn_model import weather_rows

    every = np.append(bases_c, at_c)
    z = (every[:, None] - normal_temp_c[None, :]) / rounding_k
    wanted = rounding_k * np.logaddexp(0.0, z)
    if seasons_c is not None:
        mild = weather_rows.mild_days(normal_temp_c, float(normal_temp_c[0]))
        wanted[:-1] *= 1.0 / (1.0 + np.exp((mild - seasons_c[:, None]) / weather_rows.MILD_WIDTH_K))
    year = wanted.sum(axis=1)
    factor: Floats = year[-1] / year[:-1]
    return factor


def spared_ratios(prior: BurnPrior) -> tuple[float, float]:
    """Degree-days per kWh/m2 of sun and per kWh of stove heat, from the prior's litres for each."""
    slope = prior.slope_l_per_kday
    if slope <= 0:
        return 0.0, 0.0
    return prior.solar_l_per_kwh_m2 / slope, prior.stove_l_per_kwh / slope


def first_known(
    prior: BurnPrior, *, start: np.datetime64, first_temp_c: float, normal_temp_c: Floats, capacity_l: float,
    past_litres: PastLitres | None, settings: Settings,
) -> Known:  # fmt: skip
    """Set the prior out on the grid, taking in past litres where there are any."""
    points, grid = spread_out(settings.grid), settings.grid
    bases_c = np.repeat(np.asarray(grid.base_c, float), len(grid.season_c))
    seasons_c = np.tile(np.asarray(grid.season_c, float), len(grid.base_c))
    factor = _slope_factor(
        bases_c.tobytes(), seasons_c.tobytes(), normal_temp_c.tobytes(), prior.base_temperature_c,
        settings.rounding_k,
    )  # fmt: skip
    theta = np.array(
        [prior.base_l_per_day, prior.slope_l_per_kday, prior.solar_l_per_kwh_m2, prior.stove_l_per_kwh]
    )
    relative_sd = np.array([prior.base_rel_sd, prior.slope_rel_sd, prior.solar_rel_sd, prior.stove_rel_sd])
    intensity = np.empty((len(bases_c), 4))
    intensity[:, 0] = theta[0]
    intensity[:, 1:] = theta[1:] * factor[:, None]
    numbers = np.zeros((len(points.base_c), STATES + len(UPPER[0]) + 2))
    mean, packed, log_weight = numbers[:, :STATES], numbers[:, STATES:-2], numbers[:, -2]
    mean[:, 0] = capacity_l / 2
    mean[:, 1:5] = intensity[points.prior_index]
    packed[:, _OWN[0]] = capacity_l**2
    packed[:, _OWN[1:5]] = ((intensity * relative_sd) ** 2)[points.prior_index]
    packed[:, _OWN[5]] = points.slow_sd**2
    log_weight[:] = -0.5 * ((points.base_c - prior.base_temperature_c) / prior.base_temperature_sd_c) ** 2
    if past_litres is not None:
        cov = unpack(packed)
        log_weight += _condition_on_past(mean, cov, past_litres, points, prior, settings)
        packed[:] = cov[:, UPPER[0], UPPER[1]]
    log_weight -= log_weight.max()
    kappa, omega = spared_ratios(prior)
    return Known(
        at=start, numbers=numbers, first_pass=None, run_burn_l=0.0,
        smooth_c=np.full(len(grid.inertia_d), first_temp_c), mild_c=first_temp_c, intensity=intensity,
        kappa=kappa, omega=omega, observed_from=None,
    )  # fmt: skip


@lru_cache(maxsize=256)
def _slope_factor(
    bases_c: bytes, seasons_c: bytes, normal_temp_c: bytes, at_c: float, rounding_k: float
) -> Floats:
    """Factors on the slope; tanks of one place mostly share them."""
    return reference_slope_factor(
        np.frombuffer(bases_c),
        np.frombuffer(normal_temp_c),
        at_c=at_c,
        rounding_k=rounding_k,
        seasons_c=np.frombuffer(seasons_c),
    )


def _condition_on_past(
    a0: Floats, p0: Floats, past: PastLitres, points: Points, prior: BurnPrior, s: Settings
) -> Floats:  # fmt: skip
    """Use the litres of past days as one linear measurement; changes a0 and p0, returns log weights."""
    from forecaster.burn_model import weather_rows

    d = past.drivers
    kappa, omega = spared_ratios(prior)
    degree_days, _ = weather_rows.degree_day_rows(
        d.temp_c, np.full_like(points.pair_base_c, d.temp_c[0]), weather_rows.mild_days(d.temp_c, d.temp_c[0]),
        points.pair_base_c, points.pair_inertia, points.pair_season_c, s.rounding_k,
    )  # fmt: skip
    per_day = weather_rows.house_rows(
        degree_days, d.sun_kwh_m2, d.stove_kwh, d.stove_rate, d.base_factor, d.heat_factor, kappa, omega
    )
    x = per_day.sum(axis=1)[points.row, :, points.lane]
    theta, cov = a0[:, 1:5], p0[:, 1:5, 1:5]
    v = past.litres - np.einsum("gq,gq->g", x, theta)
    cx = np.einsum("gqr,gr->gq", cov, x)
    # the slow departure of those days is not that of today: it widens the sum
    slow = (points.slow_sd * past.litres * np.sqrt(2 * s.slow_days / max(len(d.date), 2 * s.slow_days))) ** 2
    f = np.einsum("gq,gq->g", cx, x) + past.sd_l**2 + slow
    a0[:, 1:5] = theta + cx * (v / f)[:, None]
    p0[:, 1:5, 1:5] = cov - np.einsum("gq,gr->gqr", cx, cx) / f[:, None, None]
    return np.asarray(-0.5 * (np.log(f) + v * v / f))
