"""Rises of the level: deliveries without a ticket, tickets without a rise, ticket against rise.

Flow     levels, deliveries -> **rises, ticket checks** -> burn model, confidence
Formula  rise = mean of the levels after − mean of those before + burn in between, each side over ten days and
         without what lies off its median; σ² = σ²(before) + σ²(after) + (0.3 · burn in between)², and a whole day's
         burn for each day of a silence beyond ten
Source   common practice, no source
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from forecaster.deliveries.tickets import Deliveries
from forecaster.levels import Levels
from forecaster.screening import fall_limit_l, rise_limit_l
from forecaster.units import SECONDS_PER_DAY, Floats

AFTER, BEFORE = 3, 5
"""So many levels on each side of a rise are looked at, where there are as many."""
STAYS_D = 1.5
"""...and, of a sensor that reads often, all after it for so long: two false echoes in a row are no delivery. [d]"""
NEAR_D = 7.0
"""...and no further away. [d]"""
BORNE_OUT, FAR_D = 3, 45.0
"""...but never fewer than three before, from before a silence too: a false low echo that ends one is no level
to rise from. [d]"""
SIDE_D, SIDE_BURN_SD, SIDE_SIGMAS = 10.0, 0.5, 3.0
"""The litres of a rise are told by all levels so near, each weighed by its own error and half the burn between,
but for those so many sd off the median. [d], [-]"""
AROUND_D = 10.0
"""The tank's own burn is averaged over so many days on each side. [d]"""
MOST_L_PER_DAY = 70.0
"""No more is taken for the tank's own burn: a large domestic burner that never stops. [L/d]"""
MERGE_H = 36.0
"""Rising steps that follow each other this closely are one delivery: seen while it ran, or with one false
reading in the middle. [h]"""
TICKET_SLACK_H = 36.0
"""A ticket's time may be off by so much: a day given without its hour, a wrong day. [h]"""
SETTLE_H = 12.0
"""Levels count as after a ticket from here on: foam has gone, and so has a day without its hour. [h]"""
BURN_SD = 0.3
"""Relative standard deviation of the burn in between. [-]"""
UNSEEN_L_PER_DAY = 5.0
"""A day's burn of an ordinary home over the year: as much is in doubt for each day of a long silence. [L/d]"""
MISSING_SHARE, MISSING_SIGMAS = 0.5, 3.0
"""A rise is missing if it is below half of the ticket and short of it by three σ."""
RATIO_BOUNDS = (0.95, 1.05)
"""Rise over ticket within these agrees. [-]"""
BASIS_SHARE = 0.015
"""Litres at 15 °C and litres as observed differ by up to so much between 0 and 30 °C. [-]"""


@dataclass(frozen=True, slots=True)
class Rise:
    """A rise that no ticket explains: probably a delivery.

    Attributes
    ----------
    at
        Middle between the levels before and after, UTC.
    litres, sd_l
        Size and its standard deviation. [l]
    before, after
        Times of those levels, UTC.
    at_least
        True where the tank rose into the sensor's dead band.
    confirmed
        False while only one level of a sensor shows it.
    """

    at: np.datetime64
    litres: float
    sd_l: float
    before: np.datetime64
    after: np.datetime64
    at_least: bool
    confirmed: bool


