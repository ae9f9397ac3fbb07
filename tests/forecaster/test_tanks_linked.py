"""Linked tanks of one level: one store, the sum of its tanks at every dip."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import OutOfRangeError, TankError
from forecaster.tanks import Linked, LyingCylinder, Moulded, UprightBox, parse_tank, upright_oval

BOX, DRUM, OVAL = (
    UprightBox(1800.0, 700.0, 1200.0),
    LyingCylinder(1100.0, 1700.0),
    upright_oval(length_mm=1500.0, width_mm=700.0, height_mm=1250.0),
)
MAIN = 'product = "kerosene"\nshape = "rectangular"\nlength_mm = 1800\nwidth_mm = 700\nheight_mm = 1200\n'


@pytest.mark.parametrize("parts", [(BOX, BOX), (BOX, DRUM), (OVAL, DRUM, BOX)])
def test_litres_and_litres_a_centimetre_add_at_the_same_dip(parts: tuple) -> None:
    """With bottoms of one height, litres, litres a centimetre and capacity are the sums of the tanks'."""
    store = Linked(parts, (0.0,) * len(parts))
    dips = np.linspace(0.0, min(p.height_mm for p in parts), 40)
    np.testing.assert_allclose(store.litres(dips), sum(p.litres(dips) for p in parts), rtol=1e-12)
    np.testing.assert_allclose(
        store.litres_per_cm(dips), sum(p.litres_per_cm(dips) for p in parts), rtol=1e-12
    )
    assert store.capacity_l == pytest.approx(sum(float(p.litres(store.height_mm)) for p in parts))


@given(
    st.floats(-600.0, 600.0), st.floats(0.0, 1.0),
    st.sampled_from([(BOX, DRUM), (DRUM, OVAL), (Moulded(1300.0, 1250.0), BOX)]),
)  # fmt: skip
def test_a_higher_or_lower_bottom_shifts_a_tanks_dip(bottom: float, share: float, parts: tuple) -> None:
    """A tank whose bottom lies higher joins at that dip; the dip of any litres gives them back."""
    store = Linked(parts, (0.0, bottom))
    dip = share * store.height_mm
    own = np.clip(dip - bottom, 0.0, parts[1].height_mm)
    expected = float(parts[0].litres(dip)) + (float(parts[1].litres(own)) if dip >= bottom else 0.0)
    assert float(store.litres(dip)) == pytest.approx(expected, abs=1e-9)
    assert float(store.litres(store.dip_mm(store.litres(dip)))) == pytest.approx(expected, abs=1e-6)
    assert store.height_mm == pytest.approx(min(parts[0].height_mm, parts[1].height_mm + bottom))


def test_litres_rise_with_the_dip() -> None:
    """Through the height at which the second tank joins, litres rise with the dip."""
    store = Linked((DRUM, BOX), (0.0, 300.0))
    assert (np.diff(store.litres(np.linspace(0.0, 1100.0, 500))) > 0).all()
    assert np.isnan(store.litres(np.nan))


def test_above_the_lowest_top_is_no_dip() -> None:
    """The level goes no higher than the lowest top."""
    store = Linked((BOX, DRUM), (0.0, -50.0))
    assert store.height_mm == 1050.0
    with pytest.raises(OutOfRangeError):
        store.litres(1051.0)


# ---- the tank file


def test_two_alike_hold_twice_as_much() -> None:
    """``count = 2`` doubles litres, heel and safe fill at every dip."""
    one, two = parse_tank(MAIN), parse_tank(MAIN + "count = 2\n")
    dips = np.linspace(0.0, 1200.0, 20)
    np.testing.assert_allclose(two.shape.litres(dips), 2.0 * one.shape.litres(dips))
    assert (two.safe_fill_l, two.heel_l) == (
        pytest.approx(2 * one.safe_fill_l),
        pytest.approx(2 * one.heel_l),
    )
    assert parse_tank(MAIN + "count = 1\n").capacity_l == one.capacity_l


def test_a_linked_tank_of_its_own_shape_is_added() -> None:
    """A section gives another shape at another height; a moulded one makes the litres less sure."""
    drum = '[[linked]]\nshape = "horizontal_cylinder"\ndiameter_mm = 1100\nlength_mm = 1700\nbottom_above_mm = 100\n'
    tank = parse_tank(MAIN + drum)
    assert float(tank.shape.litres(600.0)) == pytest.approx(float(BOX.litres(600.0) + DRUM.litres(500.0)))
    assert tank.table_sd_fraction == 0.0
    plastic = '[[linked]]\nshape = "moulded"\ncapacity_l = 1300\nheight_mm = 1200\n'
    both = parse_tank(MAIN + drum + plastic)
    assert float(both.shape.litres(600.0)) == pytest.approx(float(tank.shape.litres(600.0)) + 650.0)
    assert both.table_sd_fraction == 0.05


@pytest.mark.parametrize(
    ("more", "field", "words"),
    [
        ("count = 0", "count", "1 to 8"),
        ("count = true", "count", "1 to 8"),
        ("count = 2.0", "count", "1 to 8"),
        ("linked = 2", "linked", "[[linked]]"),
        ("linked = []", "linked", "[[linked]]"),
        ("count = 2\n[[linked]]\nshape = 'moulded'", "count", "leave it out"),
        ("[[linked]]\nshape = 'table'", "shape of linked tank 1", "give one of rectangular"),
        ("[[linked]]\nheight_mm = 1200", "shape of linked tank 1", "add this key"),
        (
            "[[linked]]\nshape = 'moulded'\nheight_mm = 120\ncapacity_l = 900",
            "height_mm of linked tank 1",
            "1200 mm",
        ),
        (
            "[[linked]]\nshape = 'moulded'\nheight_mm = 1200\ncapacity_l = 900\nlength_mm = 5",
            "length_mm of",
            "no key",
        ),
        (
            "[[linked]]\nshape = 'moulded'\nheight_mm = 1200\ncapacity_l = 900\nbottom_above_mm = 1300",
            "linked",
            "share no level",
        ),
        (
            "[[linked]]\nshape = 'moulded'\nheight_mm = 1200\ncapacity_l = 900\nbottom_above_mm = -9000",
            "bottom_above_mm of linked tank 1",
            "-2000 to 2000",
        ),
    ],
)
def test_what_cannot_be_linked_is_named(more: str, field: str, words: str) -> None:
    """Each thing wrong with linked tanks is a problem that names the tank and says what to do."""
    with pytest.raises(TankError) as refused:
        parse_tank(f"{MAIN}{more}\n")
    assert any(p.field.startswith(field) and words in p.mend for p in refused.value.problems)


def test_a_table_is_of_all_tanks_together() -> None:
    """A strapping table cannot be linked: it is asked for as one of all tanks."""
    table = 'product = "kerosene"\nshape = "table"\nrows = [[0, 0], [600, 500], [1200, 1000]]\ncount = 2\n'
    with pytest.raises(TankError, match="one table of all tanks"):
        parse_tank(table)
