"""Deliveries: tickets are read strictly and held against what the level says."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.deliveries import (
    Deliveries,
    Receipts,
    TicketCheck,
    check_tickets,
    find_rises,
    merge_receipts,
    parse_deliveries,
    parse_receipts,
    put_where_seen,
)
from forecaster.errors import DeliveriesError
from forecaster.fuel import KEROSENE
from forecaster.levels import Levels, to_levels
from forecaster.readings import Quantity, Readings
from forecaster.screening import screen_readings
from forecaster.tanks import Tank
from forecaster.tanks.upright import UprightBox

TANK = Tank(
    UprightBox(1800.0, 1200.0, 1300.0),  # 21.6 l a centimetre, 2,808 l
    KEROSENE,
    safe_fill_l=2600.0,
    heel_l=108.0,
    sensor_height_mm=1350.0,
    dead_band_mm=150.0,
)
START = np.datetime64("2024-01-01T06:00:00")
DAY = np.timedelta64(86400, "s")


def tickets(text: str, **more: str) -> tuple[Deliveries, list[tuple[str, str, int | None]]]:
    """Parse tickets in London's zone; what was said of each bad cell, and that a mend was given."""
    deliveries, problems = parse_deliveries(text, tz="Europe/London", **more)
    assert all(p.mend for p in problems)
    return deliveries, [(p.code, p.field, p.row) for p in problems]


def levels_of(litres: list[float] | np.ndarray, *, hours: float = 24.0) -> Levels:
    """Levels of a 1 cm ultrasonic sensor over a tank with so many litres, at even spacing."""
    n = len(litres)
    at = START + (np.arange(n) * hours * 3600).astype("timedelta64[s]")
    ullage = np.round((1350.0 - np.array(litres) / 2.16) / 10.0) * 10.0
    nan = np.full(n, np.nan)
    readings = Readings(at, np.full(n, Quantity.ULLAGE_MM.value), ullage, nan, nan)
    return to_levels(readings, TANK, flags=screen_readings(readings, TANK))


def house(*deliveries: tuple[int, float], days: int = 20, start: float = 700.0, burn: float = 9.0) -> Levels:
    """Daily levels of a house that burns evenly and gets litres before the reading of given days."""
    litres = start - burn * np.arange(days)
    for day, added in deliveries:
        litres[day:] += added
    return levels_of(litres)


def ticket_on(*tickets: tuple[float, float], removed: bool = False, basis: str = "observed") -> Deliveries:
    """Tickets at so many days after the start."""
    n = len(tickets)
    return Deliveries(
        at=START + np.array([int(d * 86400) for d, _ in tickets], "timedelta64[s]"),
        litres=np.array([litres for _, litres in tickets]),
        filled=np.full(n, "no"),
        removed=np.full(n, removed),
        basis=np.full(n, basis),
        dip_before_mm=np.full(n, np.nan),
        dip_after_mm=np.full(n, np.nan),
    )


def test_tickets_are_read_with_all_their_cells() -> None:
    """A full ticket keeps its time, litres, filling, basis and dips."""
    deliveries, said = tickets(
        "at;litres;filled;dip_before_mm;dip_after_mm;product;price;basis;ticket;driver\n"
        "2024-03-02 10:30;1200,5;yes;200;760;kerosene;812,40;15c;A-17;Sam\n"
        "2024-01-10T10:30:00Z;500;;;;;;;;\n",
        decimal=",",
    )
    assert said == []
    assert [str(t) for t in deliveries.at] == ["2024-01-10T10:30:00", "2024-03-02T10:30:00"]
    assert deliveries.litres.tolist() == [500.0, 1200.5]
    assert deliveries.filled.tolist() == ["unknown", "yes"]
    assert deliveries.basis.tolist() == ["unknown", "15c"]
    assert deliveries.dip_after_mm[1] == 760.0
    assert np.isnan(deliveries.dip_before_mm[0])
    assert not deliveries.removed.any()


