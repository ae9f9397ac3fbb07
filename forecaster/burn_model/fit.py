"""Fit the burn model: the prior set out on the grid, the filter run, the posterior kept.

Flow     steps, prior -> **fit** -> posterior
"""

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from forecaster.burn_model.steps import Additions, Drivers, Observations, Steps, cut_steps, sum_over_steps
from forecaster.burn_model.stuck import LEAST_STEPS, stuck_readings
from forecaster.dwelling import BurnPrior

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Grid:
    """Values of the four parameters that stand on the grid.

    Attributes
    ----------
    base_c
        Base temperature of the degree-days. [C]
    inertia_d
        Time constant of the smoothed outdoor temperature, 0 for none. [d]
    slow_sd
        Standard deviation of the slow relative departure. [-]
    noise
        Factor on the sensor's standard deviation. [-]
    """

    base_c: tuple[float, ...] = (12.0, 13.5, 15.0, 16.5, 18.0, 19.5, 21.0, 22.5)
    inertia_d: tuple[float, ...] = (0.0, 1.2, 3.0)
    slow_sd: tuple[float, ...] = (0.07, 0.2, 0.6)
    noise: tuple[float, ...] = (1.0, 1.7)


@dataclass(frozen=True, slots=True)
class Settings:
    """Numbers of the model that are not fitted to one tank.

    Attributes
    ----------
    rounding_k
        Softness of the degree-days' corner: the swing within a day. [K]
    slow_days
        Time in which the slow departure fades to 1/e. [d]
    day_noise
        Independent daily noise relative to the day's burn. [-]
    floor_sd_l
        Daily noise that remains without any burn. [L]
    drift
        Random walk of the intensities over 30 days, relative to their prior. [-]
    forgetting
        Daily discount on the log weights of the grid.
    gate, gate_cost, escape_after, escape_sd_l
        A reading further off than ``gate`` standard deviations is not used and costs ``gate_cost``
        nats; after ``escape_after`` in a row the level is let go by ``escape_sd_l``.
    patience
        A raw value that goes on repeating is no reading once the expected burn exceeds that many
        sensor steps; see `forecaster.burn_model.stuck`.
    """

    grid: Grid = field(default_factory=Grid)
    rounding_k: float = 1.2
    slow_days: float = 45.0
    day_noise: float = 0.25
    floor_sd_l: float = 0.1
    drift: float = 0.02
    forgetting: float = 0.999
    gate: float = 4.0
    gate_cost: float = 9.0
    escape_after: int = 4
    escape_sd_l: float = 316.0
    patience: float = 4.0


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is known at the as-of instant.

    Attributes
    ----------
    at
        The as-of instant, datetime64[s] UTC.
    base_c, inertia, slow_sd, noise
        The grid, one value a point, shape (grid,); ``inertia`` is exp(-1/tau), 0 for none.
    mean, cov, weight
        Of (V, base, slope, sun, stove, m) at each point: (grid, 6), (grid, 6, 6), (grid,).
    smooth_c
        Smoothed outdoor temperature at the end of the last full day, shape (grid,). [C]
    kappa, omega
        Degree-days per kWh/m2 of sun and per kWh of stove heat. [K d / (kWh/m2), K d / kWh]
    innovations, verdicts
        Of each observation at the heaviest grid point: standardised innovation (nan: not used as a
        number), and 1 used, 2 gated, 3 stuck, 4 at-least not binding, 5 at-least used; (reading,).
    observed_from
        Instant of the first observation, or None when there was none.
    """

    at: np.datetime64
    base_c: Floats
    inertia: Floats
    slow_sd: Floats
    noise: Floats
    mean: Floats
    cov: Floats
    weight: Floats
    smooth_c: Floats
    kappa: float
    omega: float
    innovations: Floats
    verdicts: npt.NDArray[np.int8]
    observed_from: np.datetime64 | None

    def moments(self) -> tuple[Floats, Floats]:
        """Mean (6,) and covariance (6, 6) of the state over the whole grid."""
        mean = self.weight @ self.mean
        off = self.mean - mean
        cov = np.einsum("g,gij->ij", self.weight, self.cov) + np.einsum("g,gi,gj->ij", self.weight, off, off)
        return mean, cov


def reference_slope_factor(
    bases_c: Floats, normal_temp_c: Floats, *, at_c: float, rounding_k: float
) -> Floats:
    """Factors on the slope that keep a year's degree-day litres the same at every base.

    A survey knows about the litres of a year, not about the base temperature: so the prior's slope
    at base b is the slope at ``at_c`` times D(at_c)/D(b), D being the year's degree-days.

    Parameters
    ----------
    bases_c : float array, shape (base,)
        Base temperatures. [C]
    normal_temp_c : float array, shape (day,)
        A normal year's daily temperatures. [C]
    at_c : float
        The base for which the prior's slope was meant. [C]

    Examples
    --------
    >>> year = 10 + 6 * np.sin(np.arange(365) * 2 * np.pi / 365)
    >>> reference_slope_factor(np.array([15.0, 18.0]), year, at_c=18.0, rounding_k=1.2).round(2)
    array([1.51, 1.  ])
    """
    every = np.append(bases_c, at_c)
    z = (every[:, None] - normal_temp_c[None, :]) / rounding_k
    year = (rounding_k * np.logaddexp(0.0, z)).sum(axis=1)
    factor: Floats = year[-1] / year[:-1]
    return factor


def fit_burn_model(
    drivers: Drivers,
    midnights: npt.NDArray[np.datetime64],
    observations: Observations,
    additions: Additions,
    prior: BurnPrior,
    *,
    as_of: np.datetime64,
    normal_temp_c: Floats,
    capacity_l: float,
    past_litres: "PastLitres | None" = None,
    settings: Settings | None = None,
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

    Notes
    -----
    With no observation at all the posterior's level is anywhere in the tank: the caller's gate
    withholds such a forecast.
    """
    from forecaster.burn_model import kernel

    s = settings or Settings()
    grid = _spread(s.grid)
    inertias = _inertia(np.asarray(s.grid.inertia_d))
    bases = np.asarray(s.grid.base_c)
    kappa, omega = _ratios(prior)
    x_days = kernel.regressor_days(
        drivers.temp_c, drivers.sun_kwh_m2, drivers.stove_kwh, drivers.stove_rate, drivers.base_factor,
        drivers.heat_factor, bases, inertias, s.rounding_k, kappa, omega,
    )  # fmt: skip
    start = observations.at[0] if len(observations.at) else midnights[0]
    start = np.datetime64(start, "s")
    steps = cut_steps(start, as_of, observations.at, additions)
    x = sum_over_steps(x_days, midnights, steps, start).reshape(-1, len(steps.days), 4)
    read = steps.reading
    seen = read >= 0

    def at_steps(values: npt.NDArray[np.generic], missing: float) -> Floats:
        out = np.full(len(read), missing)
        out[seen] = values[read[seen]]
        return out

    factor = reference_slope_factor(
        bases, normal_temp_c, at_c=prior.base_temperature_c, rounding_k=s.rounding_k
    )
    a0, p0, drift_sd = _prior_moments(prior, grid, factor[grid.base_index], capacity_l, s)
    logw0 = -0.5 * ((grid.base_c - prior.base_temperature_c) / prior.base_temperature_sd_c) ** 2
    if past_litres is not None:
        logw0 = logw0 + _condition_on_past(a0, p0, past_litres, grid, inertias, bases, kappa, omega, s)
    y = at_steps(observations.litres, np.nan)
    step_l = at_steps(observations.step_l, 1.0)
    phi = float(np.exp(-1.0 / s.slow_days))

    def run(points: slice, stuck: npt.NDArray[np.bool_], stuck_steps: float, watch: int = -1) -> _Run:
        watched = _Watched(np.full(len(y), np.nan), np.zeros(len(y), np.int8), np.zeros(len(y)))
        mean, cov, logw, _ = kernel.filter_grid(
            x, grid.row[points], steps.days, steps.added_l, steps.added_var, y,
            at_steps(observations.bulk_per_15c, 1.0), at_steps(observations.sd_l**2, 1.0),
            at_steps(observations.at_least, 0.0) > 0, stuck, step_l, a0[points], p0[points],
            (logw0 - logw0.max())[points], grid.slow_sd[points], grid.noise[points] ** 2, drift_sd[points],
            phi, s.day_noise, s.floor_sd_l, s.forgetting, s.gate, s.gate_cost, s.escape_after,
            s.escape_sd_l**2, stuck_steps, *watched, watch,
        )  # fmt: skip
        return _Run(mean, cov, logw, watched)

    # first pass, one point: what should have been burned between readings, to tell stuck from idle
    middle = _middle(s.grid)
    first = run(slice(middle, middle + 1), at_steps(observations.repeats, 0.0) > 0, LEAST_STEPS, watch=0)
    stuck = at_steps(_stuck(first.watched.expected, steps, observations, s), 0.0) > 0
    whole = run(slice(None), stuck, -np.inf)
    weight = np.exp(whole.logw - whole.logw.max())
    weight /= weight.sum()
    heaviest = int(weight.argmax())
    followed = run(slice(heaviest, heaviest + 1), stuck, -np.inf, watch=0).watched
    last_full_day = int(np.searchsorted(midnights, as_of, side="right")) - 1
    smooth = _smoothed(drivers.temp_c[:last_full_day], inertias) if last_full_day > 0 else drivers.temp_c[:1]
    return Posterior(
        at=as_of, base_c=grid.base_c, inertia=inertias[grid.inertia_index], slow_sd=grid.slow_sd,
        noise=grid.noise, mean=whole.mean, cov=whole.cov, weight=weight,
        smooth_c=np.broadcast_to(smooth, inertias.shape)[grid.inertia_index],
        kappa=kappa, omega=omega, innovations=followed.innovations[seen], verdicts=followed.verdicts[seen],
        observed_from=start if len(observations.at) else None,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class PastLitres:
    """Litres burned over whole past days, from receipts: drivers of those days, total, sd. [L at 15 C]"""

    drivers: Drivers
    litres: float
    sd_l: float


class _Watched(NamedTuple):
    """What the filter writes of one grid point, shape (step,)."""

    innovations: Floats
    verdicts: npt.NDArray[np.int8]
    expected: Floats


class _Run(NamedTuple):
    """One run of the filter over some grid points."""

    mean: Floats
    cov: Floats
    logw: Floats
    watched: _Watched


@dataclass(frozen=True, slots=True)
class _Points:
    """The grid spread out: one entry a point, shape (grid,)."""

    base_c: Floats
    slow_sd: Floats
    noise: Floats
    base_index: npt.NDArray[np.int64]
    inertia_index: npt.NDArray[np.int64]
    row: npt.NDArray[np.int64]


def _spread(grid: Grid) -> _Points:
    shape = (len(grid.base_c), len(grid.inertia_d), len(grid.slow_sd), len(grid.noise))
    j, k, m, n = (i.ravel() for i in np.indices(shape))
    return _Points(
        base_c=np.asarray(grid.base_c)[j], slow_sd=np.asarray(grid.slow_sd)[m],
        noise=np.asarray(grid.noise)[n], base_index=j, inertia_index=k, row=j * shape[1] + k,
    )  # fmt: skip


def _inertia(days: Floats) -> Floats:
    return np.exp(-1.0 / np.maximum(days, 1e-3))


def _ratios(prior: BurnPrior) -> tuple[float, float]:
    slope = prior.slope_l_per_kday
    if slope <= 0:
        return 0.0, 0.0
    return prior.solar_l_per_kwh_m2 / slope, prior.stove_l_per_kwh / slope


def _prior_moments(
    prior: BurnPrior, grid: _Points, slope_factor: Floats, capacity_l: float, s: Settings
) -> tuple[Floats, Floats, Floats]:
    points = len(grid.row)
    theta = np.array(
        [prior.base_l_per_day, prior.slope_l_per_kday, prior.solar_l_per_kwh_m2, prior.stove_l_per_kwh]
    )
    rel = np.array([prior.base_rel_sd, prior.slope_rel_sd, prior.solar_rel_sd, prior.stove_rel_sd])
    scale = np.ones((points, 4))
    scale[:, 1:] = slope_factor[:, None]
    a0 = np.zeros((points, 6))
    a0[:, 0] = capacity_l / 2
    a0[:, 1:5] = theta * scale
    p0 = np.zeros((points, 6, 6))
    p0[:, 0, 0] = capacity_l**2
    for q in range(4):
        p0[:, 1 + q, 1 + q] = (a0[:, 1 + q] * rel[q]) ** 2
    p0[:, 5, 5] = grid.slow_sd**2
    return a0, p0, np.ascontiguousarray(s.drift * a0[:, 1:5])


def _condition_on_past(
    a0: Floats, p0: Floats, past: PastLitres, grid: _Points, inertias: Floats, bases: Floats,
    kappa: float, omega: float, s: Settings,
) -> Floats:  # fmt: skip
    """Use the litres of past days as one linear measurement; changes a0 and p0, returns log weights."""
    from forecaster.burn_model import kernel

    d = past.drivers
    x = kernel.regressor_days(
        d.temp_c, d.sun_kwh_m2, d.stove_kwh, d.stove_rate, d.base_factor, d.heat_factor,
        bases, inertias, s.rounding_k, kappa, omega,
    ).sum(axis=2).reshape(-1, 4)[grid.row]  # fmt: skip
    theta, cov = a0[:, 1:5], p0[:, 1:5, 1:5]
    v = past.litres - np.einsum("gq,gq->g", x, theta)
    cx = np.einsum("gqr,gr->gq", cov, x)
    # the slow departure of those days is not that of today: it widens the sum
    slow = (grid.slow_sd * past.litres * np.sqrt(2 * s.slow_days / max(len(d.date), 2 * s.slow_days))) ** 2
    f = np.einsum("gq,gq->g", cx, x) + past.sd_l**2 + slow
    a0[:, 1:5] = theta + cx * (v / f)[:, None]
    p0[:, 1:5, 1:5] = cov - np.einsum("gq,gr->gqr", cx, cx) / f[:, None, None]
    return np.asarray(-0.5 * (np.log(f) + v * v / f))


def _middle(grid: Grid) -> int:
    """Index of the grid's middle point."""
    shape = (len(grid.base_c), len(grid.inertia_d), len(grid.slow_sd), len(grid.noise))
    return int(np.ravel_multi_index(tuple((n - 1) // 2 for n in shape), shape))


def _stuck(
    expected_l: Floats, steps: Steps, observations: Observations, s: Settings
) -> npt.NDArray[np.bool_]:
    """Sum the steps between readings and look for stuck runs; shape (reading,)."""
    upto = np.flatnonzero(steps.reading >= 0)
    if len(upto) == 0:
        return np.zeros(0, bool)
    burned = np.diff(np.cumsum(expected_l)[upto], prepend=0.0)
    added = np.diff(np.cumsum(steps.added_l)[upto], prepend=0.0)
    return stuck_readings(
        burned, added, observations.litres, observations.step_l,
        observations.repeats & ~observations.at_least, patience=s.patience,
    )  # fmt: skip


def _smoothed(temp_c: Floats, inertias: Floats) -> Floats:
    """Exponential mean of daily temperatures at the end of the last day, for each inertia. [C]."""
    out = np.full(len(inertias), temp_c[0])
    for value in temp_c[-120:]:  # older days no longer matter at time constants of days
        out = inertias * out + (1.0 - inertias) * value
    return out
