"""What bills and tickets say without a sensor: litres of past spans, and levels at a ticket."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.deliveries import (
    Deliveries,
    burned_by_bills,
    levels_by_tickets,
    merge_receipts,
    parse_deliveries,
    parse_receipts,
)
from forecaster.fuel import KEROSENE
from forecaster.tanks import StrappingTable, Tank, UprightBox

TANK = Tank(UprightBox(2000.0, 1000.0, 1250.0), KEROSENE, safe_fill_l=2375.0, heel_l=100.0)
TODAY = np.datetime64("2024-03-01")


def tickets(*rows: str, columns: str = "at,litres,filled") -> Deliveries:
    """Tickets from rows."""
    return parse_deliveries("\n".join([columns, *rows]), tz="UTC")[0]


# ---- litres of past spans


def test_what_was_put_in_after_the_first_fill_was_burned() -> None:
    """Between two fills the later deliveries were burned, within some hundredths of the tank."""
    burn = burned_by_bills(
        tickets("2023-03-01,900,yes", "2023-09-01,700,no", "2024-02-01,1100,yes"), TANK, today=TODAY
    )
    assert burn is not None
    assert (str(burn.first), str(burn.last), burn.litres) == ("2023-03-01", "2024-02-01", 1800.0)
    assert 0.03 * 2500.0 <= burn.sd_l <= 0.04 * 2500.0


def test_unknown_fills_leave_more_open() -> None:
    """Without known fills the ends may differ by an eighth of the tank."""
    burn = burned_by_bills(tickets("2023-03-01,900,no", "2024-02-01,1100,unknown"), TANK, today=TODAY)
    assert burn is not None
    assert burn.litres == 1100.0
    assert burn.sd_l == pytest.approx(0.12 * 2500.0, rel=0.03)


def test_the_span_between_fills_is_preferred() -> None:
    """A fill to fill inside a longer row of bills counts instead of the whole, which leaves more open."""
    burn = burned_by_bills(
        tickets("2022-11-01,500,no", "2023-01-10,900,yes", "2024-01-20,1500,yes", "2024-02-20,500,no"),
        TANK,
        today=TODAY,
    )
    assert burn is not None
    assert (str(burn.first), str(burn.last), burn.litres) == ("2023-01-10", "2024-01-20", 1500.0)


def test_a_fill_and_the_first_level_are_two_levels() -> None:
    """From a fill to the first level the burn is what was put in since and what the level fell."""
    level = (np.datetime64("2024-02-10T06:00:00"), 1000.0, 12.0)
    burn = burned_by_bills(tickets("2023-09-01,900,yes", "2023-12-01,600,no"), TANK, today=TODAY, level=level)
    assert burn is not None
    assert burn.litres == 600.0 + 2375.0 - 1000.0
    assert str(burn.last) == "2024-02-10"


def test_bills_after_the_first_level_are_the_filters() -> None:
    """Nothing delivered after the first level is counted here: the filter takes it."""
    level = (np.datetime64("2023-08-10T06:00:00"), 1500.0, 12.0)
    rows = ("2022-09-01,900,unknown", "2023-03-01,700,unknown", "2023-12-01,800,unknown")
    burn = burned_by_bills(tickets(*rows), TANK, today=TODAY, level=level)
    assert burn is not None
    assert (burn.litres, str(burn.last)) == (700.0, "2023-03-01")


def test_two_months_are_too_short() -> None:
    """Bills that span less than two months, or one bill alone, tell no year."""
    assert burned_by_bills(tickets("2024-01-01,900,yes", "2024-02-20,500,yes"), TANK, today=TODAY) is None
    assert burned_by_bills(tickets("2023-01-01,900,yes"), TANK, today=TODAY) is None
    assert burned_by_bills(Deliveries.none(), TANK, today=TODAY) is None


def test_deliveries_of_one_day_are_one() -> None:
    """Two tickets of the first day both stand before the span."""
    rows = ("2023-01-01T09:00:00Z,900,no", "2023-01-01T15:00:00Z,300,yes", "2023-12-01T09:00:00Z,1000,yes")
    burn = burned_by_bills(tickets(*rows), TANK, today=TODAY)
    assert burn is not None
    assert burn.litres == 1000.0


def test_oil_taken_out_was_not_burned() -> None:
    """Litres pumped out are taken off what was burned."""
    rows = ("2023-01-01,900,yes,no", "2023-05-01,200,no,yes", "2023-12-01,1000,yes,no")
    burn = burned_by_bills(tickets(*rows, columns="at,litres,filled,removed"), TANK, today=TODAY)
    assert burn is not None
    assert burn.litres == 800.0


def test_old_bills_say_less_and_very_old_ones_nothing() -> None:
    """The same bills of four years earlier leave more open, and those of ten years ago are not looked at."""
    rows = ("{}-01-01,900,yes", "{}-12-01,2000,yes")
    spread = {}
    for year in (2023, 2019):
        burn = burned_by_bills(tickets(*(r.format(year) for r in rows)), TANK, today=TODAY)
        assert burn is not None
        spread[year] = burn.sd_l
    assert spread[2019] > 1.5 * spread[2023]
    assert burned_by_bills(tickets(*(r.format(2012) for r in rows)), TANK, today=TODAY) is None


def test_a_bill_and_its_ticket_count_once() -> None:
    """The same litres on the same day in both files are burned once."""
    own = tickets("2023-01-01,900,yes", "2023-12-01,1000,yes")
    bills, _ = parse_receipts(
        "date,litres,filled\n2023-01-01,900,yes\n2023-06-01,400,no\n2023-12-01,1000,yes\n"
    )
    burn = burned_by_bills(merge_receipts(own, bills, tz="UTC"), TANK, today=TODAY)
    assert burn is not None
    assert burn.litres == 1400.0


# ---- levels at a ticket


def test_dips_of_a_ticket_are_two_levels() -> None:
    """A dip before and a dip after stand a second before and after the delivery, by the tank's table."""
    told = levels_by_tickets(
        tickets("2024-01-10T10:00:00Z,800,200,600", columns="at,litres,dip_before_mm,dip_after_mm"), TANK
    )
    assert told.litres.tolist() == [400.0, 1200.0]
    assert [str(t)[-8:] for t in told.at] == ["09:59:59", "10:00:01"]
    assert (told.sd_l == 12.0).all()


