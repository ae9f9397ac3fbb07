"""Conversions at the edges."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster import units


@pytest.mark.parametrize(
    ("length", "unit", "mm"),
    [(812.0, "mm", 812.0), (81.2, "cm", 812.0), (1.2, "m", 1200.0), (44.0, "in", 1117.6), (1.0, "ft", 304.8)],
)
def test_lengths_become_millimetres(length: float, unit: str, mm: float) -> None:
    """Each length unit on offer has its exact factor."""
    assert float(units.to_mm(length, unit)) == pytest.approx(mm, rel=1e-12)


@pytest.mark.parametrize(
    ("volume", "unit", "litres"),
    [(900.0, "l", 900.0), (1.3, "m3", 1300.0), (275.0, "us_gal", 1040.98824), (200.0, "imp_gal", 909.218)],
)
def test_volumes_become_litres(volume: float, unit: str, litres: float) -> None:
    """Each volume unit on offer has its exact factor, and the two gallons differ."""
    assert float(units.to_litres(volume, unit)) == pytest.approx(litres, rel=1e-8)


@pytest.mark.parametrize(
    ("temperature", "unit", "celsius"),
    [(32.0, "f", 0.0), (212.0, "f", 100.0), (-40.0, "f", -40.0), (288.15, "k", 15.0), (15.5, "c", 15.5)],
)
def test_temperatures_become_celsius(temperature: float, unit: str, celsius: float) -> None:
    """Freezing and boiling water, and the point where both scales meet, come out right."""
    assert float(units.to_c(temperature, unit)) == pytest.approx(celsius, abs=1e-9)


def test_arrays_keep_their_shape() -> None:
    """A table of any shape is converted element by element."""
    assert units.to_mm(np.ones((3, 2)), "in").tolist() == [[25.4, 25.4]] * 3


@pytest.mark.parametrize("convert", [units.to_mm, units.to_litres, units.to_c])
@pytest.mark.parametrize("unit", ["gal", "MM", "", "furlong"])
def test_unknown_units_are_refused_with_those_on_offer(convert, unit: str) -> None:
    """A unit we do not know, a bare gallon included, raises and lists the known ones."""
    with pytest.raises(ValueError, match="give one of"):
        convert(1.0, unit)


@given(st.floats(-60, 60))
def test_fahrenheit_keeps_order_and_ratio(celsius: float) -> None:
    """Going to Fahrenheit by the textbook line and back changes nothing."""
    assert float(units.to_c(celsius * 1.8 + 32.0, "f")) == pytest.approx(celsius, abs=1e-9)
