"""Whether less oil goes than weather and habits explain: away, boiler off, or water coming in.

Source   common practice, no source
"""

from collections.abc import Sequence

import numpy as np

from forecaster.anomalies.evidence import Evidence
from forecaster.anomalies.level import rising, stuck_run
from forecaster.anomalies.loss import TICKETS_SHARE
from forecaster.anomalies.oil import tickets_off
from forecaster.phrases import litres_text
from forecaster.states import Reason, State

NEXT_TO_NOTHING = 0.25
"""A home that uses no more than that part of what was to be expected may have no heating. [-]"""
RISE_SIGMAS = 3.0
"""A level rises when it stands so many sd above where it stood."""
SWELLS = 0.005
"""...and by more than oil swells over some warm days. [-]"""


def less_used(e: Evidence) -> Sequence[Reason]:
    """Find less oil gone than foretold: a change of habits, or a level that truly rises."""
    found = e.less_used
    if found is None or stuck_run(e) is not None or rising(e):
        return ()
    if tickets_off(e, since=found.since) < TICKETS_SHARE * found.missing_l:
        return ()
    less_l, since = -found.missing_l, e.day(found.since)
    used_l = found.burn_l - less_l
    level_sd = float(e.levels.sd_l[e.trusted()][-1])
    if -used_l > RISE_SIGMAS * level_sd + SWELLS * float(np.median(e.now_l)):
        text = (
            f"The level has been rising without a delivery since {since}, by about "
            f"{litres_text(-used_l, sd=level_sd)}. Water getting in is one cause; have it checked before ordering."
        )
        return [Reason("rising", State.CHECK, text)]
    if not found.pending:
        return ()
    due = f"about {litres_text(found.burn_l, sd=found.sd_l)} were to be expected"
    cold = (e.past.date >= found.since.astype("datetime64[D]")) & ~e.past.assumed
    froze = bool(cold.any()) and float(e.past.temp_c[cold].min()) < 0.0
    if froze and used_l < NEXT_TO_NOTHING * found.burn_l:
        text = f"Next to nothing has left the tank since {since}; {due}. It has been freezing: is your heating working?"
        return [Reason("no_use_in_frost", State.WIDE, text)]
    text = (
        f"Since {since} about {litres_text(less_l, sd=found.sd_l)} less than weather and habits explain have left the "
        f"tank; {due}. If you are away, tell us: we assume that your use goes back to what it was."
    )
    return [Reason("less_use", State.WIDE, text)]


FINDERS = (less_used,)