@pytest.mark.parametrize(
    ("cell", "code"),
    [("0", "zero"), ("-500", "negative"), ("1e7", "too_large"), ("", "no_value"), ("nan", "not_a_number"),
     ("1,000", "not_a_number"), ("500 l", "not_a_number"), ("1e400", "not_a_number")],
)  # fmt: skip
def test_litres_that_no_delivery_has_are_refused(cell: str, code: str) -> None:
    """Zero, negative, huge and unreadable litres cost the row, and the other rows are kept."""
    deliveries, said = tickets(f'at,litres\n2024-01-10,"{cell}"\n2024-02-10,900\n')
    assert said == [(code, "litres", 2)]
    assert deliveries.litres.tolist() == [900.0]


@pytest.mark.parametrize(
    ("cell", "code"),
    [("10/01/2024", "not_a_time"), ("2024-02-30", "not_a_time"), ("1704866400", "epoch"), ("", "no_value"),
     ("2124-01-10", "out_of_years"), ("1999-01-10T10:00Z", "out_of_years"),
     ("2024-03-31 01:30", "no_offset")],
)  # fmt: skip
def test_time_that_is_none_is_refused(cell: str, code: str) -> None:
    """A ticket without a usable time is set aside by name."""
    deliveries, said = tickets(f"at,litres\n{cell},500\n2024-02-10,900\n")
    assert said == [(code, "at", 2)]
    assert len(deliveries) == 1


def test_day_without_an_hour_is_noon_of_the_zone() -> None:
    """A ticket that gives only its day is taken at noon there."""
    deliveries, _ = parse_deliveries("at,litres\n2024-07-10,500\n", tz="Europe/Berlin")
    assert str(deliveries.at[0]) == "2024-07-10T10:00:00"


def test_oil_taken_out_is_a_row_of_its_own() -> None:
    """Oil taken out is marked, never a negative delivery; a word that says neither costs the row."""
    deliveries, said = tickets(
        "at,litres,removed\n2024-01-10,500,yes\n2024-01-11,900,\n2024-01-12,900,perhaps\n"
    )
    assert deliveries.removed.tolist() == [True, False]
    assert said == [("bad_word", "removed", 4)]


@pytest.mark.parametrize("product", ["petrol", "diesel", "HVO?"])
def test_other_oil_than_heating_oil_is_refused(product: str) -> None:
    """A ticket for another product is no delivery of heating oil."""
    deliveries, said = tickets(f"at,litres,product\n2024-01-10,500,{product}\n2024-02-10,500,Kerosene\n")
    assert said == [("no_heating_oil", "product", 2)]
    assert len(deliveries) == 1


@pytest.mark.parametrize(
    ("field", "cell", "code"),
    [("price", "1.23.4", "bad_price"), ("price", "1e308", "bad_price"), ("price", "-1", "bad_price"),
     ("filled", "maybe", "bad_word"), ("basis", "60F", "bad_word"), ("dip_after_mm", "-3", "bad_dip"),
     ("dip_before_mm", "half", "bad_dip")],
)  # fmt: skip
def test_bad_side_cell_costs_only_itself(field: str, cell: str, code: str) -> None:
    """A price, word or dip that cannot be is reported, and its ticket kept."""
    deliveries, said = tickets(f"at,litres,{field}\n2024-01-10,500,{cell}\n")
    assert said == [(code, field, 2)]
    assert deliveries.litres.tolist() == [500.0]


def test_ticket_entered_twice_counts_once() -> None:
    """The same ticket number with the same content counts once; with other content it is a conflict."""
    deliveries, said = tickets(
        "at,litres,ticket\n2024-01-10,500,A1\n2024-01-10,500,A1\n2024-01-10,600,A1\n2024-01-10,500,A2\n"
    )
    assert said == [("ticket_twice", "ticket", 3), ("conflict", "ticket", 4)]
    assert deliveries.litres.tolist() == [500.0, 500.0]


def test_same_row_without_a_number_counts_once() -> None:
    """Without numbers, the same instant and litres are one delivery; other litres are another."""
    deliveries, said = tickets("at,litres\n2024-01-10,500\n2024-01-10,500\n2024-01-10,700\n")
    assert said == [("ticket_twice", "ticket", 3)]
    assert deliveries.litres.tolist() == [500.0, 700.0]


@pytest.mark.parametrize("data", ["", "when,litres\n", "at,amount\n", b"\xff\xfe"])
def test_file_that_holds_no_tickets_is_refused(data: str | bytes) -> None:
    """Without the needed columns nothing is guessed."""
    with pytest.raises(DeliveriesError):
        parse_deliveries(data, tz="UTC")
    with pytest.raises(DeliveriesError):
        parse_receipts(data)


