"""Deliveries against the level, as a tank's table is learnt from them.

Flow     tickets against rises, dips of tickets -> **pours** -> learnt table
"""

import numpy as np

from forecaster.deliveries.bills import DIP_SD_MM
from forecaster.deliveries.rises import BASIS_SHARE, TicketCheck
from forecaster.deliveries.tickets import Deliveries
from forecaster.levels import Levels
from forecaster.screening.place import span_of
from forecaster.tanks import Pour, Tank

METER_SD = 0.005
"""A tanker's meter is held to half a per cent. Common practice, no source. [-]"""


def pours_of(
    checks: tuple[TicketCheck, ...], levels: Levels, deliveries: Deliveries, tank: Tank
) -> tuple[Pour, ...]:
    """Set out what each ticket filled, by the sensor's levels or by its own dips.

    Parameters
    ----------
    checks : tuple of TicketCheck
        Tickets against rises; one whose rise is missing, or cannot be told, says nothing of the table.
    levels : Levels
        From which the checks were made.
    deliveries : Deliveries
        Tickets, for those with dips before and after.
    tank : Tank
        Whose table made the levels.

    Returns
    -------
    tuple of Pour
    """
    by_sensor: set[int] = set()
    pours = []
    for check in checks:
        if check.missing or check.rose is None or not np.isfinite(check.rise_l):
            continue
        before, after = (_dip_at(levels, at) for at in check.rose)
        basis = METER_SD if check.is_observed else BASIS_SHARE
        sd = float(np.hypot(check.rise_sd_l, basis * check.ticket_l))
        pours.append(Pour(before, after, check.rise_l, check.ticket_l, sd))
        by_sensor.update(check.which)
    return (*pours, *_dipped(deliveries, tank, passed=by_sensor))


def _dip_at(levels: Levels, at: np.datetime64) -> float:
    """Dip of the last trusted level at an instant. [mm]"""
    found = np.flatnonzero((levels.at == at) & levels.trusted())
    return float(levels.dip_mm[found[-1]]) if len(found) else np.nan


def _dipped(deliveries: Deliveries, tank: Tank, *, passed: set[int]) -> list[Pour]:
    """Pours of the tickets that have both dips, and that no sensor saw."""
    span = span_of(tank.shape)
    found = []
    for i in np.flatnonzero(~deliveries.removed).tolist():
        ends = np.array([deliveries.dip_before_mm[i], deliveries.dip_after_mm[i]])
        if i in passed or not ((ends >= span.low_mm) & (ends <= span.high_mm)).all() or ends[1] <= ends[0]:
            continue
        low, high = tank.shape.litres(ends)
        ticket = float(deliveries.litres[i])
        basis = METER_SD if deliveries.basis[i] == "observed" else BASIS_SHARE
        dips = tank.shape.litres_per_cm(ends) * DIP_SD_MM / 10.0
        sd = float(np.sqrt((dips**2).sum() + (basis * ticket) ** 2))
        found.append(Pour(float(ends[0]), float(ends[1]), float(high - low), ticket, sd))
    return found
