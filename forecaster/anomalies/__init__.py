"""What looks wrong, how sure, and what to tell people: the reasons a forecast is wide or withheld.

Each finder looks at one way in which a forecast goes wrong and returns reasons, mostly none. None of
them decides: the gate takes the worst. Every text says what was seen, since when, and what to do; a
reason may stand beside a withheld forecast, so none of them names a day or a quantity ahead.

Flow     levels, posterior, tickets, weather -> **reasons** -> gate
Source   thresholds: engineering rules, tuned on simulated tanks; where a figure was published it is
         named beside it

==========  ==================================================================
`evidence`  all that the finders look at
`sight`     is the tank seen: no level, silence, no echo, dead band
`watch`     what may have left the tank, scored by each day on which it may have begun
`level`     does the level behave: stuck, unit, at the heel, rising
`loss`      does oil leave that nobody burns, at one stroke or slowly
`habits`    is less used than weather and habits explain
`oil`       do tickets and rises agree
`grounds`   what the forecast rests on: history, weather, width of the band
==========  ==================================================================
"""

import numpy as np

from forecaster.anomalies import grounds, habits, level, loss, oil, sight
from forecaster.anomalies.evidence import Evidence, held_back, is_pending
from forecaster.anomalies.sight import STALE_SHARE, WIDE_SHARE, band_share
from forecaster.anomalies.watch import Watch, WatchSettings, watch_level
from forecaster.states import Reason

__all__ = [
    "STALE_SHARE",
    "WIDE_SHARE",
    "Evidence",
    "Watch",
    "WatchSettings",
    "band_share",
    "find_reasons",
    "held_back",
    "is_pending",
    "last_believed",
    "watch_level",
]


def find_reasons(evidence: Evidence) -> tuple[Reason, ...]:
    """Look for everything that can be wrong.

    Returns
    -------
    tuple of Reason
        Empty when nothing is.
    """
    finders = (
        *sight.FINDERS, *level.FINDERS, *loss.FINDERS, *habits.FINDERS, *oil.FINDERS, *grounds.FINDERS,
    )  # fmt: skip
    return tuple(r for finder in finders for r in finder(evidence))


def last_believed(evidence: Evidence) -> int | None:
    """Find the newest level that is believed, as an index of the levels; None where there is none.

    Notes
    -----
    A trusted level is not believed when the model could not follow it, when it repeats a value that
    can no longer be true, or when it rose without a ticket and no second level has shown it yet.
    """
    believed = evidence.believed()
    run = level.stuck_run(evidence)
    if run is not None:
        believed[run.first + 1 :] = False
    kept = np.flatnonzero(believed)
    return int(kept[-1]) if len(kept) else None
