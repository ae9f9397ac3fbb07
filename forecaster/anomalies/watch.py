"""The watch: whether more oil leaves the tank than weather and habits explain, or less.

From what was known a day, a week, eight weeks ago the level of today is foretold with the weather that came,
and compared with the median of the last few levels. A loss at one stroke shows in the short windows, a slow
one in the long ones, before the burn model has learnt it as a habit.

Flow     levels, tickets, drivers, posterior -> one filter that remembers -> **scores by window** -> losses, habits
Formula  score = (foretold − median seen) / sd(foretold, seen) / scale of the window; an alarm when the largest
         passes the threshold on 2 of the last 3 days with a level
Source   Page, Biometrika 41 (1954) 100-115; Basseville & Nikiforov, Detection of Abrupt Changes, 1993 (both
         from memory); scales and thresholds: measured on simulated tanks, see tests/accuracy/watch.json
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from forecaster.burn_model import (
    Additions,
    Drivers,
    Observations,
    Posterior,
    Settings,
    reference_slope_factor,
)
from forecaster.burn_model.steps import DAY_S, Steps, cut_steps, sum_over_steps
from forecaster.dwelling import BurnPrior

Floats = npt.NDArray[np.float64]
Instants = npt.NDArray[np.datetime64]

STUCK = 3
"""Verdict of the burn model on a level that repeats what can no longer be true."""
DAWN_H = 6
"""Of several levels of a day the one nearest to that hour counts: no oil moves and the air is still. [h]"""
LATELY_D = 60
"""How steady a home is, is judged by what was before so many last days. [d]"""
LAST_DAYS, LEAST_DAYS = 3, 2
"""An alarm shows on two of the last three days with a level."""


@dataclass(frozen=True, slots=True)
class WatchSettings:
    """Numbers of the watch.

    Attributes
    ----------
    windows_d
        How long before the last few levels they are foretold. [d]
    medians
        Of how many levels the median is taken, for each window.
    scale
        What the scores of sound homes come to, for each window: a score is divided by it.
    loss, less
        Thresholds of the largest scaled score, for more and for less than foretold.
    slow_sds, slow_share
        Relative departures over weeks that homes may have, weighed by what this one did until some weeks ago;
        and that part of it is taken. A home of steady ways is watched more closely. [-]
    slow_days, day_noise, drift
        As in `forecaster.burn_model.Settings`, of the watch itself: it was tuned with these.
    unfamiliar, odd
        Doubt of what heating takes in other weather than that of the weeks before, as a part; and how it grows
        with the slow departure: a boiler switched on for the winter is no leak. [-]
    delivery_sd
        Doubt of what a delivery did to the level, beside its ticket's: the tank's shape on file, relative. [-]
    patience_d
        So long an alarm is pending; a use that lasts longer is the home's habit by then. [d]
    """

    windows_d: tuple[float, ...] = (1.0, 2.0, 4.0, 7.0, 14.0, 28.0, 56.0)
    medians: tuple[int, ...] = (3, 3, 3, 3, 5, 5, 5)
    scale: tuple[float, ...] = (0.8, 0.8, 0.95, 1.0, 1.1, 1.2, 1.4)
    loss: float = 3.4
    less: float = 3.4
    slow_sds: tuple[float, ...] = (0.1, 0.2, 0.4)
    slow_share: float = 0.9
    slow_days: float = 45.0
    day_noise: float = 0.25
    drift: float = 0.02
    unfamiliar: float = 0.2
    odd: float = 1.0
    delivery_sd: float = 0.04
    patience_d: float = 28.0


@dataclass(frozen=True, slots=True, eq=False)
class Watch:
    """Scores of each day with a level; arrays of shape (day,) or (day, window).

    Attributes
    ----------
    at
        When the level was seen, datetime64[s] UTC.
    score
        Scaled; above zero where less oil is there than foretold, nan where the history is too short. [-]
    missing_l, burn_l
        Foretold minus seen; and the burn foretold over the window. [L]
    since
        From when it was foretold, datetime64[s] UTC; NaT where it was not.
    """

    at: Instants
    score: Floats
    missing_l: Floats
    burn_l: Floats
    since: Instants


def watch_level(
    observations: Observations,
    additions: Additions,
    drivers: Drivers,
    midnights: Instants,
    posterior: Posterior,
    prior: BurnPrior,
    *,
    settings: Settings | None = None,
    watch: WatchSettings | None = None,
    last: int = 70,
) -> Watch:
    """Foretell the last levels from what was known some time before them.

    Parameters
    ----------
    observations, additions, drivers, midnights, posterior, prior
        As the burn model had them, and what it made of them; its heaviest grid point is watched.
    settings, watch
        Of the burn model, and of the watch.
    last : int
        Scores of so many last days with a level.

    Returns
    -------
    Watch
        Of no day, where fewer than two levels are left.
    """
    from forecaster.anomalies import watch_kernel

    s, w = settings or Settings(), watch or WatchSettings()
    kept = _one_a_day(observations, posterior, midnights)
    if len(kept) < 2:
        none, of = np.empty((0, len(w.windows_d))), observations.at[:0]
        return Watch(of, none, none, none, np.empty(none.shape, "datetime64[s]"))
    at = observations.at[kept]
    doubted = replace(additions, sd_l=np.hypot(additions.sd_l, w.delivery_sd * np.abs(additions.litres_15c)))
    steps = cut_steps(at[0], posterior.at, at, doubted)
    heaviest = int(posterior.weight.argmax())
    x = _regressors(drivers, midnights, steps, posterior, heaviest, at[0], s)
    seen = steps.reading >= 0

    def at_steps(values: Floats, missing: float) -> Floats:
        out = np.full(len(seen), missing)
        out[seen] = values[kept[steps.reading[seen]]]
        return out

    y = at_steps(observations.litres, np.nan)
    z = at_steps(observations.bulk_per_15c, 1.0)
    step_l = at_steps(np.maximum(observations.step_l, 1e-3), 1.0)
    h = at_steps(observations.sd_l**2, 1.0) * posterior.noise[heaviest] ** 2
    phi = float(np.exp(-1.0 / w.slow_days))

    def remember(slow_sd: float) -> tuple[Floats, Floats, Floats]:
        a0, p0, drift_sd = _start(
            drivers, posterior, heaviest, prior, observations.litres[kept[0]], s, w, slow_sd
        )
        known: tuple[Floats, Floats, Floats] = watch_kernel.remember(
            x, steps.days, steps.added_l, steps.added_var, y, z, h, step_l, a0, p0, slow_sd, drift_sd, phi,
            w.day_noise, s.floor_sd_l, s.gate, s.escape_after, s.escape_sd_l**2,
        )  # fmt: skip
        return known

    # how steady the home is, by all but the newest weeks: a loss in these must not pass for its ways
    old = int(np.searchsorted(steps.end, posterior.at - np.timedelta64(LATELY_D, "D")))
    loglik = np.array([remember(sd)[2][old - 1] if old > 0 else 0.0 for sd in w.slow_sds])
    likely = np.exp(loglik - loglik.max())
    slow_sd = w.slow_share * float(np.sqrt(likely @ np.square(w.slow_sds) / likely.sum()))
    a_at, p_at, _ = remember(slow_sd)
    readings = np.flatnonzero(seen)
    end_d = (steps.end - at[0]) / np.timedelta64(1, "s") / DAY_S
    first = max(len(readings) - last, 0)
    score, missing, burn, since = watch_kernel.look_back(
        x, steps.days, steps.added_l, steps.added_var, y, z, h, step_l, end_d,
        a_at, p_at, slow_sd, phi, w.day_noise, s.floor_sd_l, readings, first, np.asarray(w.windows_d),
        np.asarray(w.medians), w.unfamiliar, w.odd,
    )  # fmt: skip
    begun = np.where(since >= 0, steps.end[since], np.datetime64("NaT"))
    return Watch(at[first:], score / np.asarray(w.scale), missing, burn, begun)


def _one_a_day(observations: Observations, posterior: Posterior, midnights: Instants) -> npt.NDArray[np.intp]:
    """Positions of one level a day, the one nearest to dawn; no lower bounds, none that is stuck."""
    usable = np.flatnonzero(~observations.at_least & (posterior.verdicts != STUCK))
    at = observations.at[usable]
    day = np.searchsorted(midnights, at, side="right")
    away = np.abs((at - midnights[np.maximum(day - 1, 0)]) / np.timedelta64(1, "h") - DAWN_H)
    order = np.lexsort((away, day))
    first = np.r_[True, np.diff(day[order]) != 0] if len(order) else np.zeros(0, bool)
    return np.asarray(usable[np.sort(order[first])])


def _regressors(
    drivers: Drivers, midnights: Instants, steps: Steps, posterior: Posterior, point: int,
    start: np.datetime64, s: Settings,
) -> Floats:  # fmt: skip
    from forecaster.burn_model import kernel

    days = kernel.regressor_days(
        drivers.temp_c, drivers.sun_kwh_m2, drivers.stove_kwh, drivers.stove_rate, drivers.base_factor,
        drivers.heat_factor, posterior.base_c[point : point + 1], posterior.inertia[point : point + 1],
        s.rounding_k, posterior.kappa, posterior.omega,
    )  # fmt: skip
    return np.ascontiguousarray(sum_over_steps(days[0, 0], midnights, steps, start))


def _start(
    drivers: Drivers, posterior: Posterior, point: int, prior: BurnPrior, level_l: float,
    s: Settings, w: WatchSettings, slow_sd: float,
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """What is known before the first level: the survey."""
    base = posterior.base_c[point : point + 1]
    factor = reference_slope_factor(
        base, drivers.temp_c, at_c=prior.base_temperature_c, rounding_k=s.rounding_k
    )[0]
    theta = np.array(
        [prior.base_l_per_day, prior.slope_l_per_kday, prior.solar_l_per_kwh_m2, prior.stove_l_per_kwh]
    )
    theta[1:] *= factor
    rel = np.array([prior.base_rel_sd, prior.slope_rel_sd, prior.solar_rel_sd, prior.stove_rel_sd])
    a0 = np.concatenate([[level_l], theta, [0.0]])
    p0 = np.diag(np.concatenate([[level_l**2 + 1e4], (theta * rel) ** 2, [slow_sd**2]]))
    return a0, p0, w.drift * theta


@dataclass(frozen=True, slots=True)
class Departure:
    """A use that weather and habits do not explain, and that still goes on.

    Attributes
    ----------
    since, until
        From when the level was foretold, and when it was last seen so far off; datetime64[s] UTC.
    window_d
        Length of the window in which it shows most. [d]
    missing_l, sd_l
        Foretold minus seen, and its standard deviation; negative where less was used. [L]
    burn_l
        The burn foretold over that time. [L]
    pending
        False once it has lasted so long that it counts as the home's habit.
    """

    since: np.datetime64
    until: np.datetime64
    window_d: float
    missing_l: float
    sd_l: float
    burn_l: float
    pending: bool


def find_departure(scores: Watch, *, sign: int, watch: WatchSettings | None = None) -> Departure | None:
    """Find a use above (``sign`` 1) or below (-1) what was foretold, on two of the last three days.

    Examples
    --------
    >>> at = np.datetime64("2024-01-01T06:00:00") + np.arange(3) * np.timedelta64(86400, "s")
    >>> score = np.array([[1.0], [5.0], [6.0]])
    >>> watch = WatchSettings(windows_d=(7.0,), medians=(5,), scale=(1.0,), loss=4.0)
    >>> scores = Watch(at, score, 5.0 * score, 70.0 + 0.0 * score, at[:, None] - np.timedelta64(7, "D"))
    >>> found = find_departure(scores, sign=1, watch=watch)
    >>> str(found.since), found.missing_l, found.sd_l, found.pending
    ('2023-12-27T06:00:00', 30.0, 5.0, True)
    """
    w = watch or WatchSettings()
    above = passes(scores, sign=sign, watch=w)
    if not len(above) or int(above[-LAST_DAYS:].sum()) < LEAST_DAYS:
        return None
    row = int(np.flatnonzero(above)[-1])
    best = int(np.nanargmax(sign * scores.score[row]))
    quiet = np.flatnonzero(~alarms(above)[: row + 1])
    begun = scores.at[quiet[-1] + 1] if len(quiet) else scores.at[0]
    lasted_d = float((scores.at[-1] - begun) / np.timedelta64(1, "s")) / DAY_S
    missing = float(scores.missing_l[row, best])
    return Departure(
        since=scores.since[row, best], until=scores.at[row], window_d=w.windows_d[best], missing_l=missing,
        sd_l=missing / float(scores.score[row, best] * w.scale[best]),
        burn_l=float(scores.burn_l[row, best]), pending=lasted_d <= w.patience_d,
    )  # fmt: skip


def passes(scores: Watch, *, sign: int, watch: WatchSettings) -> npt.NDArray[np.bool_]:
    """On which days the largest score passes the threshold; shape (day,)."""
    known = np.where(np.isfinite(scores.score), sign * scores.score, -np.inf)
    largest = known.max(axis=1, initial=-np.inf)
    return np.asarray(largest > (watch.loss if sign > 0 else watch.less))


def alarms(above: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """On which days two of the last three passed; shape (day,).

    Examples
    --------
    >>> alarms(np.array([True, False, True, False, False])).astype(int)
    array([0, 0, 1, 0, 0])
    """
    total = np.concatenate([[0], np.cumsum(above)])
    after = np.arange(1, len(total))
    return np.asarray(total[after] - total[np.maximum(after - LAST_DAYS, 0)] >= LEAST_DAYS)
