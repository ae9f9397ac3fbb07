"""Deliveries against the level, as a table is learnt from them."""

import numpy as np
import pytest

from forecaster.deliveries import Deliveries, check_tickets, parse_deliveries, pours_of
from forecaster.fuel import KEROSENE
from forecaster.levels import Levels, to_levels
from forecaster.readings import parse_readings
from forecaster.tanks import Pour, Tank, UprightBox

TANK = Tank(UprightBox(1000.0, 1000.0, 1200.0), KEROSENE, safe_fill_l=1140.0, heel_l=50.0)
DIPS = (400, 390, 390, 380, 370, 770, 770, 760, 750, 750)


def seen() -> Levels:
    """Ten daily levels with a rise of 400 mm, a millimetre a litre."""
    rows = [f"2024-01-{10 + i}T06:00Z,{mm}" for i, mm in enumerate(DIPS)]
    readings = parse_readings("\n".join(["at,dip_mm", *rows])).readings
    return to_levels(readings, TANK, flags=np.zeros(len(DIPS), np.int64))


def tickets(*rows: str) -> Deliveries:
    """Tickets from rows."""
    text = "\n".join(["at,litres,basis,dip_before_mm,dip_after_mm", *rows])
    return parse_deliveries(text, tz="UTC")[0]


def pours(*rows: str, levels: Levels | None = None) -> tuple[Pour, ...]:
    """Pours of the tickets beside the levels."""
    levels = seen() if levels is None else levels
    deliveries = tickets(*rows)
    return pours_of(check_tickets(levels, deliveries), levels, deliveries, TANK)


def test_a_ticket_with_its_rise_is_a_pour() -> None:
    """Dips are those around the rise, litres those of rise and ticket."""
    (pour,) = pours("2024-01-14T11:00Z,410,observed,,")
    assert (pour.dip_before_mm, pour.dip_after_mm, pour.ticket_l) == (370.0, 770.0, 410.0)
    assert pour.rise_l == pytest.approx(405.0, abs=10.0)
    assert 4.0 < pour.sd_l < 10.0


def test_litres_of_unknown_basis_say_less() -> None:
    """A ticket that does not say at what temperature its litres are counts with 1.5 % more of error."""
    (known,), (unknown,) = pours("2024-01-14T11:00Z,410,observed,,"), pours("2024-01-14T11:00Z,410,,,")
    assert unknown.sd_l**2 - known.sd_l**2 == pytest.approx((0.015**2 - 0.005**2) * 410.0**2)


def test_a_ticket_without_its_rise_says_nothing_of_the_table() -> None:
    """A delivery that never arrived is no pour."""
    assert pours("2024-01-12T11:00Z,500,observed,,", "2024-01-14T11:00Z,410,observed,,")[0].ticket_l == 410.0
    assert len(pours("2024-01-17T11:00Z,500,observed,,")) == 0


def test_dips_of_a_ticket_count_where_no_sensor_saw_it() -> None:
    """A ticket with both dips is a pour of its own; with a sensor beside it the sensor's counts."""
    none = seen().where(np.zeros(len(DIPS), bool))
    (pour,) = pours("2024-01-14T11:00Z,410,observed,360,760", levels=none)
    assert pour == Pour(360.0, 760.0, 400.0, 410.0, pytest.approx(np.hypot(6.0 * np.sqrt(2), 0.005 * 410.0)))
    (by_sensor,) = pours("2024-01-14T11:00Z,410,observed,360,760")
    assert by_sensor.dip_before_mm == 370.0


def test_dips_that_cannot_be_say_nothing() -> None:
    """Dips above the top, or falling during a delivery, are no pour."""
    none = seen().where(np.zeros(len(DIPS), bool))
    assert pours("2024-01-14T11:00Z,410,observed,800,1300", levels=none) == ()
    assert pours("2024-01-14T11:00Z,410,observed,760,360", levels=none) == ()