def test_a_dip_counts_before_a_word() -> None:
    """Where a ticket says filled and has a dip after it, the dip counts."""
    told = levels_by_tickets(
        tickets("2024-01-10T10:00:00Z,800,yes,1100", columns="at,litres,filled,dip_after_mm"), TANK
    )
    assert told.litres.tolist() == [2200.0]


def test_a_fill_stands_at_the_safe_fill() -> None:
    """Without a dip a filled tank stands at its safe fill, within a twentieth of its capacity."""
    told = levels_by_tickets(tickets("2024-01-10,800,yes", "2024-02-10,300,no"), TANK)
    assert (told.litres.tolist(), told.sd_l.tolist()) == ([2375.0], [125.0])


def test_a_dip_that_the_tank_cannot_have_tells_nothing() -> None:
    """A dip above the top, or below a table's first row, is left out."""
    columns = "at,litres,filled,dip_before_mm,dip_after_mm"
    told = levels_by_tickets(tickets("2024-01-10,800,yes,100,1300", columns=columns), TANK)
    assert told.litres.tolist() == [200.0, 2375.0]
    table = Tank(StrappingTable((150.0, 1250.0), (300.0, 2500.0)), KEROSENE, safe_fill_l=2300.0, heel_l=300.0)
    told = levels_by_tickets(tickets("2024-01-10,800,yes,100,", columns=columns), table)
    assert told.litres.tolist() == [2300.0]


def test_of_unknown_tickets_only_the_last_tells_what_must_fit() -> None:
    """What the last ticket brought stands between the heel and the safe fill; the band says no more than that."""
    told = levels_by_tickets(tickets("2023-10-01,1500,no", "2024-01-10,1200,unknown"), TANK)
    assert len(told) == 1
    low, high = told.litres[0] - np.sqrt(3) * told.sd_l[0], told.litres[0] + np.sqrt(3) * told.sd_l[0]
    assert (low, high) == (pytest.approx(1300.0), pytest.approx(2375.0))


def test_more_than_fits_is_a_full_tank() -> None:
    """A ticket of more than the tank holds leaves it at its safe fill, with the spread of a fill."""
    told = levels_by_tickets(tickets("2024-01-10,3000,unknown"), TANK)
    assert (told.litres.tolist(), told.sd_l.tolist()) == ([2375.0], [125.0])


def test_without_tickets_nothing_is_told() -> None:
    """No ticket tells no level, nor does oil that was taken out."""
    assert len(levels_by_tickets(Deliveries.none(), TANK)) == 0
    out = tickets("2024-01-10,500,yes", columns="at,litres,removed")
    assert len(levels_by_tickets(out, TANK)) == 0


@given(
    st.lists(
        st.tuples(
            st.integers(0, 400), st.floats(1.0, 3000.0), st.sampled_from(["yes", "no", "unknown", ""]),
            st.sampled_from(["", "0", "300", "1250", "1251", "4000"]), st.sampled_from(["", "90", "1250"]),
        ),
        max_size=6,
    )
)  # fmt: skip
def test_told_levels_are_in_order_and_in_the_tank(rows: list[tuple[int, float, str, str, str]]) -> None:
    """Whatever tickets say, the levels they tell rise in time, lie in the tank and have a spread."""
    lines = [
        f"{np.datetime64('2023-01-01') + day}T12:00:00Z,{litres},{filled},{before},{after}"
        for day, litres, filled, before, after in rows
    ]
    told = levels_by_tickets(tickets(*lines, columns="at,litres,filled,dip_before_mm,dip_after_mm"), TANK)
    assert (np.diff(told.at) >= np.timedelta64(0, "s")).all()
    assert ((told.litres >= 0) & (told.litres <= TANK.capacity_l)).all()
    assert (told.sd_l > 0).all()
