"""Do tickets and rises agree: a ticket without a rise, a rise without a ticket, a shape that is wrong.

Formula  rise over ticket within 5 % agrees; beyond 10 % of two deliveries in the same sense the shape is
         not believed; both widened by what the rises themselves are unsure of
Source   common practice, no source
"""

from collections.abc import Sequence

import numpy as np

from forecaster.anomalies.evidence import GATED, Evidence, is_pending
from forecaster.phrases import litres_text
from forecaster.states import Reason, State

SETTLES = np.timedelta64(12, "h")
"""Levels count as after a ticket from here on."""
MISSING_SHARE = 0.5
"""A rise below that part of the ticket does not show it. [-]"""
OFF_WIDE, OFF_CHECK = 0.05, 0.10
"""Rise over ticket off by more than that: wide, and doubted. [-]"""
QUESTION_DAYS = 30.0
"""A delivery without a ticket is asked after for so long. [d]"""


def ticket_without_rise(e: Evidence) -> Sequence[Reason]:
    """Find litres entered as delivered that never reached the tank."""
    at = e.levels.at[e.trusted()]
    for t in reversed(e.tickets):
        after = at[at >= t.at + SETTLES]
        # told from the second level after the ticket on, however late that came
        if not t.missing or (len(after) > 1 and not e.is_recent(after[1])):
            continue
        seen = "did not rise" if not t.rise_l > 0.1 * t.ticket_l else f"rose by only {_litres(t.rise_l)}"
        text = (
            f"{litres_text(t.ticket_l)} were entered as delivered on {e.day(t.at)}, but the level {seen}. Wrong "
            "tank, wrong address, a spill or a sensor fault: look at the tank and the bund now."
        )
        return [Reason("ticket_without_rise", State.URGENT, text)]
    return ()


def ticket_not_yet_seen(e: Evidence) -> Sequence[Reason]:
    """Find that the one level since a ticket does not show it; the second decides."""
    ok = np.flatnonzero(e.trusted())
    if len(ok) < 2 or e.verdicts()[ok[-1]] != GATED:
        return ()
    before, after = e.levels.at[ok[-2]], e.levels.at[ok[-1]]
    rise = float(e.levels.litres[ok[-1]] - e.levels.litres[ok[-2]])
    d = e.deliveries
    between = ~d.removed & (d.at > before) & (d.at + SETTLES <= after)
    ticket = float(d.litres[between].sum())
    if not between.any() or rise >= MISSING_SHARE * ticket:
        return ()
    text = (
        f"{litres_text(ticket)} were entered as delivered on {e.day(d.at[between][-1])}, but the reading of "
        f"{e.when(after)} does not show them. Please read the gauge, and look at the tank and the bund."
    )
    return [Reason("ticket_not_yet_seen", State.CHECK, text)]


def _litres(litres: float) -> str:
    return f"about {litres_text(litres, sd=10.0)}"


def wrong_geometry(e: Evidence) -> Sequence[Reason]:
    """Find two tickets or more that disagree with their rises in the same sense."""
    seen = [t for t in e.tickets if not t.missing and t.rise_l > 0]
    if len(seen) < 2:
        return ()
    ratios = np.array([t.rise_l / t.ticket_l for t in seen]) - 1.0
    off = float(np.median(ratios))
    agreeing = int((np.sign(ratios) == np.sign(off)).sum())
    sure = float(np.sqrt(np.mean([(t.rise_sd_l / t.ticket_l) ** 2 for t in seen]) / len(seen)))
    sure = float(np.hypot(sure, e.tank.table_sd_fraction))
    if abs(off) <= OFF_WIDE + 2 * sure or agreeing < max(2, 0.75 * len(seen)):
        return ()
    ticket, rise = sum(t.ticket_l for t in seen), sum(t.rise_l for t in seen)
    text = (
        f"{len(seen)} deliveries of {litres_text(ticket)} together, the last on {e.day(seen[-1].at)}, raised the "
        f"level by what your tank's shape says is {_litres(rise)}. The shape or the size on file is probably "
        "wrong. Measure the tank again."
    )
    return [Reason("geometry", State.CHECK if abs(off) > OFF_CHECK + 2 * sure else State.WIDE, text)]


def tickets_off(e: Evidence, *, since: np.datetime64) -> float:
    """Litres by which the level rose less than tickets since an instant say; negative where it rose more. [L]"""
    off = [
        t.ticket_l - t.rise_l for t in e.tickets
        if not t.missing and np.isfinite(t.rise_l) and (t.rose[1] if t.rose else t.at) > since
    ]  # fmt: skip
    return float(sum(off))


def ticket_off(e: Evidence) -> Sequence[Reason]:
    """Find that the newest ticket and its rise are far apart, where not several say the same."""
    seen = [t for t in e.tickets if not t.missing and t.rise_l > 0 and e.since(t.at) <= QUESTION_DAYS]
    if not seen or wrong_geometry(e):
        return ()
    t = seen[-1]
    sure = float(np.hypot(t.rise_sd_l / t.ticket_l, e.tank.table_sd_fraction))
    if abs(t.ratio - 1.0) <= OFF_CHECK + 2 * sure:
        return ()
    came = "less" if t.rise_l < t.ticket_l else "more"
    text = (
        f"{litres_text(t.ticket_l)} were entered as delivered on {e.day(t.at)}; by your tank's shape the level rose "
        f"by {_litres(t.rise_l)}. Either {came} came than the ticket says, or the shape on file is wrong. Please read "
        "the gauge and compare; the next delivery tells which."
    )
    return [Reason("ticket_off", State.WIDE, text)]


def unreported_delivery(e: Evidence) -> Sequence[Reason]:
    """Find a rise without a ticket, and ask."""
    recent = [r for r in e.rises if e.since(r.after) <= QUESTION_DAYS]
    if not recent:
        return ()
    rise = recent[-1]
    size = f"{'at least' if rise.at_least else 'about'} {litres_text(rise.litres, sd=rise.sd_l)}"
    if rise.sd_l > rise.litres / 2.0 and not is_pending(rise, e.levels):
        text = (
            f"More oil is in the tank than could be left since {e.day(rise.before)}, when it was seen last. A "
            "delivery? Enter its ticket, so that it counts exactly."
        )
    elif not is_pending(rise, e.levels):
        text = (
            f"The level rose by {size} on {e.day(rise.after)}. A delivery? Enter its ticket, so that it counts "
            "exactly."
        )
    else:
        text = (
            f"The reading of {e.when(rise.after)} is higher by {size} than the one before. A delivery? Enter its "
            "ticket. Until then, or until a second reading shows it, it is not counted: do not order by this "
            "answer if oil has come."
        )
    return [Reason("unreported_delivery", State.WIDE, text)]


FINDERS = (ticket_without_rise, ticket_not_yet_seen, wrong_geometry, ticket_off, unreported_delivery)
