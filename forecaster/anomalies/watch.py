"""The watch: whether more oil leaves the tank than weather and habits explain, or less.

One filter follows the level from day to day. Beside it stands, for every day of the last weeks, the loss that may
have begun on it: a leak that goes on, or oil gone at one stroke. Each would move the filter's errors since then in
its own way, however much the filter has meanwhile learnt of it as a habit; the score says how well the errors agree.

Flow     levels, tickets, drivers, posterior -> terms of the burn -> one filter -> **scores by kind** -> losses, habits
Formula  score = Σ v g / F / √(Σ g² / F) / q, see `forecaster.anomalies.watch_kernel`; an alarm when it passes its
         threshold on 2 of the last 3 days with a level, of a loss at one stroke on 1: two levels bear it out
Source   Page, Biometrika 41 (1954) 100-115; Willsky & Jones, IEEE Transactions on Automatic Control 21 (1976)
         108-112; Basseville & Nikiforov, Detection of Abrupt Changes, 1993 (all from memory); settings and
         thresholds: chosen on simulated tanks, see tests/accuracy/watch.json
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from forecaster.anomalies.watch_rows import Terms, burn_terms, variance_gained
from forecaster.burn_model import Additions, Changes, Drivers, Observations, Posterior, Settings
from forecaster.burn_model.steps import DAY_S, cut_steps, sum_over_steps
from forecaster.dwelling import BurnPrior

Floats = npt.NDArray[np.float64]
Instants = npt.NDArray[np.datetime64]

DAWN_H = 6
"""Of several levels of a day the one nearest to that hour counts: no oil moves and the air is still. [h]"""
LAST_DAYS = 3
"""An alarm shows on some of so many last days with a level."""
KINDS = ("leak", "stroke", "less")
"""Columns of the scores: oil that leaks from some day on, oil gone at one stroke, less used than foretold."""
LESS = KINDS.index("less")
LEAST_DAYS = (2, 1, 2)
"""On how many of them, by kind: a stroke's score is of two levels as it is."""


@dataclass(frozen=True, slots=True)
class WatchSettings:
    """Numbers of the watch.

    Attributes
    ----------
    thresholds
        Of the scores, by kind as in `KINDS`.
    leak_d, stroke_d
        How long ago a leak, or a change of use, and a loss at one stroke may have begun. [d]
    slow_sd, slow_days, day_noise
        Relative departures over weeks, how long they last, and from day to day; as in
        `forecaster.burn_model.Settings`, but of the watch itself: it was tuned with these.
    least_burn_l
        Such departures are relative to the burn and this, added as squares: homes differ in summer too. [L/d]
    drift
        Random walk of the burn's terms over 30 days, relative. [-]
    unfamiliar
        Doubt of what heating takes in other weather than that of the weeks before, as a part. [-]
    delivery_sd
        Doubt of what a delivery did to the level, beside its ticket's: the tank's shape on file, relative. [-]
    gate
        A level further off, in standard deviations, counts only if the next one bears it out.
    run_steps
        A value that goes on repeating is no level once more than so many sensor steps were burned. [-]
    learnt_d
        A home watched for less foretells nothing. [d]
    patience_d
        So long an alarm is pending; a use that lasts longer is the home's habit by then. [d]
    """

    thresholds: tuple[float, float, float] = (3.8, 3.5, 4.2)
    leak_d: float = 60.0
    stroke_d: float = 3.0
    slow_sd: float = 0.1
    slow_days: float = 10.0
    day_noise: float = 0.2
    least_burn_l: float = 4.0
    drift: float = 0.01
    unfamiliar: float = 0.2
    delivery_sd: float = 0.04
    gate: float = 6.0
    run_steps: float = 1.8
    learnt_d: float = 14.0
    patience_d: float = 28.0