@dataclass(frozen=True, slots=True)
class TicketCheck:
    """A ticket, or several that one rise answers for, against the level.

    Attributes
    ----------
    at
        Time of the last of the tickets, UTC.
    ticket_l
        Their litres together. [l]
    rise_l, rise_sd_l
        What the level rose; nan where it cannot be told, such as into the dead band. [l]
    missing
        True where the rise is not there or far too small.
    tickets
        How many.
    is_observed
        True where all tickets give observed litres, not litres at 15 C or unknown ones.
    which
        Positions of the tickets among the deliveries.
    rose
        Times of the levels before and after the rise, UTC; None where there was none to be found.
    """

    at: np.datetime64
    ticket_l: float
    rise_l: float
    rise_sd_l: float
    missing: bool
    tickets: int = 1
    is_observed: bool = False
    which: tuple[int, ...] = ()
    rose: tuple[np.datetime64, np.datetime64] | None = None

    @property
    def ratio(self) -> float:
        """Rise over ticket. [-]"""
        return self.rise_l / self.ticket_l

    @property
    def agrees(self) -> bool:
        """Whether ticket and rise agree, or at least do not contradict each other."""
        if not np.isfinite(self.rise_l):
            return not self.missing
        slack = 0.0 if self.is_observed else BASIS_SHARE
        within = RATIO_BOUNDS[0] - slack <= self.ratio <= RATIO_BOUNDS[1] + slack
        return within or abs(self.rise_l - self.ticket_l) <= 2.0 * self.rise_sd_l

    def __str__(self) -> str:
        """Ticket and rise in litres, for people."""
        if not np.isfinite(self.rise_l):
            return f"ticket {self.ticket_l:,.0f} l, rise not seen"
        return f"ticket {self.ticket_l:,.0f} l, rise {self.rise_l:,.0f} ± {self.rise_sd_l:,.0f} l"


def find_rises(
    levels: Levels, deliveries: Deliveries, *, expected_burn_l: Floats | None = None
) -> tuple[Rise, ...]:
    r"""Find rises of the level that no ticket explains.

    Parameters
    ----------
    levels : Levels
        Shape (n,); only trusted ones are looked at.
    deliveries : Deliveries
        Tickets.
    expected_burn_l : float array, shape (n,), optional
        Expected burn up to each level, rising; by default as the levels around fall. [l]

    Returns
    -------
    tuple of Rise
        In order of time.

    Notes
    -----
    A rise counts if two neighbouring levels differ by more than max(50 l, 6 σ) and, once there are
    two levels after it, the median of those after stays that much above the median of those before.

    Examples
    --------
    >>> from forecaster.fuel import KEROSENE
    >>> from forecaster.levels import to_levels
    >>> from forecaster.readings import parse_readings
    >>> from forecaster.tanks import Tank
    >>> from forecaster.tanks.upright import UprightBox
    >>> tank = Tank(UprightBox(1800.0, 1200.0, 1300.0), KEROSENE, safe_fill_l=2600.0, heel_l=108.0)
    >>> rows = [f"2024-01-{10 + i}T06:00Z,{mm}" for i, mm in enumerate((300, 290, 690, 690, 680))]
    >>> levels = to_levels(
    ...     parse_readings("\n".join(["at,dip_mm", *rows])).readings, tank, flags=np.zeros(5, int)
    ... )
    >>> [(str(r.at), round(r.litres)) for r in find_rises(levels, Deliveries.none())]
    [('2024-01-11T18:00:00', 874)]
    """
    series = _series(levels, expected_burn_l)
    events = _events(series)
    matched, _ = _match(series, events, deliveries)
    return tuple(
        Rise(
            at=e.before_at + (e.after_at - e.before_at) // 2,
            litres=e.litres,
            sd_l=e.sd_l,
            before=e.before_at,
            after=e.after_at,
            at_least=e.at_least,
            confirmed=e.confirmed,
        )
        for e, tickets in zip(events, matched, strict=True)
        if not tickets
    )


def check_tickets(
    levels: Levels, deliveries: Deliveries, *, expected_burn_l: Floats | None = None
) -> tuple[TicketCheck, ...]:
    """Hold each ticket against the rise of the level.

    Parameters
    ----------
    levels : Levels
        Shape (n,); only trusted ones are looked at.
    deliveries : Deliveries
        Tickets; oil taken out is passed over.
    expected_burn_l : float array, shape (n,), optional
        Expected burn up to each level, rising; by default as the levels around fall. [l]

    Returns
    -------
    tuple of TicketCheck
        In order of time, for tickets with a level before and two levels later than 12 hours after.

    Notes
    -----
    Several tickets share a rise when together they come closer to it than one alone. A ticket left
    over beside a rise that another one explains is missing its own. Below max(50 l, 6 σ) there is no
    rise to be found, and the levels before and after are compared directly.
    """
    series = _series(levels, expected_burn_l)
    events = _events(series)
    matched, left = _match(series, events, deliveries)
    checks = [
        _check_event(deliveries, e, tickets) for e, tickets in zip(events, matched, strict=True) if tickets
    ]
    for ticket, beside in left:
        check = _check_alone(series, events, deliveries, ticket, beside=beside)
        if check is not None:
            checks.append(check)
    return tuple(sorted(checks, key=lambda c: c.at))


