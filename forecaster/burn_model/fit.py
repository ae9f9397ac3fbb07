"""Fit the burn model: the prior set out on the grid, the filter run, the posterior kept.

Flow     steps, prior -> **fit** -> posterior
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from forecaster.burn_model.known import Known
from forecaster.burn_model.lanes import STATES, Grid, Points, spread_out, to_lanes, unpack
from forecaster.burn_model.posterior import Posterior
from forecaster.burn_model.prior import PastLitres, first_known
from forecaster.burn_model.settings import Settings
from forecaster.burn_model.steps import Additions, Drivers, Observations, Steps, cut_steps, place_in_days
from forecaster.burn_model.stuck import LEAST_STEPS, stuck_readings
from forecaster.dwelling import BurnPrior

Floats = npt.NDArray[np.float64]
Seconds = npt.NDArray[np.datetime64]


@dataclass(frozen=True, slots=True, eq=False)
class Degrees:
    """Degree-days of one place for every pair of the grid: the same for each tank there.

    ``degree_days`` and ``smoothed_c`` (at each day's end) have shape (row, day, pair). [K d, C]
    """

    degree_days: Floats
    smoothed_c: Floats


def degrees_of(temp_c: Floats, *, grid: Grid, rounding_k: float) -> Degrees:
    """Work out the degree-days of a place once, for all tanks there.

    Parameters
    ----------
    temp_c : float array, shape (day,)
        Of the drivers' days. [C]
    grid : Grid
    rounding_k : float
        See `Settings`. [K]
    """
    points = spread_out(grid)
    return _degrees(temp_c, np.full(len(grid.inertia_d), temp_c[0]), points, rounding_k)


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

    Notes
    -----
    With no observation at all the posterior's level is anywhere in the tank: the caller's gate
    withholds such a forecast.
    """
    s = settings or Settings()
    start = np.datetime64(observations.at[0] if len(observations.at) else midnights[0], "s")
    known = first_known(
        prior, start=start, first_temp_c=float(drivers.temp_c[0]), normal_temp_c=normal_temp_c,
        capacity_l=capacity_l, past_litres=past_litres, settings=s,
    )  # fmt: skip
    degrees = degrees or degrees_of(drivers.temp_c, grid=s.grid, rounding_k=s.rounding_k)
    return advance(
        known, drivers, midnights, observations, additions, as_of=as_of, settings=s, degrees=degrees
    )


def advance(
    known: Known,
    drivers: Drivers,
    midnights: Seconds,
    observations: Observations,
    additions: Additions,
    *,
    as_of: np.datetime64,
    settings: Settings,
    degrees: Degrees,
) -> Posterior:
    """Run the filter on from what is known to the as-of instant.

    ``known`` holds at its instant, on or before the first observation; ``degrees`` and ``drivers`` begin on a
    day not after it, ``degrees`` going on from the smoothed temperature before that day. The others are those
    of `fit_burn_model`.
    """
    from forecaster.burn_model import filtering as f

    s, points = settings, spread_out(settings.grid)
    steps = cut_steps(known.at, as_of, observations.at, additions)
    x = _regressors(known, drivers, midnights, steps, degrees)
    table = f.lay_steps(
        steps.days, steps.added_l, steps.added_var, steps.reading, observations.litres, observations.sd_l,
        observations.bulk_per_15c, observations.at_least, observations.learnt(), _opened(steps, s),
        s.slow_days, s.day_noise, s.floor_sd_l, s.forgetting,
    )  # fmt: skip
    rules = (s.gate, s.gate_cost, s.escape_after, s.escape_sd_l**2)
    seen = steps.reading >= 0
    at = steps.reading[seen]
    numbers = _numbers(known, points)

    # first pass, one point: what should have been burned between readings, to tell stuck from idle
    middle = points.middle
    alone = table.copy()
    alone[seen, f.REPEAT] = np.where(observations.repeats[at], LEAST_STEPS * observations.step_l[at], 0.0)
    first = _Followed(
        *f.run_alone(
            known.alone_numbers(numbers[middle]), _x_of(x, points, middle), alone, *rules, known.run_burn_l
        )
    )
    stuck = _stuck(first.expected, steps, observations, s)
    table[seen, f.KIND] = np.where(stuck, f.NOTHING, table[seen, f.KIND])

    lanes = to_lanes(numbers, points)
    f.run_grid(lanes, x, table, *rules)
    whole = lanes.ravel()[points.place]
    weight = np.exp(whole[:, f.LOGW] - whole[:, f.LOGW].max())
    weight /= weight.sum()
    heaviest = int(weight.argmax())
    followed = _Followed(*f.run_alone(numbers[heaviest], _x_of(x, points, heaviest), table, *rules, 0.0))
    verdicts = np.where(stuck, np.int8(f.STUCK), followed.verdicts[seen])
    return Posterior(
        at=as_of, base_c=points.base_c, inertia=points.inertia, slow_sd=points.slow_sd, noise=points.noise,
        mean=whole[:, :STATES], cov=unpack(whole[:, f.COV : f.LOGW]), weight=weight,
        smooth_c=_smoothed(known, degrees, midnights, as_of, points), kappa=known.kappa, omega=known.omega,
        innovations=followed.innovations[seen], verdicts=verdicts, observed_from=_observed_from(known, observations),
    )  # fmt: skip


class _Followed(NamedTuple):
    """One point followed through the steps; see `filtering.run_alone`."""

    point: Floats
    run_burn_l: float
    innovations: Floats
    verdicts: npt.NDArray[np.int8]
    expected: Floats


def _degrees(temp_c: Floats, smooth_c: Floats, points: Points, rounding_k: float) -> Degrees:
    from forecaster.burn_model import weather_rows

    before = smooth_c[points.pair_inertia_index]
    return Degrees(
        *weather_rows.degree_day_rows(temp_c, before, points.pair_base_c, points.pair_inertia, rounding_k)
    )


def _regressors(known: Known, drivers: Drivers, midnights: Seconds, steps: Steps, degrees: Degrees) -> Floats:
    """Regressors summed over the steps: shape (row, step, 4, pair)."""
    from forecaster.burn_model import weather_rows

    per_day = weather_rows.house_rows(
        degrees.degree_days, drivers.sun_kwh_m2, drivers.stove_kwh, drivers.stove_rate, drivers.base_factor,
        drivers.heat_factor, known.kappa, known.omega,
    )  # fmt: skip
    return np.asarray(weather_rows.over_steps(per_day, place_in_days(steps, known.at, midnights)))


def _x_of(x: Floats, points: Points, point: int) -> Floats:
    """Regressors of one point, shape (step, 4)."""
    return np.ascontiguousarray(x[points.row[point], :, :, points.lane[point]])


def _opened(steps: Steps, s: Settings) -> Floats:
    """What each intensity's variance grows by in each step, relative to the square of its prior."""
    return np.repeat(s.drift**2 / 30.0 * steps.days[:, None], 4, axis=1)


def _numbers(known: Known, points: Points) -> Floats:
    """All numbers of each point as the filter takes them, shape (grid, ROWS)."""
    from forecaster.burn_model import filtering as f

    numbers = np.empty((len(points.base_c), f.ROWS))
    numbers[:, : f.KEPT_ROWS] = known.numbers
    numbers[:, f.NOISE] = points.noise**2
    numbers[:, f.SLOW] = points.slow_sd**2
    numbers[:, f.SCALE :] = known.intensity[points.base_index] ** 2
    return numbers


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


def _smoothed(
    known: Known, degrees: Degrees, midnights: Seconds, as_of: np.datetime64, points: Points
) -> Floats:
    """Smoothed outdoor temperature of each point at the end of the last full day."""
    full = int(np.searchsorted(midnights, as_of, side="right")) - 1
    if full <= 0:
        return np.asarray(known.smooth_c[points.inertia_index])
    return np.asarray(degrees.smoothed_c[points.row, full - 1, points.lane])


def _observed_from(known: Known, observations: Observations) -> np.datetime64 | None:
    """Instant of the first observation of all."""
    if known.observed_from is not None:
        return known.observed_from
    return np.datetime64(observations.at[0], "s") if len(observations.at) else None