def test_unknown_zone_is_refused() -> None:
    """A zone that does not exist is named."""
    with pytest.raises(DeliveriesError, match="Europe/Nowhere"):
        parse_deliveries("at,litres\n", tz="Europe/Nowhere")


def test_no_delivery_yet_is_no_error() -> None:
    """A file with only its header holds no deliveries, and that is fine."""
    deliveries, said = tickets("at,litres\n")
    assert (len(deliveries), said, len(Deliveries.none())) == (0, [], 0)


def test_receipts_are_read_by_day() -> None:
    """Bills come out by day; bad ones are named."""
    receipts, problems = parse_receipts(
        "date,litres,filled,supplier\n2023-10-02,1000,yes,x\n2023-02-01,500,,y\n2023-02-30,500,,\n"
        "2023-03-01,-5,,\n1970-01-01,500,,\n2023-04-01,500,full,\n"
    )
    assert receipts.date.astype(str).tolist() == ["2023-02-01", "2023-04-01", "2023-10-02"]
    assert receipts.filled.tolist() == ["unknown", "unknown", "yes"]
    assert [(p.code, p.row) for p in problems] == [
        ("not_a_date", 4), ("negative", 5), ("not_a_date", 6), ("bad_word", 7),
    ]  # fmt: skip


def test_bill_and_ticket_of_one_day_and_litres_count_once() -> None:
    """Bills that repeat a ticket add nothing; others are deliveries of unknown basis at noon."""
    deliveries, _ = tickets("at,litres,filled\n2024-07-10T22:30:00Z,899.6,yes\n2024-03-01,500,no\n")
    receipts, _ = parse_receipts("date,litres\n2024-07-10,900\n2024-03-01,700\n2023-01-05,1000\n")
    merged = merge_receipts(deliveries, receipts, tz="Europe/London")
    assert merged.litres.tolist() == [1000.0, 500.0, 700.0, 899.6]
    assert [str(t)[:13] for t in merged.at[:3]] == ["2023-01-05T12", "2024-03-01T12", "2024-03-01T12"]
    assert merged.basis.tolist() == ["unknown"] * 4


def test_day_of_a_ticket_is_that_of_the_tank() -> None:
    """A delivery late on the tenth in Auckland is the tenth there, the ninth or tenth elsewhere."""
    deliveries, _ = parse_deliveries("at,litres\n2024-07-10T01:00:00+12:00,500\n", tz="Pacific/Auckland")
    receipts, _ = parse_receipts("date,litres\n2024-07-10,500\n")
    assert len(merge_receipts(deliveries, receipts, tz="Pacific/Auckland")) == 1
    assert len(merge_receipts(deliveries, receipts, tz="Europe/London")) == 2


def test_each_ticket_answers_for_one_bill() -> None:
    """Two bills of one day beside one ticket are two deliveries."""
    deliveries, _ = tickets("at,litres\n2024-03-01,500\n")
    receipts, _ = parse_receipts("date,litres\n2024-03-01,500\n2024-03-01,500\n")
    assert len(merge_receipts(deliveries, receipts, tz="Europe/London")) == 2
    taken_out = ticket_on((60.25, 500.0), removed=True)
    assert len(merge_receipts(taken_out, receipts, tz="Europe/London")) == 3


