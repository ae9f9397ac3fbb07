"""What the burn model was fitted to, set out for drawing the past: steps, levels, priors of the points.

Flow     drivers, observations, additions, posterior -> **system** -> draws
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.account.history import STATES, System
from forecaster.burn_model import (
    Additions,
    Changes,
    Drivers,
    Observations,
    PastLitres,
    Posterior,
    Settings,
)
from forecaster.burn_model.changes import opened
from forecaster.burn_model.known import Known
from forecaster.burn_model.lanes import spread_out, unpack
from forecaster.burn_model.prior import first_known
from forecaster.burn_model.steps import Steps, cut_steps, sum_over_steps
from forecaster.dwelling import BurnPrior
from forecaster.units import Floats

Instants = npt.NDArray[np.datetime64]

MASS, MOST_POINTS = 0.995, 24
"""Points of the grid that hold so much of the weight are looked at, and no more than so many."""
CELL_H = 6
"""Of the levels within so many hours the last one is used: the account is of days and months. [h]"""
USED, GATED, AT_LEAST = 1, 2, 5
"""What became of a level in the filter: used, too far off, a lower bound that was used."""


@dataclass(frozen=True, slots=True, eq=False)
class Given:
    """What the burn model was given, and what it made of it.

    Attributes
    ----------
    drivers, midnights
        Of the days behind, shape (day,), and the instants at which they begin, (day + 1,).
    observations, additions, past_litres, prior
        As for the burn model.
    posterior, settings
        Of the fit.
    changes
        Days on which the house changed for good.
    normal_temp_c
        A normal year's daily temperatures. [C]
    capacity_l
        Of the tank. [l]
    """

    drivers: Drivers
    midnights: Instants
    observations: Observations
    additions: Additions
    past_litres: PastLitres | None
    prior: BurnPrior
    posterior: Posterior
    settings: Settings
    changes: Changes
    normal_temp_c: Floats
    capacity_l: float


@dataclass(frozen=True, slots=True, eq=False)
class Prior:
    """The intensities before any level, at every point of the grid: (grid, 4), (grid, 4, 4), (grid,)."""

    mean: Floats
    cov: Floats
    weight: Floats


def heavy_points(weight: Floats) -> npt.NDArray[np.intp]:
    """Choose the points of the grid that hold nearly all of the weight.

    Examples
    --------
    >>> heavy_points(np.array([0.6, 0.001, 0.395, 0.004]))
    array([0, 2])
    """
    order = np.argsort(-weight, kind="stable")
    needed = int(np.searchsorted(np.cumsum(weight[order]), MASS * weight.sum())) + 1
    return np.sort(order[: min(needed, MOST_POINTS)])


def allot(weight: Floats, draws: int) -> npt.NDArray[np.intp]:
    """Give each point as many draws as its weight deserves; shape (draw,).

    Examples
    --------
    >>> allot(np.array([0.75, 0.25]), 4)
    array([0, 0, 0, 1])
    """
    edges = np.cumsum(weight) / weight.sum()
    return np.minimum(np.searchsorted(edges, (np.arange(draws) + 0.5) / draws), len(weight) - 1)


def make_steps(given: Given, marks: Instants) -> tuple[Steps, npt.NDArray[np.int64]]:
    """Cut the past into steps that end at levels and at marks; the level (or -1) that ends each step."""
    kept = _kept(given)
    levels_at = given.observations.at[kept]
    start, as_of = given.observations.at[0], given.posterior.at
    marks = marks[(marks > start) & (marks < as_of)]
    at = np.unique(np.concatenate([levels_at, marks]).astype("datetime64[s]"))
    steps = cut_steps(start, as_of, at, given.additions)
    level_at = np.full(len(at) + 1, -1)  # the last entry is what a step without a reading finds
    level_at[np.searchsorted(at, levels_at)] = kept
    return steps, level_at[steps.reading]


def make_system(
    given: Given, steps: Steps, level: npt.NDArray[np.int64], *, points: npt.NDArray[np.intp], x: Floats
) -> System:
    """Set the burn model out over the steps at some points of its grid.

    Parameters
    ----------
    given : Given
    steps : Steps
    level : int array, shape (step,)
        Observation that ends each step, or -1.
    points : int array, shape (point,)
        Positions in the posterior's grid.
    x : float array, shape (grid, step, 4)
        Regressors of every point of the grid.
    """
    s, o, post = given.settings, given.observations, given.posterior
    seen = level >= 0
    at = np.where(seen, level, 0)
    known = _known_before(given)
    mean, cov, _ = _state_before(known)
    own = np.flatnonzero(given.additions.litres_15c != 0.0)
    start = o.at[0]
    # of additions without litres only the noise counts: days whose weather is assumed
    by_weather = _variance(given.additions, np.flatnonzero(given.additions.litres_15c == 0.0), steps, start)
    put_in = _variance(given.additions, own, steps, start) + _escapes(given, level)
    noise = post.noise[points, None] ** 2
    return System(
        x=x[points], days=steps.days, added_l=steps.added_l, added_var=put_in, burn_var=by_weather,
        opened=opened(steps, start, given.changes, drift=s.drift),
        y=np.where(seen, o.litres[at], np.nan), z=o.bulk_per_15c[at],
        at_least=seen & o.at_least[at], h=noise * o.sd_l[at] ** 2, a0=mean[points], p0=cov[points],
        slow_sd=post.slow_sd[points], scale=known.intensity[spread_out(s.grid).prior_index[points]],
        slow_phi=float(np.exp(-1.0 / s.slow_days)), day_noise=s.day_noise, floor_sd_l=s.floor_sd_l,
    )  # fmt: skip


def regressors(given: Given, drivers: Drivers) -> Floats:
    """Daily regressors at every point of the grid, shape (grid, day, 4)."""
    from forecaster.burn_model import kernel

    post = given.posterior
    bases, base_at = np.unique(post.base_c, return_inverse=True)
    inertias, inertia_at = np.unique(post.inertia, return_inverse=True)
    seasons, season_at = np.unique(post.season_c, return_inverse=True)
    by_triple = kernel.regressor_days(
        drivers.temp_c, drivers.sun_kwh_m2, drivers.stove_kwh, drivers.stove_rate, drivers.base_factor,
        drivers.heat_factor, bases, inertias, seasons, given.settings.rounding_k, post.kappa, post.omega,
    )  # fmt: skip
    return np.asarray(by_triple[base_at, inertia_at, season_at])


def over_steps(per_day: Floats, given: Given, steps: Steps) -> Floats:
    """Sum daily values, shape (..., day, column), over the steps."""
    return sum_over_steps(per_day, given.midnights, steps, given.observations.at[0])


def intensities_before(given: Given) -> Prior:
    """The intensities as survey and receipts have them, before any level."""
    mean, cov, log_weight = _state_before(_known_before(given))
    weight = np.exp(log_weight - log_weight.max())
    return Prior(mean[:, 1:5], cov[:, 1:5, 1:5], weight / weight.sum())


def _known_before(given: Given) -> Known:
    """What the fit began from."""
    return first_known(
        given.prior, start=given.observations.at[0], first_temp_c=float(given.drivers.temp_c[0]),
        normal_temp_c=given.normal_temp_c, capacity_l=given.capacity_l, past_litres=given.past_litres,
        settings=given.settings,
    )  # fmt: skip


def _state_before(known: Known) -> tuple[Floats, Floats, Floats]:
    """Mean (grid, 6), covariance (grid, 6, 6) and log weight (grid,) of the state."""
    numbers = known.numbers
    return numbers[:, :STATES], unpack(numbers[:, STATES:-2]), numbers[:, -2]


def _gated_runs(given: Given) -> list[npt.NDArray[np.intp]]:
    """Runs of levels that were too far off until the filter let the level go: with hindsight, a jump."""
    verdicts = given.posterior.verdicts
    decided = np.flatnonzero((verdicts == USED) | (verdicts == GATED))
    gated = verdicts[decided] == GATED
    edges = np.flatnonzero(np.diff(np.concatenate([[0], gated.astype(int), [0]])))
    runs = [decided[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return [run for run in runs if len(run) >= given.settings.escape_after]


def _kept(given: Given) -> npt.NDArray[np.intp]:
    """Levels that the account uses: those that the filter did, and those after a jump."""
    verdicts = given.posterior.verdicts
    use = (verdicts == USED) | (verdicts == AT_LEAST)
    for run in _gated_runs(given):
        use[run] = True
    kept = np.flatnonzero(use)
    cell = given.observations.at[kept].astype("datetime64[h]").astype(np.int64) // CELL_H
    last = np.ones(len(kept), bool)
    last[:-1] = cell[1:] != cell[:-1]
    return kept[last]


def _escapes(given: Given, level: npt.NDArray[np.int64]) -> Floats:
    """Variance that lets the level go where it jumped without a ticket, shape (step,)."""
    out = np.zeros(len(level))
    for run in _gated_runs(given):
        reached = np.flatnonzero(level >= run[0])
        if len(reached):
            out[reached[0]] = given.settings.escape_sd_l**2
    return out


def _variance(
    additions: Additions, which: npt.NDArray[np.intp], steps: Steps, start: np.datetime64
) -> Floats:
    """Variance of some additions in each step, as the steps themselves are cut."""
    out = np.zeros(len(steps.days))
    at = additions.at[which]
    inside = (at >= start) & (at <= steps.end[-1])
    where = np.minimum(np.searchsorted(steps.end, at[inside], side="left"), len(out) - 1)
    np.add.at(out, where, additions.sd_l[which][inside] ** 2)
    return out
