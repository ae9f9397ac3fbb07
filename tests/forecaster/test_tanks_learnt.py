"""A table learnt from tickets: it goes to the truth, no faster than the tickets allow, and stays a table."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.fuel import KEROSENE
from forecaster.tanks import Moulded, Pour, Shape, StrappingTable, Tank, UprightBox, learn_table

TANK = Tank(
    Moulded(1300.0, 1200.0), KEROSENE, safe_fill_l=1235.0, heel_l=45.0, sensor_height_mm=1250.0,
    table_sd_fraction=0.05,
)  # fmt: skip
HEIGHTS = np.linspace(0.0, 1200.0, 601)


def waisted() -> StrappingTable:
    """The true inside of a waisted tank: narrower in the middle, wider below, 3 % more in all."""
    surface = 1.0 + 0.08 * np.cos(4.0 * np.pi * HEIGHTS / 1200.0) + 0.03
    nominal = TANK.shape.litres(HEIGHTS)
    litres = np.concatenate([[0.0], np.cumsum(np.diff(nominal) * (surface[1:] + surface[:-1]) / 2.0)])
    return StrappingTable(tuple(HEIGHTS), tuple(litres))


def pour(true: Shape, before: float, after: float, *, error_l: float = 0.0, sd_l: float = 12.0) -> Pour:
    """A delivery between two dips: litres by the tank's table and litres that really went in."""
    rise = float(TANK.shape.litres(after) - TANK.shape.litres(before))
    return Pour(before, after, rise, float(true.litres(after) - true.litres(before)) + error_l, sd_l)


def many(true: Shape, count: int, *, seed: int = 1) -> list[Pour]:
    """Deliveries of changing size, with tickets that err by about a litre in a hundred."""
    rng = np.random.default_rng(seed)
    before = rng.uniform(80.0, 600.0, count)
    after = np.minimum(before + rng.uniform(250.0, 800.0, count), 1140.0)
    return [pour(true, a, b, error_l=rng.normal(0.0, 12.0)) for a, b in zip(before, after, strict=True)]


def test_without_tickets_the_tank_is_as_it_was() -> None:
    """No ticket changes nothing: not the shape, not the limits, not the error."""
    assert learn_table(TANK, []).tank is TANK


def test_an_exact_table_is_not_corrected() -> None:
    """A tank whose table has no error learns nothing from tickets."""
    exact = replace(TANK, table_sd_fraction=0.0)
    assert learn_table(exact, many(waisted(), 5)).tank is exact


def test_many_tickets_lead_to_the_truth() -> None:
    """After sixty deliveries each rise in the heights that they filled is true within 3 %, 5 % off before."""
    true = waisted()
    learnt = learn_table(TANK, many(true, 60)).tank
    low, high = np.meshgrid([200.0, 350.0, 500.0], [800.0, 950.0, 1100.0])

    def off(shape: Shape) -> float:
        ratio = (shape.litres(high) - shape.litres(low)) / (true.litres(high) - true.litres(low))
        return float(np.abs(ratio - 1.0).max())

    assert off(learnt.shape) < 0.03
    assert off(TANK.shape) > 0.05


def test_the_error_left_holds_the_truth() -> None:
    """Over many tanks drawn from the prior, and five tickets each, the error left is the error that is there."""
    rng = np.random.default_rng(5)
    nodes = np.linspace(0.0, 1200.0, 7)
    away = (nodes[:, None] - nodes[None, :]) / 300.0
    root = np.linalg.cholesky(0.5 + 0.5 * np.exp(-(away**2) / 2.0) + 1e-9 * np.eye(7))
    inside = []
    nominal = TANK.shape.litres(HEIGHTS)
    for _ in range(60):
        factor = np.interp(
            (HEIGHTS[1:] + HEIGHTS[:-1]) / 2, nodes, 1.0 + 0.058 * root @ rng.standard_normal(7)
        )
        true = StrappingTable(tuple(HEIGHTS), (0.0, *np.cumsum(np.diff(nominal) * factor).tolist()))
        learnt = learn_table(TANK, many(true, 5, seed=int(rng.integers(1e6)))).tank
        off = learnt.shape.litres(700.0) / true.litres(700.0) - 1.0
        inside.append(abs(float(off)) < 1.28 * learnt.table_sd_fraction)
    # 60 homes at nominal 80 %: three standard errors
    assert np.mean(inside) == pytest.approx(0.8, abs=0.16)