@dataclass(frozen=True, slots=True)
class _Series:
    """Trusted levels, at most one an hour, and the burn up to each."""

    at: npt.NDArray[np.datetime64]
    day: Floats
    litres: Floats
    sd_l: Floats
    burned_l: Floats
    censored: npt.NDArray[np.bool_]
    by_person: npt.NDArray[np.bool_]

    @property
    def unburned_l(self) -> Floats:
        """Litres as if nothing had been burned: level but for deliveries."""
        return self.litres + self.burned_l


@dataclass(frozen=True, slots=True)
class _Event:
    first: int
    last: int
    before_at: np.datetime64
    after_at: np.datetime64
    litres: float
    sd_l: float
    at_least: bool
    confirmed: bool


def _series(levels: Levels, expected_burn_l: Floats | None) -> _Series:
    kept = np.flatnonzero(levels.trusted())
    hour = levels.at[kept].astype("datetime64[h]")
    kept = kept[np.r_[hour[1:] != hour[:-1], True]] if len(kept) else kept  # the last of each hour
    at, litres, sd_l = levels.at[kept], levels.litres[kept], levels.sd_l[kept]
    day = (at - at[:1]).astype("timedelta64[s]").astype(float) / SECONDS_PER_DAY
    burned = _own_burn_l(day, litres, sd_l) if expected_burn_l is None else expected_burn_l[kept]
    return _Series(at, day, litres, sd_l, burned, levels.censored[kept], levels.by_person[kept])


def _own_burn_l(day: Floats, litres: Floats, sd_l: Floats) -> Floats:
    """Burn up to each level as the tank's own falls show it, averaged over the days around. [l]"""
    step = np.diff(litres, prepend=litres[:1])
    # neither deliveries nor false echoes and losses are burn
    most = fall_limit_l(np.diff(day, prepend=day[:1]), burner=MOST_L_PER_DAY, sd_l=sd_l)
    burned = (step <= rise_limit_l(sd_l)) & (-step <= most) & ~_undone(litres, sd_l)
    fallen = np.cumsum(np.where(burned, -step, 0.0))
    if len(day) < 2:
        return np.zeros(len(day))
    early, late = np.maximum(day - AROUND_D, day[0]), np.minimum(day + AROUND_D, day[-1])
    a_day = (np.interp(late, day, fallen) - np.interp(early, day, fallen)) / (late - early)
    a_day = np.maximum(a_day, 0.0)
    return np.concatenate([[0.0], np.cumsum((a_day[1:] + a_day[:-1]) / 2.0 * np.diff(day))])


def _undone(litres: Floats, sd_l: Floats) -> npt.NDArray[np.bool_]:
    """Which levels fell below the one before, and the next stands again where that one stood; shape (n,)."""
    undone = np.zeros(len(litres), bool)
    limit = rise_limit_l(np.maximum(sd_l[:-2], sd_l[2:]))
    low = (litres[2:] - litres[1:-1] > limit) & (litres[:-2] > litres[1:-1])
    undone[1:-1] = low & (np.abs(litres[2:] - litres[:-2]) <= limit)
    return undone


