"""Run the filter on from what is known to an instant, over what came in between.

Where the run began leaves no trace: from a kept state or from the survey the filter takes the same steps over
the same days. So a state can be kept at a reading and gone on from. It is kept only at a reading whose raw
value was not the one before: every run of repeats behind such a reading has ended and is judged.

Flow     what is known, drivers, levels, tickets -> steps -> first pass: stuck readings -> whole grid
         -> **posterior at as-of, and what is known at a settled reading**
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from forecaster.burn_model.changes import Changes, opened
from forecaster.burn_model.degrees import Degrees
from forecaster.burn_model.known import Known
from forecaster.burn_model.lanes import STATES, Points, spread_out, to_lanes, unpack
from forecaster.burn_model.posterior import Posterior
from forecaster.burn_model.settings import Settings
from forecaster.burn_model.steps import Additions, Drivers, Observations, Steps, cut_steps, place_in_days
from forecaster.burn_model.stuck import LEAST_STEPS, stuck_readings

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Seconds = npt.NDArray[np.datetime64]


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
    changes: Changes,
    settled: np.datetime64 | None = None,
) -> tuple[Posterior, Known]:
    """Run the filter on from what is known to the as-of instant.

    Parameters
    ----------
    known : Known
        Holds at its instant: before the first reading, or just after one.
    drivers, midnights
        Days from that of ``known.at`` on, or from an earlier one where no reading was taken yet.
    observations : Observations
        Readings after ``known.at``; the first of all may stand at it.
    additions : Additions
        What was added at ``known.at`` or before it is in ``known`` already, once a reading was taken.
    as_of : datetime64[s]
    settings : Settings
    degrees : Degrees
        Of the drivers' days, going on from the smoothed temperature before the first of them.
    changes : Changes
        Days on which the house changed for good.
    settled : datetime64[s], optional
        Nothing up to here is expected to change any more.

    Returns
    -------
    posterior : Posterior
        At as-of; innovations and verdicts of the readings given.
    kept : Known
        At the last reading up to ``settled`` that repeats no value; the same as ``known`` where there is none.
    """
    from forecaster.burn_model import filtering as f

    s, points = settings, spread_out(settings.grid)
    steps = cut_steps(known.at, as_of, observations.at, _still_to_come(additions, known))
    x = _regressors(known, drivers, midnights, steps, degrees)
    table = f.lay_steps(
        steps.days, steps.added_l, steps.added_var, steps.reading, observations.litres, observations.sd_l,
        observations.bulk_per_15c, observations.at_least, observations.learnt(),
        opened(steps, known.at, changes, drift=s.drift),
        s.slow_days, s.day_noise, s.floor_sd_l, s.forgetting,
    )  # fmt: skip
    rules = (s.gate, s.gate_cost, s.escape_after, s.escape_sd_l**2)
    seen = np.flatnonzero(steps.reading >= 0)
    numbers = _numbers(known, points)
    last = _last_settled(observations, settled)
    cut = int(np.flatnonzero(steps.reading == last)[0]) + 1 if last is not None else 0

    # first pass, one point: what should have been burned between readings, to tell stuck from idle
    alone = table.copy()
    alone[seen, f.REPEAT] = np.where(observations.repeats, LEAST_STEPS * observations.step_l, 0.0)
    x_middle = _x_of(x, points, points.middle)
    point, run_burn_l, expected = known.alone_numbers(numbers[points.middle]), known.run_burn_l, []
    kept_point = point
    for part in (slice(None, cut), slice(cut, None)):
        kept_point = point
        ran = _Followed(*f.run_alone(point, x_middle[part], alone[part], *rules, run_burn_l))
        point, run_burn_l = ran.point, ran.run_burn_l
        expected.append(ran.expected)
    stuck = _stuck(np.concatenate(expected), steps, observations, known, s)
    table[seen[stuck], f.KIND] = f.NOTHING

    lanes = to_lanes(numbers, points)
    kept = known
    if last is not None:
        f.run_grid(lanes, _part(x, slice(None, cut)), table[:cut], *rules)
        kept = _known_at(
            last, known, observations, midnights, degrees, points, kept_point[: f.KEPT_ROWS],
            lanes.ravel()[points.place][:, : f.KEPT_ROWS],
        )  # fmt: skip
    f.run_grid(lanes, _part(x, slice(cut, None)), table[cut:], *rules)
    whole = lanes.ravel()[points.place]
    weight = np.exp(whole[:, f.LOGW] - whole[:, f.LOGW].max())
    weight /= weight.sum()
    heaviest = int(weight.argmax())
    followed = _Followed(*f.run_alone(numbers[heaviest], _x_of(x, points, heaviest), table, *rules, 0.0))
    posterior = Posterior(
        at=as_of, base_c=points.base_c, inertia=points.inertia, season_c=points.season_c,
        slow_sd=points.slow_sd, noise=points.noise,
        mean=whole[:, :STATES], cov=unpack(whole[:, f.COV : f.LOGW]), weight=weight,
        smooth_c=_smoothed(known, degrees, midnights, as_of, points)[points.inertia_index],
        mild_c=_mild(known, degrees, midnights, as_of),
        kappa=known.kappa, omega=known.omega, innovations=followed.innovations[seen],
        verdicts=np.where(stuck, np.int8(f.STUCK), followed.verdicts[seen]),
        observed_from=_observed_from(known, observations),
    )  # fmt: skip
    return posterior, kept


class _Followed(NamedTuple):
    """One point followed through the steps; see `filtering.run_alone`."""

    point: Floats
    run_burn_l: float
    innovations: Floats
    verdicts: npt.NDArray[np.int8]
    expected: Floats


def _still_to_come(additions: Additions, known: Known) -> Additions:
    """Additions that are not in what is known."""
    if not known.begun:
        return additions
    later = additions.at > known.at
    return Additions(additions.at[later], additions.litres_15c[later], additions.sd_l[later])


def _last_settled(observations: Observations, settled: np.datetime64 | None) -> int | None:
    """The last reading up to an instant that repeats no value."""
    if settled is None:
        return None
    fit = np.flatnonzero(~observations.repeats & (observations.at <= settled))
    return int(fit[-1]) if len(fit) else None


def _known_at(
    reading: int, known: Known, observations: Observations, midnights: Seconds, degrees: Degrees, points: Points,
    first_pass: Floats, numbers: Floats,
) -> Known:  # fmt: skip
    """What is known just after a reading."""
    at = np.datetime64(observations.at[reading], "s")
    return Known(
        at=at, numbers=numbers, first_pass=first_pass, run_burn_l=0.0,
        smooth_c=_smoothed(known, degrees, midnights, at, points), mild_c=_mild(known, degrees, midnights, at),
        intensity=known.intensity,
        kappa=known.kappa, omega=known.omega, observed_from=_observed_from(known, observations),
        last_l=float(observations.litres[reading]), last_step_l=float(observations.step_l[reading]),
    )  # fmt: skip


def _regressors(known: Known, drivers: Drivers, midnights: Seconds, steps: Steps, degrees: Degrees) -> Floats:
    """Regressors summed over the steps: shape (row, step, 4, pair)."""
    from forecaster.burn_model import laying

    return np.asarray(
        laying.step_rows(
            degrees.degree_days, drivers.sun_kwh_m2, drivers.stove_kwh, drivers.stove_rate, drivers.base_factor,
            drivers.heat_factor, known.kappa, known.omega, place_in_days(steps, known.at, midnights),
        )
    )  # fmt: skip


def _x_of(x: Floats, points: Points, point: int) -> Floats:
    """Regressors of one point, shape (step, 4)."""
    return np.ascontiguousarray(x[points.row[point], :, :, points.lane[point]])


def _part(x: Floats, steps: slice) -> Floats:
    """Rows of some steps, side by side in memory as the filter wants them."""
    return np.ascontiguousarray(x[:, steps])


def _numbers(known: Known, points: Points) -> Floats:
    """All numbers of each point as the filter takes them, shape (grid, ROWS)."""
    from forecaster.burn_model import filtering as f

    numbers = np.empty((len(points.base_c), f.ROWS))
    numbers[:, : f.KEPT_ROWS] = known.numbers
    numbers[:, f.NOISE] = points.noise**2
    numbers[:, f.SLOW] = points.slow_sd**2
    numbers[:, f.SCALE :] = known.intensity[points.prior_index] ** 2
    return numbers


def _stuck(
    expected_l: Floats, steps: Steps, observations: Observations, known: Known, s: Settings
) -> Bools:  # fmt: skip
    """Sum the steps between readings and look for stuck runs; shape (reading,)."""
    from forecaster.burn_model import laying

    o = observations
    if len(o.at) == 0:
        return np.zeros(0, bool)
    # a run may have begun with the reading at which the state was kept
    return stuck_readings(
        laying.between_readings(expected_l, steps.reading), laying.between_readings(steps.added_l, steps.reading),
        np.append(known.last_l, o.litres), np.append(known.last_step_l, o.step_l),
        np.append(False, o.repeats & ~o.at_least), patience=s.patience,
    )[1:]  # fmt: skip


def _smoothed(
    known: Known, degrees: Degrees, midnights: Seconds, at: np.datetime64, points: Points
) -> Floats:
    """Smoothed outdoor temperature at the end of the last full day before an instant, shape (inertia,)."""
    full = int(np.searchsorted(midnights, at, side="right")) - 1
    if full <= 0:
        return known.smooth_c
    smooth_c = np.empty_like(known.smooth_c)
    smooth_c[points.inertia_index] = degrees.smoothed_c[points.row, full - 1, points.lane]
    return smooth_c


def _mild(known: Known, degrees: Degrees, midnights: Seconds, at: np.datetime64) -> float:
    """Mean outdoor temperature of the last days, at the end of the last full day before an instant."""
    full = int(np.searchsorted(midnights, at, side="right")) - 1
    return float(degrees.mild_c[full - 1]) if full > 0 else known.mild_c


def _observed_from(known: Known, observations: Observations) -> np.datetime64 | None:
    """Instant of the first observation of all."""
    if known.observed_from is not None:
        return known.observed_from
    return np.datetime64(observations.at[0], "s") if len(observations.at) else None
