"""Does the level behave as oil in a tank: stuck, another unit, at the heel, rising.

Formula  stuck: least expected burn since the value last changed > 3 sensor steps, or 21 days and 1.8 steps
Source   common practice, no source
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from forecaster.anomalies.evidence import GATED, Evidence
from forecaster.anomalies.loss import fast_loss, is_loss
from forecaster.phrases import litres_text
from forecaster.screening import Flag
from forecaster.states import Reason, State

STUCK_STEPS = 3.0
"""A sensor is stuck when the least expected burn exceeds three of its steps."""
LONG_STEPS, LONG_D = 1.8, 21.0
"""With hot water only, three steps last for months: there, 1.8 steps of the expected burn and 21 days."""
LEAST_BURN = 1.645
"""The least expected burn lies so many sd below its mean: the lower 5 %."""
HEEL_SIGMAS = 2.0
"""A level so near the heel cannot be told from it."""
TREND_OF, TREND_LEAST = 7, 3
"""So many of the last seven readings creeping upwards are told."""


@dataclass(frozen=True, slots=True)
class StuckRun:
    """A run of one raw value that still goes on although oil must have gone.

    ``first`` is the index of its first level; ``burn_l`` and ``burn_sd_l`` what should have gone since. [L]
    """

    first: int
    burn_l: float
    burn_sd_l: float


def stuck_run(e: Evidence) -> StuckRun | None:
    """Find the same raw value although oil must have gone, judged by expected burn and not by time."""
    ok = np.flatnonzero(e.trusted() & ~e.levels.censored)
    if len(ok) < 3:
        return None
    raw = e.levels.raw[ok]
    other = np.flatnonzero(raw != raw[-1])
    first = int(ok[other[-1] + 1]) if len(other) else int(ok[0])
    if first == ok[-1]:
        return None
    start, last = e.levels.at[first], e.levels.at[ok[-1]]
    mean, sd = e.burn_between(start, last)
    step_l = float(e.levels.step_l[ok[-1]])
    certain = mean - LEAST_BURN * sd > STUCK_STEPS * step_l
    days = e.since(start) - e.since(last)
    return StuckRun(first, mean, sd) if certain or (days >= LONG_D and mean > LONG_STEPS * step_l) else None


def stuck(e: Evidence) -> Sequence[Reason]:
    """Find a stuck sensor, or a boiler that does not run."""
    run = stuck_run(e)
    if run is None:
        return ()
    start = e.levels.at[run.first]
    should = litres_text(max(run.burn_l, 0.0), sd=max(run.burn_sd_l, 1.0))
    text = (
        f"The sensor has shown exactly the same level since {e.day(start)}. In this weather about {should} "
        "should have gone. Either it is stuck or the heating is off. Please read the gauge."
    )
    since = (e.past.date >= start.astype("datetime64[D]")) & ~e.past.assumed
    if since.any() and float(e.past.temp_c[since].min()) < 0.0:
        text += " It has been freezing since then: is your heating working?"
    return [Reason("stuck", State.CHECK, text)]


def unit_change(e: Evidence) -> Sequence[Reason]:
    """Find readings that go on in another unit."""
    other = np.flatnonzero((e.levels.flags & Flag.UNIT) != 0)
    if len(other) == 0 or not e.is_recent(e.levels.at[other[-1]]):
        return ()
    before = np.flatnonzero(e.trusted()[: other[-1]])
    first = int(other[other > before[-1]][0]) if len(before) else int(other[0])
    how = "changed their size"
    if len(before) and e.levels.raw[first] > 0 and e.levels.raw[before[-1]] > 0:
        ratio = float(e.levels.raw[before[-1]] / e.levels.raw[first])
        times, size = (ratio, "smaller") if ratio > 1 else (1 / ratio, "larger")
        how = f"are about {times:.0f} times {size}"
    text = (
        f"Since {e.when(e.levels.at[first])} the sensor's numbers {how}, as if the unit had changed. We have "
        "stopped forecasting until you confirm the unit."
    )
    return [Reason("unit", State.CHECK, text)]


def contradiction(e: Evidence) -> Sequence[Reason]:
    """Find that the last levels are far from what levels, tickets and weather allow."""
    verdicts = e.verdicts()
    seen = np.flatnonzero(verdicts != 0)
    followed = np.flatnonzero(verdicts[seen] != GATED)
    first = int(followed[-1]) + 1 if len(followed) else 0
    odd = seen[first:]
    if len(odd) == 0:
        return ()
    since = e.when(e.levels.at[odd[0]])
    if is_loss(e.more_used) or fast_loss(e):
        return ()
    if len(odd) > 1:
        text = (
            f"The readings since {since} do not follow from those before: a delivery that was not entered, oil "
            "lost, or a sensor that was moved. Please read the gauge and tell us what happened."
        )
        return [Reason("contradiction", State.CHECK, text)]
    text = (
        f"The reading of {since} does not follow from those before; it is not used until another confirms it."
    )
    return [Reason("odd_reading", State.WIDE, text)]


def maybe_dry(e: Evidence) -> Sequence[Reason]:
    """Find a level that cannot be told from the heel: the boiler may already have stopped."""
    ok = np.flatnonzero(e.trusted() & ~e.levels.censored)
    if len(ok) == 0:
        return ()
    near = e.levels.litres[ok] <= e.tank.heel_l + HEEL_SIGMAS * e.levels.sd_l[ok]
    # one level that fell there at one stroke is for the finder of falls
    alone = len(ok) > 1 and not near[-2] and e.verdicts()[ok[-1]] == GATED
    if not near[-1] or alone:
        return ()
    there = np.flatnonzero(~near)
    first = ok[there[-1] + 1] if len(there) else ok[0]
    text = (
        f"The level has stood at the draw-off since {e.when(e.levels.at[first])}: only what the boiler cannot "
        "use may be left. If the heating has stopped, do not keep pressing reset: unburnt oil can collect and "
        "light violently. Order now, and have a technician bleed the line."
    )
    return [Reason("maybe_dry", State.URGENT, text)]


def rising(e: Evidence) -> Sequence[Reason]:
    """Find a level that creeps upwards without a delivery."""
    last = e.levels.flags[-TREND_OF:]
    creeping = np.flatnonzero((last & Flag.TREND) != 0)
    if len(creeping) < TREND_LEAST:
        return ()
    before = np.flatnonzero(e.trusted())
    since = f" since {e.day(e.levels.at[before[-1]])}" if len(before) else ""
    text = (
        f"The level has been rising without a delivery{since}. Water getting in is one cause; have it checked "
        "before ordering."
    )
    return [Reason("rising", State.CHECK, text)]


FINDERS = (stuck, unit_change, contradiction, maybe_dry, rising)