def _events(s: _Series) -> list[_Event]:
    limit = rise_limit_l(np.maximum(s.sd_l[1:], s.sd_l[:-1]))
    rising = np.flatnonzero((np.diff(s.litres) > limit) & ~s.censored[:-1])
    spans: list[list[int]] = []
    for i in rising:
        if spans and spans[-1][1] == i and (s.day[i + 1] - s.day[i]) * 24.0 <= MERGE_H:
            spans[-1][1] = int(i) + 1
        else:
            spans.append([int(i), int(i) + 1])
    bounds = [0, *(last for _, last in spans)]
    events = []
    for k, (first, last) in enumerate(spans):
        end = spans[k + 1][0] + 1 if k + 1 < len(spans) else len(s.at)
        back = range(first, bounds[k] - 1, -1)
        before = [i for i in _near(s, back, first, BEFORE, least=BORNE_OUT) if not s.censored[i]]
        soon = int(np.searchsorted(s.day, s.day[last] + STAYS_D, side="right")) - last
        after = _near(s, range(last, end), last, max(AFTER, soon))
        rise = float(np.median(s.unburned_l[after]) - np.median(s.unburned_l[before]))
        # a sensor may hear a false echo once; a person has looked
        confirmed = len(after) >= 2 or bool(s.by_person[after].any())
        at_least = bool(s.censored[after].any())
        if confirmed and not at_least and rise <= float(limit[first]):
            continue  # it did not stay
        if not at_least:
            rise = _unburned(s, after, range(last, end), last) - _unburned(s, before, back, first)
        between = s.burned_l[last] - s.burned_l[first]
        sd = float(
            np.hypot(np.hypot(s.sd_l[first], s.sd_l[last]), BURN_SD * between + _unseen_l(s, first, last))
        )
        events.append(_Event(first, last, s.at[first], s.at[last], rise, sd, at_least, confirmed))
    return events


def _unseen_l(s: _Series, first: int, last: int) -> float:
    """Litres that may have been burned, or not, in the part of a silence that the levels around do not tell. [l]"""
    silent_d = float(s.day[last] - s.day[first]) - AROUND_D
    if silent_d <= 0.0:
        return 0.0
    before, after = s.day[first] - AROUND_D, s.day[last] + AROUND_D
    burned = np.interp([before, s.day[first], s.day[last], after], s.day, s.burned_l)
    return silent_d * max(
        UNSEEN_L_PER_DAY, float(max(burned[1] - burned[0], burned[3] - burned[2])) / AROUND_D
    )


def _unburned(s: _Series, near: list[int], side: range, origin: int) -> float:
    """Litres of one side of a rise as if nothing had been burned: many steps of a sensor tell more than one."""
    middle = float(np.median(s.unburned_l[near]))
    wide = np.array([i for i in side if abs(s.day[i] - s.day[origin]) <= SIDE_D and not s.censored[i]])
    var = s.sd_l[wide] ** 2 + (SIDE_BURN_SD * (s.burned_l[wide] - s.burned_l[origin])) ** 2
    off = s.unburned_l[wide] - middle
    agrees = np.abs(off) <= SIDE_SIGMAS * np.sqrt(var)
    if not agrees.any():
        return middle
    return middle + float(np.average(off[agrees], weights=1.0 / var[agrees]))


def _near(s: _Series, candidates: range, origin: int, most: int, *, least: int = 0) -> list[int]:
    """Of the first candidates those near the origin, and ``least`` of them in any case."""
    away = [abs(s.day[i] - s.day[origin]) for i in candidates[:most]]
    return [
        i for n, (i, d) in enumerate(zip(candidates, away, strict=False))
        if d <= NEAR_D or (n < least and d <= FAR_D)
    ]  # fmt: skip