@dataclass(frozen=True, slots=True, eq=False)
class Watch:
    """Scores of each day with a level; arrays of shape (day,), or (day, kind) in the order of `KINDS`.

    Attributes
    ----------
    at
        When the level was seen, datetime64[s] UTC.
    score
        Above zero where oil is missing (of "less": where less than foretold has gone), of unit variance for a
        home of ordinary ways; nan where the history is too short. [-]
    missing_l, burn_l
        Litres that are missing by the best guess, negative for "less"; and the burn foretold since it began. [L]
    since
        When it began by the best guess, datetime64[s] UTC; NaT where there is none.
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
    terms: Terms | None = None,
    changes: Changes | None = None,
) -> Watch:
    """Score what may have left the tank by the last levels.

    Parameters
    ----------
    observations, additions, drivers, midnights, posterior, prior
        As the burn model had them, and what it made of them; its heaviest grid point is watched.
    settings, watch
        Of the burn model, and of the watch.
    last : int
        Scores of so many last days with a level.
    terms : Terms, optional
        What the burn consists of, where it is not to be learnt from the burn model's drivers.
    changes : Changes, optional
        Changes for good that the household declared: what they explain is no loss.

    Returns
    -------
    Watch
        Of no day, where fewer than two levels are left.
    """
    from forecaster.anomalies import watch_kernel as k

    s, w = settings or Settings(), watch or WatchSettings()
    kept = _one_a_day(observations, midnights)
    if len(kept) < 2:
        none, of = np.empty((0, len(KINDS))), observations.at[:0]
        return Watch(of, none, none, none, np.empty(none.shape, "datetime64[s]"))
    at = observations.at[kept]
    doubted = replace(additions, sd_l=np.hypot(additions.sd_l, w.delivery_sd * np.abs(additions.litres_15c)))
    steps = cut_steps(at[0], posterior.at, at, doubted)
    terms = terms or burn_terms(drivers, posterior, prior, settings=s, drift=w.drift)
    x = np.ascontiguousarray(sum_over_steps(terms.per_day, midnights, steps, at[0]))
    seen = steps.reading >= 0
    end_d = (steps.end - at[0]) / np.timedelta64(1, "s") / DAY_S
    first = max(int(seen.sum()) - last, 0)
    level_l = float(observations.litres[kept[0]])
    levels = k.Levels(*_at_steps(observations, kept, steps.reading, posterior), np.zeros(len(seen), bool))

    def scored(levels: k.Levels) -> tuple[Floats, Floats, Floats, npt.NDArray[np.int64], Floats]:
        found: tuple[Floats, Floats, Floats, npt.NDArray[np.int64], Floats] = k.score_losses(
            x, steps.days, end_d, k.Added(steps.added_l, steps.added_var), levels,
            k.unlike_usual(x[:, 1], steps.days), np.concatenate([[level_l], terms.mean, [0.0]]),
            np.diag(np.concatenate([[level_l**2 + 1e4], terms.sd**2, [w.slow_sd**2]])),
            variance_gained(terms, steps, midnights, at[0], changes=changes or Changes.none()),
            k.Rates(
                w.slow_sd, w.slow_days, w.day_noise, s.floor_sd_l, w.least_burn_l, w.gate, w.run_steps, w.unfamiliar,
                w.leak_d, w.stroke_d, w.learnt_d,
            ),
            float(end_d[seen][first]) - max(w.leak_d, w.stroke_d) - 1.0,
        )  # fmt: skip
        return found

    score, missing, burn, since, used = scored(levels)
    stuck = k.stuck_runs(levels, used, w.run_steps)
    if stuck.any():
        score, missing, burn, since, _ = scored(levels._replace(stuck=stuck))
    told = np.flatnonzero(seen)[first:]
    begun = np.where(since[told] >= 0, _begin_of(steps.end, at[0])[since[told]], np.datetime64("NaT"))
    return Watch(at[first:], score[told], missing[told], burn[told], begun)


def _begin_of(end: Instants, start: np.datetime64) -> Instants:
    """When each step begins."""
    return np.concatenate([np.array([start], "datetime64[s]"), end[:-1]])


def _at_steps(
    observations: Observations,
    kept: npt.NDArray[np.intp],
    reading: npt.NDArray[np.int64],
    posterior: Posterior,
) -> tuple[Floats, Floats, Floats, Floats, npt.NDArray[np.bool_]]:
    """What was seen at the end of each step, as `watch_kernel.Levels`."""
    o, seen = observations, reading >= 0
    noise = posterior.noise[posterior.weight.argmax()]
    # of several levels a day only one is kept: it repeats the one before if all between them do
    runs = np.cumsum(~o.repeats)
    repeats = np.r_[False, runs[kept[1:]] == runs[kept[:-1]]]

    def spread(values: Floats, missing: float) -> Floats:
        out = np.full(len(seen), missing)
        out[seen] = values[reading[seen]]
        return out

    return (
        spread(o.litres[kept], np.nan), spread(o.bulk_per_15c[kept], 1.0), spread((noise * o.sd_l[kept]) ** 2, 1.0),
        spread(np.maximum(o.step_l[kept], 1e-3), 1.0), spread(repeats.astype(np.float64), 0.0) > 0.5,
    )  # fmt: skip


def _one_a_day(observations: Observations, midnights: Instants) -> npt.NDArray[np.intp]:
    """Positions of one level a day, the one nearest to dawn; no lower bounds."""
    usable = np.flatnonzero(~observations.at_least)
    at = observations.at[usable]
    day = np.searchsorted(midnights, at, side="right")
    away = np.abs((at - midnights[np.maximum(day - 1, 0)]) / np.timedelta64(1, "h") - DAWN_H)
    order = np.lexsort((away, day))
    first = np.r_[True, np.diff(day[order]) != 0] if len(order) else np.zeros(0, bool)
    return np.asarray(usable[np.sort(order[first])])


@dataclass(frozen=True, slots=True)
class Departure:
    """A use that weather and habits do not explain, and that still goes on.

    Attributes
    ----------
    since, until
        When it began by the best guess, and when it was last seen; datetime64[s] UTC.
    at_once
        Whether it went at one stroke.
    missing_l, sd_l
        Litres missing by the best guess, and their standard deviation; negative where less was used. [L]
    burn_l
        The burn foretold over that time. [L]
    pending
        False once it has lasted so long that it counts as the home's habit.
    """

    since: np.datetime64
    until: np.datetime64
    at_once: bool
    missing_l: float
    sd_l: float
    burn_l: float
    pending: bool


def find_departure(scores: Watch, *, sign: int, watch: WatchSettings | None = None) -> Departure | None:
    """Find a use above (``sign`` 1) or below (-1) what was foretold, on two of the last three days.

    Examples
    --------
    >>> at = np.datetime64("2024-01-01T06:00:00") + np.arange(3) * np.timedelta64(86400, "s")
    >>> score = np.array([[1.0, 0.0, -1.0], [5.0, 1.0, -5.0], [6.0, 1.0, -6.0]])
    >>> watch = WatchSettings(thresholds=(4.0, 4.0, 4.0))
    >>> since = np.repeat(at[:, None] - np.timedelta64(7, "D"), 3, axis=1)
    >>> found = find_departure(Watch(at, score, 5.0 * score, 70.0 + 0.0 * score, since), sign=1, watch=watch)
    >>> str(found.since), found.missing_l, found.sd_l, found.at_once, found.pending
    ('2023-12-27T06:00:00', 30.0, 5.0, False, True)
    """
    w = watch or WatchSettings()
    on = raised(scores, sign=sign, watch=w)
    if not len(on) or not on[-1]:
        return None
    newest = int(np.flatnonzero(passes(scores, sign=sign, watch=w).any(axis=1))[-1])
    quiet = np.flatnonzero(~on[: newest + 1])
    first = int(quiet[-1]) + 1 if len(quiet) else 0
    row, best = _clearest(scores, first=first, newest=newest, sign=sign, watch=w)
    lasted_d = float((scores.at[-1] - scores.at[first]) / np.timedelta64(1, "s")) / DAY_S
    missing = float(scores.missing_l[row, best])
    return Departure(
        since=scores.since[row, best], until=scores.at[row], at_once=KINDS[best] == "stroke", missing_l=missing,
        sd_l=abs(missing) / max(float(scores.score[row, best]), 1.0), burn_l=float(scores.burn_l[row, best]),
        pending=lasted_d <= w.patience_d,
    )  # fmt: skip


def _clearest(scores: Watch, *, first: int, newest: int, sign: int, watch: WatchSettings) -> tuple[int, int]:
    """Day and kind in which an alarm shows most: of a loss at one stroke its own days, else the newest day."""
    kinds = _kinds(sign)
    # the alarm's own first day is the day before, since it needs two
    part = scores.score[max(first - 1, 0) : newest + 1, kinds] / np.asarray(watch.thresholds)[kinds]
    part = np.where(np.isfinite(part), part, -np.inf)
    row, kind = np.unravel_index(int(part.argmax()), part.shape)
    if KINDS[kinds[kind]] == "stroke":
        return max(first - 1, 0) + int(row), int(kinds[kind])
    longs = kinds[[KINDS[k] != "stroke" for k in kinds]]
    return newest, int(longs[0])


def passes(scores: Watch, *, sign: int, watch: WatchSettings) -> npt.NDArray[np.bool_]:
    """Which scores of more use (``sign`` 1) or less (-1) pass their thresholds; shape (day, kind)."""
    kinds = _kinds(sign)
    known = np.where(np.isfinite(scores.score[:, kinds]), scores.score[:, kinds], -np.inf)
    return np.asarray(known > np.asarray(watch.thresholds)[kinds])


def raised(scores: Watch, *, sign: int, watch: WatchSettings) -> npt.NDArray[np.bool_]:
    """On which days there is an alarm of more use (``sign`` 1) or less (-1); shape (day,)."""
    above = passes(scores, sign=sign, watch=watch)
    by_kind = [alarms(above[:, i], least=LEAST_DAYS[kind]) for i, kind in enumerate(_kinds(sign).tolist())]
    return np.asarray(np.any(by_kind, axis=0))


def _kinds(sign: int) -> npt.NDArray[np.intp]:
    """Columns that tell of more use, or of less."""
    return np.array([0, 1]) if sign > 0 else np.array([LESS])


def alarms(above: npt.NDArray[np.bool_], *, least: int = 2) -> npt.NDArray[np.bool_]:
    """On which days so many of the last three passed; shape (day,).

    Examples
    --------
    >>> alarms(np.array([True, False, True, False, False])).astype(int)
    array([0, 0, 1, 0, 0])
    """
    total = np.concatenate([[0], np.cumsum(above)])
    after = np.arange(1, len(total))
    return np.asarray(total[after] - total[np.maximum(after - LAST_DAYS, 0)] >= least)