def test_more_tickets_leave_less_open() -> None:
    """The error left falls with the tickets, and never below what all tickets share."""
    left = [learn_table(TANK, many(waisted(), n)).tank.table_sd_fraction for n in (0, 1, 4, 16, 200)]
    assert left == sorted(left, reverse=True)
    assert left[0] == 0.05
    assert left[2] < 0.03
    assert left[-1] >= 0.01


def test_one_wrong_ticket_pulls_no_harder_than_one_a_little_off() -> None:
    """Among six good tickets one of twice its litres changes the capacity by less than 2 %."""
    good = many(TANK.shape, 6, seed=3)
    base = learn_table(TANK, good).tank.capacity_l
    for error_l in (300.0, 600.0, 3000.0, -400.0):
        wrong = learn_table(TANK, [*good, pour(TANK.shape, 300.0, 900.0, error_l=error_l)]).tank.capacity_l
        assert abs(wrong / base - 1.0) < 0.02


def test_a_wrong_ticket_alone_is_bounded() -> None:
    """Even alone, a ticket that has nothing to do with the tank moves the capacity by three prior sd at most."""
    alone = learn_table(TANK, [pour(TANK.shape, 100.0, 1100.0, error_l=20_000.0, sd_l=1.0)]).tank
    assert TANK.capacity_l <= alone.capacity_l <= 1.2 * TANK.capacity_l


def test_heights_that_no_ticket_filled_stay_less_sure() -> None:
    """Deliveries into the upper half say more of it than of the bottom."""
    learnt = learn_table(TANK, [pour(waisted(), 700.0, 1100.0) for _ in range(8)])
    assert learnt.factor_sd[9] < 0.5 * learnt.factor_sd[0]


def test_limits_stay_at_their_dips() -> None:
    """Safe fill and heel are where they were in the tank, now in its true litres."""
    learnt = learn_table(TANK, many(waisted(), 10)).tank
    for litres, before in ((learnt.safe_fill_l, TANK.safe_fill_l), (learnt.heel_l, TANK.heel_l)):
        assert float(learnt.shape.dip_mm(litres)) == pytest.approx(float(TANK.shape.dip_mm(before)), abs=0.01)
    assert learnt.heel_l < learnt.safe_fill_l < learnt.capacity_l


def test_a_table_that_starts_higher_keeps_its_start() -> None:
    """A strapping table without its lowest rows is corrected from its first row on."""
    table = StrappingTable((150.0, 400.0, 1200.0), (140.0, 430.0, 1300.0))
    tank = Tank(table, KEROSENE, safe_fill_l=1235.0, heel_l=140.0, table_sd_fraction=0.04)
    learnt = learn_table(tank, [Pour(300.0, 1100.0, 877.0, 920.0, 10.0)]).tank
    assert isinstance(learnt.shape, StrappingTable)
    assert learnt.shape.dips_mm[0] == 150.0
    assert 1.02 < learnt.capacity_l / tank.capacity_l < 1.06


@given(
    st.lists(
        st.tuples(st.floats(0, 1200), st.floats(0, 1200), st.floats(1, 5000), st.floats(1.0, 200.0)),
        max_size=8,
    ),
    st.sampled_from([TANK.shape, UprightBox(1200.0, 900.0, 1200.0), waisted()]),
)
def test_whatever_tickets_say_litres_rise_with_the_dip(
    said: list[tuple[float, float, float, float]], shape: Shape
) -> None:
    """Any tickets leave a table in which litres rise with the dip, back and forth, within bounds."""
    tank = replace(TANK, shape=shape, safe_fill_l=0.95 * shape.capacity_l)
    pours = [
        Pour(min(a, b), max(a, b), float(abs(shape.litres(a) - shape.litres(b))), ticket, sd)
        for a, b, ticket, sd in said
    ]
    learnt = learn_table(tank, pours).tank
    litres = learnt.shape.litres(HEIGHTS)
    assert (np.diff(litres) > 0).all()
    np.testing.assert_allclose(learnt.shape.dip_mm(litres), HEIGHTS, atol=1e-6)
    assert 0.8 < learnt.capacity_l / tank.capacity_l < 1.2
    assert 0.0 < learnt.table_sd_fraction <= 0.05