def _match(
    s: _Series, events: list[_Event], deliveries: Deliveries
) -> tuple[list[list[int]], list[tuple[int, bool]]]:
    """Give each event its tickets, and the tickets left over (true: beside an event)."""
    slack = np.timedelta64(int(TICKET_SLACK_H * 3600), "s")
    near: list[list[tuple[float, int]]] = [[] for _ in events]
    left: list[tuple[int, bool]] = []
    for t in np.flatnonzero(~deliveries.removed).tolist():
        at = deliveries.at[t]
        away = [
            float(
                max(e.before_at - at, at - e.after_at, np.timedelta64(0, "s"))
                .astype("timedelta64[s]")
                .astype(float)
            )
            for e in events
        ]
        if away and min(away) <= slack.astype(float):
            near[int(np.argmin(away))].append((min(away), t))
        else:
            left.append((t, False))
    matched: list[list[int]] = []
    for e, tickets in zip(events, near, strict=True):
        taken: list[int] = []
        total = 0.0
        for _, t in sorted(tickets):
            litres = float(deliveries.litres[t])
            if not taken or e.at_least or abs(total + litres - e.litres) < abs(total - e.litres):
                taken.append(t)
                total += litres
            else:
                left.append((t, True))
        matched.append(taken)
    return matched, left


def put_where_seen(deliveries: Deliveries, checks: Iterable[TicketCheck]) -> Deliveries:
    """Move each ticket to when the level rose, and leave out those that never arrived.

    A ticket's hour is often wrong or missing; the level says between which two readings the oil came.

    Returns
    -------
    Deliveries
        Sorted by time.
    """
    at = deliveries.at.copy()
    arrived = np.ones(len(at), dtype=bool)
    for check in checks:
        which = list(check.which)
        if check.missing:
            arrived[which] = False
        elif check.rose is not None:
            before, after = check.rose
            outside = [i for i in which if not before < at[i] <= after]
            at[outside] = before + (after - before) // 2
    moved = replace(deliveries, at=at).where(arrived)
    return moved.where(np.argsort(moved.at, kind="stable"))


def _check_event(deliveries: Deliveries, e: _Event, tickets: list[int]) -> TicketCheck:
    total = float(deliveries.litres[tickets].sum())
    rise = np.nan if e.at_least else e.litres
    return TicketCheck(
        at=deliveries.at[tickets].max(),
        ticket_l=total,
        rise_l=rise,
        rise_sd_l=e.sd_l,
        missing=e.confirmed and _is_missing(total, rise, e.sd_l),
        tickets=len(tickets),
        is_observed=bool((deliveries.basis[tickets] == "observed").all()),
        which=tuple(tickets),
        rose=(e.before_at, e.after_at),
    )


def _check_alone(
    s: _Series, events: list[_Event], deliveries: Deliveries, ticket: int, *, beside: bool
) -> TicketCheck | None:
    at, total = deliveries.at[ticket], float(deliveries.litres[ticket])
    settle = np.timedelta64(int(SETTLE_H * 3600), "s")
    before = np.flatnonzero(s.at <= at)[-BEFORE:]
    after = np.flatnonzero(s.at >= at + settle)[:AFTER]
    if not len(before) or len(after) < 2:
        return None
    before = np.array(_near(s, range(before[-1], before[0] - 1, -1), int(before[-1]), BEFORE))
    after = np.array(_near(s, range(after[0], after[-1] + 1), int(after[0]), AFTER))
    rise = float(np.median(s.unburned_l[after]) - np.median(s.unburned_l[before]))
    rise -= sum(e.litres for e in _inside(events, int(before.max()), int(after.min())))
    between = s.burned_l[after.min()] - s.burned_l[before.max()]
    sd = float(np.sqrt(s.sd_l[before].max() ** 2 + s.sd_l[after].max() ** 2 + (BURN_SD * between) ** 2))
    if s.censored[before].any() or s.censored[after].any():
        rise = np.nan
    if beside:
        rise = 0.0  # the rise near it is another ticket's
    return TicketCheck(
        at=at,
        ticket_l=total,
        rise_l=rise,
        rise_sd_l=sd,
        missing=_is_missing(total, rise, sd),
        is_observed=bool(deliveries.basis[ticket] == "observed"),
        which=(ticket,),
    )


def _inside(events: list[_Event], first: int, last: int) -> Iterator[_Event]:
    return (e for e in events if e.first >= first and e.last <= last)


def _is_missing(ticket_l: float, rise_l: float, sd_l: float) -> bool:
    return rise_l < MISSING_SHARE * ticket_l and ticket_l - rise_l > MISSING_SIGMAS * sd_l
