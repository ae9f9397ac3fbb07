"""What holds for the shape of every tank."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import OutOfRangeError
from forecaster.fuel import KEROSENE
from forecaster.tanks import (
    LyingBox,
    LyingCylinder,
    Moulded,
    Shape,
    StrappingTable,
    Tank,
    UprightBox,
    UprightCylinder,
)
from tests.strategies import calm, fractions, least_dip, shapes, solids, tanks

ONE_OF_EACH = [
    UprightBox(1800.0, 1200.0, 1300.0, 150.0),
    UprightCylinder(1200.0, 1500.0),
    LyingBox(1800.0, 1200.0, 1400.0, 200.0),
    LyingCylinder(1000.0, 2000.0),
    LyingCylinder(1000.0, 2000.0, tilt_deg=2.0, dip_at_mm=500.0),
    Moulded(1300.0, 1200.0),
    StrappingTable((0.0, 100.0, 400.0), (0.0, 80.0, 390.0)),
]
each_shape = pytest.mark.parametrize("shape", ONE_OF_EACH, ids=lambda shape: type(shape).__name__)


def dips_of(shape: Shape, shares: list[float]) -> np.ndarray:
    """Spread shares of 0 to 1 over what a dip can be."""
    low = least_dip(shape)
    return low + np.array(shares) * (shape.height_mm - low)


@calm
@given(shape=shapes(), shares=st.lists(fractions, min_size=1, max_size=20))
def test_dip_to_litres_and_back(shape: Shape, shares: list[float]) -> None:
    """Dip to litres to dip comes back within 5 µm: what rounding can do where a tank narrows to a line."""
    dips = dips_of(shape, shares)
    assert shape.dip_mm(shape.litres(dips)) == pytest.approx(dips, abs=5e-3)


@calm
@given(shape=shapes(), shares=st.lists(fractions, min_size=1, max_size=20))
def test_litres_to_dip_and_back(shape: Shape, shares: list[float]) -> None:
    """Litres to dip to litres comes back within a microlitre a litre."""
    low, high = shape.litres([least_dip(shape), shape.height_mm])
    litres = low + np.array(shares) * (high - low)
    assert shape.litres(shape.dip_mm(litres)) == pytest.approx(litres, abs=1e-6 * shape.capacity_l)


@calm
@given(shape=shapes(), shares=st.lists(fractions, min_size=2, max_size=20, unique=True))
def test_litres_rise_with_dip(shape: Shape, shares: list[float]) -> None:
    """More dip is never less oil but for rounding, and 0.1 mm more of it is measurably more."""
    dips = np.sort(dips_of(shape, shares))
    steps, rises = np.diff(dips), np.diff(shape.litres(dips))
    assert rises.min() >= -1e-10 * shape.capacity_l
    assert rises[steps > 0.1].min(initial=1.0) > 0.0


@calm
@given(shape=solids(), share=st.floats(0.001, 0.999))
def test_litres_per_centimetre_are_the_slope_of_the_litres(shape: Shape, share: float) -> None:
    """Litres a centimetre agree with the rise over half a millimetre.

    By the mean value theorem the rise lies between the least and the greatest slope on the way;
    1e-4 of the greatest is allowed for the table of dished ends and for a peak between the points.
    """
    dip = share * shape.height_mm
    low, high = max(dip - 0.25, 0.0), min(dip + 0.25, shape.height_mm)
    below, above = shape.litres([low, high])
    rise_per_cm = (above - below) / (high - low) * 10.0
    slopes = shape.litres_per_cm(np.linspace(low, high, 5))
    allowed = 1e-4 * float(shape.litres_per_cm(shape.height_mm / 2.0))
    assert slopes.min() - allowed <= rise_per_cm <= slopes.max() + allowed


@calm
@given(solids())
def test_a_full_tank_holds_its_capacity_and_an_empty_one_nothing(shape: Shape) -> None:
    """At the greatest dip stands the capacity, at dip 0 nothing."""
    empty, full = shape.litres([0.0, shape.height_mm])
    assert empty == pytest.approx(0.0, abs=1e-6)
    assert full == pytest.approx(shape.capacity_l, rel=1e-7)


@calm
@given(shape=shapes(), beyond=st.floats(1e-3, 1e6))
def test_geometry_never_clips(shape: Shape, beyond: float) -> None:
    """A dip or a volume outside the tank raises, with the limits, in each direction."""
    low_dip, high_dip = least_dip(shape), shape.height_mm
    low_l, high_l = shape.litres([low_dip, high_dip])
    for method, value, low, high in [
        (shape.litres, low_dip - beyond, low_dip, high_dip),
        (shape.litres, high_dip + beyond, low_dip, high_dip),
        (shape.litres_per_cm, low_dip - beyond, low_dip, high_dip),
        (shape.litres_per_cm, high_dip + beyond, low_dip, high_dip),
        (shape.dip_mm, low_l - beyond, low_l, high_l),
        (shape.dip_mm, high_l + beyond, low_l, high_l),
    ]:
        with pytest.raises(OutOfRangeError) as refused:
            method([(low + high) / 2.0, value])
        assert refused.value.value == value
        assert (refused.value.low, refused.value.high) == pytest.approx((low, high), rel=1e-9, abs=1e-9)


@each_shape
def test_rounding_at_the_ends_is_no_error(shape: Shape) -> None:
    """A dip beyond the top by less than a nanometre is the top."""
    assert float(shape.litres(shape.height_mm + 5e-7)) == float(shape.litres(shape.height_mm))


@each_shape
def test_any_shape_of_array_goes_through(shape: Shape) -> None:
    """Scalars, tables and nothing at all keep their form in each of the three methods."""
    for form in [(), (0,), (3, 2)]:
        dips = np.full(form, shape.height_mm / 2.0)
        assert shape.litres(dips).shape == form
        assert shape.litres_per_cm(dips).shape == form
        assert shape.dip_mm(shape.litres(dips)).shape == form


@each_shape
def test_an_unknown_level_stays_unknown(shape: Shape) -> None:
    """What is not known goes through as not known and leaves its neighbours alone."""
    half = shape.height_mm / 2.0
    for method, known in [(shape.litres, half), (shape.litres_per_cm, half), (shape.dip_mm, 200.0)]:
        got = method([np.nan, known])
        assert np.isnan(got).tolist() == [True, False]
        assert got[1] == pytest.approx(float(method(known)), rel=1e-12)


@each_shape
def test_infinity_is_outside(shape: Shape) -> None:
    """An infinite dip or volume is out of range, not unknown."""
    for method in (shape.litres, shape.dip_mm, shape.litres_per_cm):
        with pytest.raises(OutOfRangeError):
            method(np.inf)


def test_litres_a_step_of_the_sensor_are_worth() -> None:
    """10 mm over a plan of 2.16 m² are 21.6 l; their rounding spreads by 6.235 l: step/√12 × area."""
    per_cm = float(UprightBox(1800.0, 1200.0, 1300.0).litres_per_cm(650.0))
    assert per_cm == pytest.approx(21.6)
    assert per_cm / np.sqrt(12.0) == pytest.approx(6.235, abs=0.001)


def test_a_moulded_tank_promises_less_at_the_bottom_than_a_straight_one() -> None:
    """The stated profile holds less than its share in the lower half and all of it at the top."""
    tank = Moulded(1300.0, 1200.0)
    dips = np.linspace(1.0, 599.0, 50)
    assert np.all(tank.litres(dips) < 1300.0 * dips / 1200.0)
    assert tank.litres([600.0, 1200.0]) == pytest.approx([650.0, 1300.0])


def test_a_table_is_read_along_straight_lines() -> None:
    """Between rows the litres lie on the line; the rows themselves are met; slopes are the rows' own."""
    table = StrappingTable((0.0, 100.0, 200.0, 300.0), (0.0, 80.0, 190.0, 310.0))
    assert table.litres([0.0, 50.0, 100.0, 250.0, 300.0]).tolist() == [0.0, 40.0, 80.0, 250.0, 310.0]
    assert table.litres_per_cm([50.0, 100.0, 299.0, 300.0]) == pytest.approx([8.0, 11.0, 12.0, 12.0])


@calm
@given(tanks())
def test_the_heel_stands_where_its_dip_says(tank: Tank) -> None:
    """The heel in millimetres holds the heel in litres; usable oil is what lies above it."""
    assert float(tank.shape.litres(tank.heel_mm)) == pytest.approx(tank.heel_l, abs=1e-6 * tank.capacity_l)
    assert tank.usable_l == pytest.approx(tank.safe_fill_l - tank.heel_l)
    assert tank.fuel.density_15c >= KEROSENE.density_15c