@given(
    st.lists(st.tuples(st.integers(0, 5), st.integers(1, 3)), max_size=6),
    st.lists(st.tuples(st.integers(0, 5), st.integers(1, 3)), max_size=6),
)
def test_merging_counts_each_delivery_as_often_as_it_is_told(
    told: list[tuple[int, int]], billed: list[tuple[int, int]]
) -> None:
    """For each day and litres, the merged count is the larger of tickets and bills."""
    day = [date(2024, 1, 1) + timedelta(days=i) for i in range(6)]
    deliveries = ticket_on(*[(d, 100.0 * litres) for d, litres in told])
    receipts = Receipts(
        np.array([day[d] for d, _ in billed], "datetime64[D]"),
        np.array([100.0 * litres for _, litres in billed]),
        np.full(len(billed), "unknown"),
    )
    merged = merge_receipts(deliveries, receipts, tz="UTC")
    both = list(zip((merged.at - START.astype("datetime64[D]")) // DAY, merged.litres / 100.0, strict=True))
    for key in {*told, *billed}:
        assert both.count(key) == max(told.count(key), billed.count(key))


@given(st.text(max_size=60))
def test_any_text_gives_tickets_or_problems(text: str) -> None:
    """No text makes the reader fail, and the good row stays."""
    try:
        deliveries, _ = parse_deliveries("at,litres,filled\n2024-01-10,512,yes\n" + text, tz="Europe/London")
    except DeliveriesError:
        return
    assert 512.0 in deliveries.litres


def test_rise_without_a_ticket_is_found() -> None:
    """A delivery nobody entered is found between the two levels, within its stated spread."""
    (rise,) = find_rises(house((10, 900.0)), Deliveries.none())
    assert (rise.before, rise.after) == (START + 9 * DAY, START + 10 * DAY)
    assert rise.at == START + 9 * DAY + DAY // 2
    assert abs(rise.litres - 900.0) < 3.0 * rise.sd_l < 60.0
    assert rise.confirmed
    assert not rise.at_least


def test_rise_with_its_ticket_is_not_asked_about() -> None:
    """A ticket near the rise explains it, also with the day alone or a day off."""
    for when in (9.5, 9.25, 8.6, 11.2):
        assert find_rises(house((10, 900.0)), ticket_on((when, 900.0))) == ()
    assert len(find_rises(house((10, 900.0)), ticket_on((3.0, 900.0)))) == 1


def test_small_rises_are_not_deliveries() -> None:
    """Fifty litres or six sigma are not exceeded by a sensor's step or warm oil."""
    assert find_rises(house((10, 40.0)), Deliveries.none()) == ()
    assert find_rises(levels_of([700.0, 680.0, 705.0, 690.0, 700.0]), Deliveries.none()) == ()


def test_rise_that_does_not_stay_is_no_delivery() -> None:
    """Two wild readings in a row are no delivery once the level is back."""
    litres = [700.0, 690.0, 1400.0, 680.0, 1390.0, 670.0, 660.0, 650.0]
    assert find_rises(levels_of(litres), Deliveries.none()) == ()


@pytest.mark.parametrize("echoes", [(1084.0, 1017.0), (265.0, 662.0)], ids=["two_high", "two_low"])
def test_two_false_echoes_in_a_row_are_no_delivery(echoes: tuple[float, float]) -> None:
    """Of a sensor that reads every six hours, two false echoes high or low in a row make no rise."""
    litres = np.full(40, 556.0) - 0.5 * np.arange(40)
    litres[20:22] = echoes
    assert find_rises(levels_of(litres, hours=6.0), Deliveries.none()) == ()


def test_a_false_low_echo_after_a_silence_is_no_level_to_rise_from() -> None:
    """A house that is silent for two weeks, shows one low level and then goes on as before has had no delivery."""
    steady, hours = [800.0, 797.0, 793.0, 790.0], 24.0
    found = levels_of([*steady, 70.0, 786.0, 783.0, 780.0], hours=hours)
    gap = np.where(np.arange(len(found)) >= len(steady), np.timedelta64(13, "D"), np.timedelta64(0, "D"))
    assert find_rises(replace(found, at=found.at + gap), Deliveries.none()) == ()


def test_the_litres_of_a_rise_come_from_many_steps() -> None:
    """Through a sensor with steps of 21.6 litres the litres are right to half a step, as ten days average it."""
    true = [2000.0 - 7.0 * day + (500.0 if day > 12 else 0.0) for day in range(24)]
    (rise,) = find_rises(levels_of(true), Deliveries.none())
    assert rise.litres == pytest.approx(500.0, abs=10.0)


def test_newest_rise_is_told_as_unconfirmed() -> None:
    """A rise that only the last level shows is a delivery not yet confirmed."""
    (rise,) = find_rises(house((19, 900.0)), Deliveries.none())
    assert not rise.confirmed


def test_delivery_seen_while_it_runs_is_one() -> None:
    """Readings an hour apart in the middle of a delivery see one delivery, not two."""
    litres = 700.0 - 0.4 * np.arange(60.0)
    litres[30:] += 400.0
    litres[31:] += 500.0
    (rise,) = find_rises(levels_of(litres, hours=1.0), Deliveries.none())
    assert rise.litres == pytest.approx(900.0, abs=3.0 * rise.sd_l)


def test_two_deliveries_are_two() -> None:
    """Deliveries days apart are found each with its size."""
    rises = find_rises(house((6, 500.0), (12, 900.0)), Deliveries.none())
    assert [round(r.litres, -2) for r in rises] == [500.0, 900.0]


def test_fill_into_the_dead_band_is_at_least() -> None:
    """A tank filled to where the sensor is blind rose by at least so much, and no ratio is told."""
    litres = np.array([700.0, 690.0, 680.0, 2650.0, 2640.0, 2630.0, 2620.0])
    (rise,) = find_rises(levels_of(litres), Deliveries.none())
    assert rise.at_least
    (check,) = check_tickets(levels_of(litres), ticket_on((2.5, 1970.0)))
    assert np.isnan(check.rise_l)
    assert (check.missing, check.agrees, str(check)) == (False, True, "ticket 1,970 l, rise not seen")


def test_ticket_and_rise_are_told_side_by_side() -> None:
    """Where they agree, ticket and rise come out with the rise's spread."""
    (check,) = check_tickets(house((10, 1000.0)), ticket_on((9.5, 1000.0)))
    assert check.agrees
    assert not check.missing
    assert check.ratio == pytest.approx(1.0, abs=0.04)
    assert str(check) == f"ticket 1,000 l, rise {check.rise_l:,.0f} ± {check.rise_sd_l:,.0f} l"


@pytest.mark.parametrize("basis", ["observed", "unknown"])
def test_rise_of_other_size_than_the_ticket_does_not_agree(basis: str) -> None:
    """900 l that raise the level by 780 l speak against the tank's shape."""
    (check,) = check_tickets(house((10, 780.0)), ticket_on((9.5, 900.0), basis=basis))
    assert not check.agrees
    assert not check.missing


def test_basis_that_is_not_observed_widens_the_bounds() -> None:
    """A rise 6 % off may be the temperature where the ticket does not say observed litres."""
    sure = TicketCheck(START, 1000.0, 940.0, 10.0, missing=False, is_observed=True)
    unsure = TicketCheck(START, 1000.0, 940.0, 10.0, missing=False)
    assert (sure.agrees, unsure.agrees) == (False, True)


def test_ticket_without_a_rise_is_missing_at_the_second_level_after() -> None:
    """Nothing is said at the first level after settling, and the missing rise at the second."""
    one, two = house(days=11), house(days=12)
    ticket = ticket_on((9.3, 500.0))
    assert check_tickets(one, ticket) == ()
    (check,) = check_tickets(two, ticket)
    assert check.missing
    assert not check.agrees
    assert abs(check.rise_l) < 3.0 * check.rise_sd_l


def test_far_too_small_a_rise_is_missing() -> None:
    """A rise of 200 l for a ticket of 900 l is as good as none."""
    (check,) = check_tickets(house((10, 200.0)), ticket_on((9.5, 900.0)))
    assert check.missing


def test_small_ticket_below_the_rise_limit_is_compared_directly() -> None:
    """Forty litres from cans are neither found as a rise nor called missing."""
    (check,) = check_tickets(house((10, 40.0)), ticket_on((9.5, 40.0)))
    assert not check.missing
    assert check.rise_l == pytest.approx(40.0, abs=3.0 * check.rise_sd_l)


def test_two_tickets_of_one_rise_are_added() -> None:
    """Two drops between two readings are held together against the one rise."""
    (check,) = check_tickets(house((10, 1400.0)), ticket_on((9.3, 900.0), (9.5, 500.0)))
    assert (check.tickets, check.ticket_l, check.agrees) == (2, 1400.0, True)


def test_second_ticket_of_a_rise_that_one_explains_is_missing() -> None:
    """A ticket entered to the wrong tank beside a right one has no rise of its own."""
    right, wrong = check_tickets(house((10, 900.0)), ticket_on((9.5, 900.0), (9.8, 600.0)))
    assert (right.missing, wrong.missing) == (False, True)


def test_ticket_outside_the_levels_is_not_judged() -> None:
    """Before the first level and after the last, nothing is said of a ticket."""
    assert check_tickets(house(), ticket_on((-3.0, 500.0), (40.0, 500.0))) == ()


def test_oil_taken_out_is_not_held_against_a_rise() -> None:
    """Oil taken out neither explains a rise nor misses one."""
    taken = ticket_on((9.5, 900.0), removed=True)
    assert check_tickets(house((10, 900.0)), taken) == ()
    assert len(find_rises(house((10, 900.0)), taken)) == 1


def test_without_levels_there_is_nothing_to_find() -> None:
    """An empty series, a single level and one without an echo give no rises and no checks."""
    for levels in (levels_of([]), levels_of([700.0]), levels_of([700.0, 700.0]).where(np.zeros(2, bool))):
        assert find_rises(levels, ticket_on((9.5, 900.0))) == ()
        assert check_tickets(levels, ticket_on((9.5, 900.0))) == ()


def test_expected_burn_replaces_the_average() -> None:
    """Over a long gap the burn that was expected is added to the rise."""
    litres = np.array([1500.0, 1490.0, 1480.0, 1180.0 + 500.0, 1670.0, 1660.0])
    levels = levels_of(litres)
    burn = np.array([0.0, 10.0, 20.0, 320.0, 330.0, 340.0])
    (rise,) = find_rises(levels, Deliveries.none(), expected_burn_l=burn)
    assert rise.litres == pytest.approx(500.0, abs=15.0)


@given(
    day=st.integers(4, 15),
    litres=st.floats(150.0, 1500.0),
    burn=st.floats(0.0, 20.0),
    off=st.floats(-1.0, 1.0),
)
def test_any_delivery_is_found_or_matched(day: int, litres: float, burn: float, off: float) -> None:
    """Every delivery of 150 l or more is one rise without its ticket and agrees with it."""
    levels = house((day, litres), burn=burn)
    (rise,) = find_rises(levels, Deliveries.none())
    assert rise.litres == pytest.approx(litres, abs=4.0 * rise.sd_l)
    ticket = ticket_on((day - 0.5 + off, litres))
    assert find_rises(levels, ticket) == ()
    (check,) = check_tickets(levels, ticket)
    assert not check.missing


@given(burn=st.floats(0.0, 20.0), seed=st.integers(0, 2**32 - 1))
def test_burning_alone_is_no_delivery(burn: float, seed: int) -> None:
    """Steady burning under 4 mm of chance raises no question."""
    chance = np.random.default_rng(seed).normal(0.0, 4.0 * 2.16, 60)
    assert find_rises(levels_of(1500.0 - burn * np.arange(60) + chance), Deliveries.none()) == ()


def test_a_ticket_is_put_where_the_level_rose():
    """A ticket whose hour lies outside the rise moves into it; one without a rise is left out."""
    at = np.array(["2024-01-05T12:00", "2024-01-20T12:00"], "datetime64[s]")
    deliveries = parse_deliveries("at,litres\n2024-01-05T12:00Z,500\n2024-01-20T12:00Z,400\n", tz="UTC")[0]
    rose = (np.datetime64("2024-01-06T06:00:00"), np.datetime64("2024-01-07T06:00:00"))
    checks = [
        TicketCheck(at[0], 500.0, 495.0, 9.0, missing=False, which=(0,), rose=rose),
        TicketCheck(at[1], 400.0, 0.0, 9.0, missing=True, which=(1,)),
    ]
    put = put_where_seen(deliveries, checks)
    assert put.at.tolist() == [np.datetime64("2024-01-06T18:00:00").item()]
    assert put.litres.tolist() == [500.0]


def test_a_false_reading_in_a_delivery_does_not_hide_it():
    """A reading half-way up on the morning of a delivery leaves one rise, which the ticket explains."""
    litres = np.array([560.0, 550.0, 540.0, 840.0, 1030.0, 1022.0, 1014.0])
    levels = levels_of(litres)
    deliveries = parse_deliveries("at,litres\n2024-01-04T12:00Z,500\n", tz="UTC")[0]
    assert find_rises(levels, deliveries) == ()
    (check,) = check_tickets(levels, deliveries)
    assert not check.missing
    assert check.agrees
