"""What bills and tickets say without any sensor: litres burned between two fills, and levels at a ticket.

Flow     deliveries, receipts -> **litres burned over past days**, **levels told by tickets** -> burn model
Formula  burned = litres put in after the first, up to the last + level at the first − level at the last;
         σ = 3 % of the capacity between two fills, 12 % where the fills are not known
Source   common practice, no source; the change of a house with the years is an assumption
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.deliveries.tickets import Deliveries
from forecaster.screening.place import span_of
from forecaster.tanks import Tank
from forecaster.units import Floats

FILLED_SD = 0.05
"""A tank said to have been filled stands at its safe fill within that part of its capacity. [-]"""
FULL_ENDS_SD, UNKNOWN_SD = 0.03, 0.12
"""What two fills, and two unknown levels after deliveries, leave open of the litres burned in between, as parts of
the capacity: people order at much the same level. On simulated households 0.02 and 0.06; here twice as cautious. [-]"""
LITRES_SD = 0.015
"""Litres of bills are at 15 C or not, which is seldom said. Relative. [-]"""
CHANGE_PER_YEAR = 0.03
"""Houses and households change: relative sd of the burn for each year since. Assumption. [-]"""
LEAST_DAYS, MOST_YEARS = 60, 8
"""Shorter spans say little of a year; older bills are of another house. [d, a]"""
DIP_SD_MM = 6.0
"""A dip on a ticket is read to a centimetre, the stick not quite upright. Assumption. [mm]"""


@dataclass(frozen=True, slots=True)
class PastBurn:
    """Litres burned from a civil day (its delivery counts before) up to another, with their sd. [l]"""

    first: np.datetime64
    last: np.datetime64
    litres: float
    sd_l: float


@dataclass(frozen=True, slots=True, eq=False)
class ToldLevels:
    """Levels that tickets tell, in time order: instants, bulk litres, sd; shape (n,). [l]"""

    at: npt.NDArray[np.datetime64]
    litres: Floats
    sd_l: Floats

    def __len__(self) -> int:
        return len(self.at)


def burned_by_bills(
    bills: Deliveries,
    tank: Tank,
    *,
    today: np.datetime64,
    level: tuple[np.datetime64, float, float] | None = None,
) -> PastBurn | None:
    r"""Find the span of past days over which bills tell best what was burned.

    Parameters
    ----------
    bills : Deliveries
        Bills and tickets together, each once; those after the level are not looked at.
    tank : Tank
    today : datetime64[D]
        From which the bills' age counts.
    level : (datetime64[s], float, float), optional
        Instant, bulk litres and sd of the first level that is known. [l]

    Returns
    -------
    PastBurn or None
        None where the bills span less than two months.

    Notes
    -----
    Three spans are held against each other: from the first bill to the last; from the first fill to the
    last, which leaves less open; and from the first fill to the level. The one with the least relative
    spread counts.

    Examples
    --------
    >>> from forecaster.deliveries.tickets import parse_deliveries
    >>> from forecaster.fuel import KEROSENE
    >>> from forecaster.tanks.upright import UprightBox
    >>> tank = Tank(UprightBox(1800.0, 1200.0, 1300.0), KEROSENE, safe_fill_l=2600.0, heel_l=108.0)
    >>> rows = "at,litres,filled\n2023-01-10,900,yes\n2023-06-10,1200,yes\n2023-12-10,800,yes\n"
    >>> bills, _ = parse_deliveries(rows, tz="UTC")
    >>> burned_by_bills(bills, tank, today=np.datetime64("2024-01-01")).litres
    2000.0
    """
    until = today if level is None else level[0].astype("datetime64[D]")
    day, litres, filled = _by_day(bills, today=today, until=until)
    full = np.flatnonzero(filled)
    spans: list[PastBurn] = []
    for first, last in ((0, len(day) - 1), (full[0], full[-1]) if len(full) else (0, 0)):
        if last <= first:
            continue
        ends = FULL_ENDS_SD if filled[first] and filled[last] else UNKNOWN_SD
        put_in = float(litres[first + 1 : last + 1].sum())
        spans.append(PastBurn(day[first], day[last], put_in, ends * tank.capacity_l))
    if level is not None and len(full):
        gone = float(litres[full[0] + 1 :].sum()) + tank.safe_fill_l - level[1]
        spans.append(
            PastBurn(day[full[0]], until, gone, float(np.hypot(FILLED_SD * tank.capacity_l, level[2])))
        )
    aged = [
        _with_age(s, today) for s in spans if (s.last - s.first).astype(int) >= LEAST_DAYS and s.litres > 0
    ]
    return min(aged, key=lambda s: s.sd_l / s.litres, default=None)


def levels_by_tickets(deliveries: Deliveries, tank: Tank) -> ToldLevels:
    r"""Find the levels that tickets tell: by dips, by a fill, else by what fits into the tank.

    Parameters
    ----------
    deliveries : Deliveries
        Oil taken out is passed over.
    tank : Tank

    Returns
    -------
    ToldLevels
        A second before or after each delivery. A dip after it counts instead of ``filled``.

    Notes
    -----
    Of a ticket with neither dips nor fill only this is sure: what it brought stands on the heel and
    under the safe fill. That is told of the last ticket, where no other tells more.

    Examples
    --------
    >>> from forecaster.deliveries.tickets import parse_deliveries
    >>> from forecaster.fuel import KEROSENE
    >>> from forecaster.tanks.upright import UprightBox
    >>> tank = Tank(UprightBox(1800.0, 1200.0, 1300.0), KEROSENE, safe_fill_l=2600.0, heel_l=108.0)
    >>> rows = "at,litres,dip_before_mm,dip_after_mm\n2023-12-10T10:00:00Z,864,200,600\n"
    >>> told = levels_by_tickets(parse_deliveries(rows, tz="UTC")[0], tank)
    >>> told.litres, told.sd_l.round(1)
    (array([ 432., 1296.]), array([13., 13.]))
    >>> told = levels_by_tickets(parse_deliveries("at,litres\n2023-12-10T10:00:00Z,2000\n", tz="UTC")[0], tank)
    >>> told.litres, told.sd_l.round()
    (array([2354.]), array([142.]))
    """
    put_in = deliveries.where(~deliveries.removed)
    second = np.timedelta64(1, "s")
    before, before_sd = _dipped(put_in.dip_before_mm, tank)
    after, after_sd = _dipped(put_in.dip_after_mm, tank)
    filled = np.isnan(after) & (put_in.filled == "yes")
    after = np.where(filled, tank.safe_fill_l, after)
    after_sd = np.where(filled, FILLED_SD * tank.capacity_l, after_sd)
    if len(put_in) and np.isnan(before).all() and np.isnan(after).all():
        least = min(tank.heel_l + float(put_in.litres[-1]), tank.safe_fill_l)
        most = tank.safe_fill_l
        after[-1] = (least + most) / 2.0
        after_sd[-1] = np.hypot((most - least) / np.sqrt(12.0), FILLED_SD * tank.capacity_l * (least >= most))
    at = np.concatenate([put_in.at - second, put_in.at + second])
    litres, sd_l = np.concatenate([before, after]), np.concatenate([before_sd, after_sd])
    known = np.flatnonzero(~np.isnan(litres))
    order = known[np.argsort(at[known], kind="stable")]
    return ToldLevels(at[order], litres[order], sd_l[order])


def _dipped(dip_mm: Floats, tank: Tank) -> tuple[Floats, Floats]:
    """Litres at dips and their sd; nan where there is no dip, or one that this tank cannot have."""
    span = span_of(tank.shape)
    dip = np.where((dip_mm >= span.low_mm) & (dip_mm <= span.high_mm), dip_mm, np.nan)
    litres = tank.shape.litres(dip)
    a_cm = tank.shape.litres_per_cm(dip)
    return litres, np.hypot(a_cm * DIP_SD_MM / 10.0, tank.table_sd_fraction * litres)


def _by_day(
    bills: Deliveries, *, today: np.datetime64, until: np.datetime64
) -> tuple[npt.NDArray[np.datetime64], Floats, npt.NDArray[np.bool_]]:
    """Litres put in on each day with bills, and whether the tank was filled then."""
    date = bills.at.astype("datetime64[D]")
    held = (date <= until) & (date > today - np.timedelta64(round(365.25 * MOST_YEARS), "D"))
    signed = np.where(bills.removed, -bills.litres, bills.litres)[held]
    day, place = np.unique(date[held], return_inverse=True)
    litres, filled = np.zeros(len(day)), np.zeros(len(day), bool)
    np.add.at(litres, place, signed)
    np.logical_or.at(filled, place, (bills.filled == "yes")[held] & ~bills.removed[held])
    return day, litres, filled


def _with_age(burn: PastBurn, today: np.datetime64) -> PastBurn:
    """Widen what was burned by what bills leave open, and by how long ago it was."""
    middle = burn.first + (burn.last - burn.first) // 2
    years = (today - middle).astype(int) / 365.25
    relative = np.hypot(LITRES_SD, CHANGE_PER_YEAR * years)
    return PastBurn(burn.first, burn.last, burn.litres, float(np.hypot(burn.sd_l, relative * burn.litres)))
