"""Whether oil leaves the tank that nobody burns: all at once, or a little every day.

Formula  fast: fall within a day > max(30 l, ceiling of all appliances x time x 1.25 + 3 sigma)
         else: the watch's score, see `forecaster.anomalies.watch`
Source   common practice, no source
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from forecaster.anomalies.evidence import GATED, LOOK_BACK, Evidence
from forecaster.anomalies.oil import tickets_off
from forecaster.anomalies.sight import swing_l
from forecaster.anomalies.watch import Departure
from forecaster.phrases import litres_text
from forecaster.states import Reason, State

LOSS_FLOOR_L, LOSS_MARGIN, LOSS_SIGMAS = 30.0, 1.25, 3.0
"""Fast loss: more than max(30 l, burner ceiling x time x 1.25 + 3 sigma). Engineering rule."""
LARGEST_BOILER_L_PER_DAY = 105.0
"""Ceiling where no boiler is known: 45 kW of kerosene day and night. Assumption. [L/d]"""
LONGEST_FALL_H = 24.0
"""A fast fall may show in several steps of a sensor that reads often, but within a day. [h]"""
REMOVED_SLACK = np.timedelta64(36, "h")
"""The hour at which oil was taken out may be entered wrong by so much."""
TICKETS_SHARE = 0.5
"""Where tickets less their rises make up so much of it, nothing was lost: a ticket or the shape is off. [-]"""
AT_ONCE_D = 4.0
"""A loss that began no longer ago, by the best guess, is told of as one at one stroke. [d]"""

AT_THE_TANK = (
    "Look from a safe distance; if someone is there, stay indoors and call the police. If oil is seen, close "
    "the valve at the tank, keep it from drains, and call the pollution line."
)


class _Fall(NamedTuple):
    """From level ``i`` to level ``j``, and the most that could have been burned and erred. [L]"""

    i: int
    j: int
    most_l: float
    sigma_l: float


def fast_loss(e: Evidence) -> Sequence[Reason]:
    """Find a fall faster than every appliance together can burn."""
    ok = _recent_hours(e)
    at, litres = e.levels.at[ok], e.levels.litres[ok]
    falls = list(_falls(e, ok))
    swings_l = swing_l(e)[0] if falls else 0.0
    for fall in falls:
        i, j = fall.i, fall.j
        fell = float(litres[i] - litres[j]) - _taken_out(e, at[i], at[j])
        if fell <= fall.most_l + 2.0 * swings_l or not _was_so_high(e, ok, i, fell):
            continue
        lost = litres_text(fell, sd=fall.sigma_l)
        after = litres[j : j + 3]
        if len(after) == 1:
            text = (
                f"The reading of {e.when(at[j])} is about {lost} lower than the one before. Read the gauge "
                "to see which is right."
            )
            return [Reason("unconfirmed_fall", State.CHECK, text)]
        stays_down = bool((after < litres[i] - 0.5 * fell).all())
        if stays_down and e.is_recent(at[j + 1]):
            text = (
                f"Possible leak or theft: about {lost} left the tank between {e.when(at[i])} and "
                f"{e.when(at[j])}, more than the boiler can burn. {AT_THE_TANK}"
            )
            return [Reason("fast_loss", State.URGENT, text)]
    return ()


def _recent_hours(e: Evidence) -> np.ndarray:
    """Positions of the recent levels, the last of each hour."""
    ok = np.flatnonzero(e.trusted() & ~e.levels.censored)
    if len(ok) < 2:
        return ok
    at = e.levels.at[ok]
    first = np.searchsorted(at, e.posterior.at - np.timedelta64(2 * LOOK_BACK.days, "D"))
    ok = ok[min(int(first), max(len(ok) - 8, 0)) :]
    hour = e.levels.at[ok].astype("datetime64[h]")
    return ok[np.r_[hour[1:] != hour[:-1], True]]


def _falls(e: Evidence, ok: np.ndarray) -> Iterator[_Fall]:
    """Falls beyond burning and chance, from one level to the next or within a day; the newest first."""
    if len(ok) < 2:
        return
    at, litres, sd = e.levels.at[ok], e.levels.litres[ok], e.levels.sd_l[ok]
    # a level that did not follow from those before it is no level to fall from
    followed = e.verdicts()[ok] != GATED
    known = e.prior.boiler_ceiling_l_per_day
    ceiling = known if np.isfinite(known) else LARGEST_BOILER_L_PER_DAY
    found: list[_Fall] = []
    for apart in range(1, len(ok)):
        hours = (at[apart:] - at[:-apart]) / np.timedelta64(1, "h")
        within = (hours <= LONGEST_FALL_H) | (apart == 1)
        if not within.any():
            break
        sigma = np.hypot(sd[apart:], sd[:-apart])
        most = np.maximum(LOSS_FLOOR_L, ceiling / 24 * hours * LOSS_MARGIN + LOSS_SIGMAS * sigma)
        suspects = np.flatnonzero(within & (litres[:-apart] - litres[apart:] > most) & followed[:-apart])
        found += [_Fall(int(i), int(i) + apart, float(most[i]), float(sigma[i])) for i in suspects]
    yield from sorted(found, key=lambda f: (f.i - f.j, f.j), reverse=True)


def _was_so_high(e: Evidence, ok: np.ndarray, i: int, fell: float) -> bool:
    """Whether the level before bears out that from which it fell, or oil was put in between."""
    if i == 0 or float(e.levels.litres[ok[i - 1]] - e.levels.litres[ok[i]]) > -0.5 * fell:
        return True
    start, end = e.levels.at[ok[i - 1]], e.levels.at[ok[i]]
    d = e.deliveries
    put_in = ~d.removed & (d.at > start - REMOVED_SLACK) & (d.at <= end + REMOVED_SLACK)
    return bool(put_in.any()) or any(start <= r.at <= end for r in e.rises)


def _taken_out(e: Evidence, start: np.datetime64, end: np.datetime64) -> float:
    """Litres that people say they took out about then. [L]"""
    d = e.deliveries
    about = d.removed & (d.at > start - REMOVED_SLACK) & (d.at <= end + REMOVED_SLACK)
    return float(d.litres[about].sum())


def unexplained_loss(e: Evidence) -> Sequence[Reason]:
    """Find more oil gone than weather and habits explain, as the watch sees it."""
    found = e.more_used
    if found is None or fast_loss(e) or _lies_in_a_ticket(e, found):
        return ()
    lost = litres_text(found.missing_l, sd=found.sd_l)
    seen = f"about {lost} more than weather and habits explain"
    due = f"about {litres_text(max(found.burn_l, 0.0), sd=found.sd_l)} were to be expected"
    if not found.pending:
        text = (
            f"Since {e.day(found.since)} {seen} have left the tank; {due}. As this has gone on for weeks, it is "
            "now reckoned as your use. If nothing has changed in the house, have the tank and the line looked at."
        )
        return [Reason("more_use", State.WIDE, text)]
    if found.at_once or found.until - found.since <= np.timedelta64(int(AT_ONCE_D * 86_400), "s"):
        text = f"Between {e.day(found.since)} and {e.day(found.until)} {seen} left the tank; {due}. {AT_THE_TANK}"
        return [Reason("loss", State.CHECK, text)]
    text = (
        f"Since {e.day(found.since)} {seen} have left the tank; {due}. A leak, changed habits or a new appliance? "
        "Read the gauge, and look at the tank, the line and the ground around them. If oil is seen, close the "
        "valve at the tank, keep it from drains, and call the pollution line."
    )
    return [Reason("slow_loss", State.CHECK, text)]


def _lies_in_a_ticket(e: Evidence, found: Departure) -> bool:
    """Whether a ticket that the level did not follow explains the most of it."""
    return tickets_off(e, since=found.since) > TICKETS_SHARE * found.missing_l


def is_loss(found: Departure | None) -> bool:
    """Whether more oil than explained is gone and it is not yet reckoned as the home's use."""
    return found is not None and found.pending


FINDERS = (fast_loss, unexplained_loss)
