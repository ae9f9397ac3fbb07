"""Tank volumes against the library fluids, over random dimensions.

Source   C. Bell and contributors, *fluids* (PyPI, 1.1 and newer), `fluids.geometry.V_from_h`, which follows
         Jones, "Computing Fluid Tank Volumes". It knows upright and lying cylinders with flat, ellipsoidal
         and torispherical ends; boxes, ovals and tilt it does not know.
"""

from typing import Any

import pytest
from fluids.geometry import V_from_h
from hypothesis import given
from hypothesis import strategies as st

from forecaster.tanks import Elliptical, Flat, LyingCylinder, Torispherical, UprightCylinder
from tests.strategies import calm, few, fractions, heights, lengths


def litres_of_fluids(dip: float, diameter: float, length: float, **ends: Any) -> float:
    """Ask the library, in millimetres, for litres."""
    return float(V_from_h(dip, diameter, length, **ends)) / 1e6


@calm
@given(diameter=heights, height=heights, share=fractions)
def test_upright_cylinder(diameter: float, height: float, share: float) -> None:
    """Upright cylinders agree to rounding."""
    ours = UprightCylinder(diameter, height).litres(share * height)
    assert float(ours) == pytest.approx(
        litres_of_fluids(share * height, diameter, height, horizontal=False), rel=1e-9, abs=1e-9
    )


@calm
@given(diameter=heights, length=lengths, share=fractions)
def test_flat_ends(diameter: float, length: float, share: float) -> None:
    """Lying cylinders with flat ends agree.

    Within 1e-8 of the capacity, since near empty the library's sum leaves a rest of that order.
    """
    tank = LyingCylinder(diameter, length, Flat())
    ours = tank.litres(share * diameter)
    assert float(ours) == pytest.approx(
        litres_of_fluids(share * diameter, diameter, length), rel=1e-7, abs=1e-8 * tank.capacity_l
    )


@calm
@given(diameter=heights, length=lengths, share=fractions, depth=st.floats(0.1, 0.5))
def test_elliptical_and_hemispherical_ends(
    diameter: float, length: float, share: float, depth: float
) -> None:
    """Ends that are half ellipsoids agree for any depth, 2:1 and the hemisphere among them (1e-8)."""
    for depth_mm in (depth * diameter, 0.25 * diameter, 0.5 * diameter):
        tank = LyingCylinder(diameter, length, Elliptical(diameter / 2.0, depth_mm))
        ours = tank.litres(share * diameter)
        theirs = litres_of_fluids(
            share * diameter,
            diameter,
            length,
            sideA="ellipsoidal",
            sideB="ellipsoidal",
            sideA_a=depth_mm,
            sideB_a=depth_mm,
        )
        assert float(ours) == pytest.approx(theirs, rel=1e-7, abs=1e-8 * tank.capacity_l)


@few
@given(
    diameter=heights,
    length=lengths,
    share=st.floats(0.02, 0.98),
    dish=st.floats(0.7, 1.5),
    knuckle=st.floats(0.04, 0.2),
)
def test_torispherical_ends(
    diameter: float, length: float, share: float, dish: float, knuckle: float
) -> None:
    """Dished ends agree within 2e-6 of the capacity, the sum of both quadratures' errors."""
    tank = LyingCylinder(diameter, length, Torispherical(diameter / 2.0, dish, knuckle))
    ours = tank.litres(share * diameter)
    theirs = litres_of_fluids(
        share * diameter,
        diameter,
        length,
        sideA="torispherical",
        sideB="torispherical",
        sideA_f=dish,
        sideA_k=knuckle,
        sideB_f=dish,
        sideB_k=knuckle,
    )
    assert float(ours) == pytest.approx(theirs, abs=2e-6 * tank.capacity_l)
