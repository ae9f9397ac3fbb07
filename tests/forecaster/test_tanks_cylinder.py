"""The lying cylinder against quadrature of our own definition of it, and its tilt."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from forecaster.tanks import Elliptical, Flat, Head, LyingCylinder, Torispherical
from tests.strategies import calm, few, fractions, heads, heights, lengths, lying_cylinders

R, L = 600.0, 1800.0


def radius_at(head: Head, x: float, radius: float) -> float:
    """Radius of an end at x beyond the tangent line, written down anew from its definition."""
    if isinstance(head, Elliptical):
        return radius * np.sqrt(max(0.0, 1.0 - (x / head.depth_mm) ** 2))
    assert isinstance(head, Torispherical)
    dish, knuckle = 2 * radius * head.dish_radius_fraction, 2 * radius * head.knuckle_radius_fraction
    depth = dish - np.sqrt((dish - knuckle) ** 2 - (radius - knuckle) ** 2)
    centre = depth - dish
    joint = centre + dish * -centre / np.hypot(centre, radius - knuckle)
    if x <= joint:
        return radius - knuckle + np.sqrt(max(0.0, knuckle**2 - x**2))
    return np.sqrt(max(0.0, dish**2 - (x - centre) ** 2))


def below_level(circle: float, level: float) -> float:
    """Area of a circle about the axis below a level counted from the axis."""
    z = min(max(level, -circle), circle)
    return (
        circle**2 * np.arcsin(z / circle) + z * np.sqrt(circle**2 - z**2) + np.pi / 2 * circle**2
        if circle
        else 0.0
    )


def volume_by_slices(tank: LyingCylinder, dip: float) -> float:
    """Litres of a lying cylinder by adaptive quadrature along its axis."""
    radius, slope = tank.diameter_mm / 2, np.tan(np.radians(tank.tilt_deg))
    at_low = dip + tank.dip_at_mm * slope - radius

    def body(x: float) -> float:
        return below_level(radius, at_low - x * slope)

    # the segments have kinks where the level meets the bottom or the top of the tank
    kinks = [(at_low + side) / slope for side in (-radius, radius)] if slope else []
    inside = sorted(x for x in kinks if 0 < x < tank.length_mm) or [tank.length_mm / 3]
    good_enough = 0.01 * tank.capacity_l  # [mm³]: 1e-8 of the capacity
    total = quad(body, 0, tank.length_mm, limit=300, epsabs=good_enough, points=inside)[0]
    depth = tank.head.depth_mm
    if depth:
        for level_at in (lambda x: at_low + x * slope, lambda x: at_low - (tank.length_mm + x) * slope):
            total += quad(
                lambda x, level_at=level_at: below_level(radius_at(tank.head, x, radius), level_at(x)),
                0,
                depth,
                limit=300,
                epsabs=10.0,
                points=[depth * 0.35, depth * 0.7],
            )[0]
    return total / 1e6


@pytest.mark.parametrize("tilt", [0.0, 0.5, 3.0])
@pytest.mark.parametrize(
    "head",
    [
        Flat(),
        Elliptical(R, R / 2),
        Elliptical(R, R),
        Torispherical(R),
        Torispherical(R, 1.0, 0.06),
        Torispherical(R, 0.8, 0.154),
    ],
)
@pytest.mark.parametrize("dip_at", [0.0, 700.0])
def test_volume_against_slices(head: Head, tilt: float, dip_at: float) -> None:
    """Closed forms and tables agree with slices along the axis within 5 ml in up to 2500 l."""
    tank = LyingCylinder(2 * R, L, head, tilt_deg=tilt, dip_at_mm=dip_at)
    for dip in (0.0, 3.0, 61.0, 350.0, 600.0, 1111.0, 1197.0):
        assert float(tank.litres(dip)) == pytest.approx(volume_by_slices(tank, dip), abs=5e-3)


@few
@given(tank=lying_cylinders(tilted=True).filter(lambda tank: isinstance(tank.head, Flat)), share=fractions)
def test_tilted_flat_ends_against_slices(tank: LyingCylinder, share: float) -> None:
    """The closed form of the tilted tank is the integral of its segments, for random tanks (1e-7)."""
    dip = share * tank.diameter_mm
    expected = volume_by_slices(tank, dip)
    assert float(tank.litres(dip)) == pytest.approx(expected, rel=1e-7, abs=1e-6 * tank.capacity_l)


@few
@given(diameter=heights, length=lengths, data=st.data(), share=fractions, dip_at=fractions)
def test_no_tilt_is_level(
    diameter: float, length: float, data: st.DataObject, share: float, dip_at: float
) -> None:
    """A tilt of almost nothing changes almost nothing: no more than it lifts one end.

    The tilts lie on both sides of the slope below which a tank is reckoned level; that far the closed
    form, the tables and the two ways of doing level tanks agree, to a litre in a million.
    """
    head = data.draw(heads(diameter / 2.0))
    level = LyingCylinder(diameter, length, head)
    dip = share * diameter
    for tilt in (0.0, 1e-6, 6e-5):
        nearly = LyingCylinder(diameter, length, head, tilt_deg=tilt, dip_at_mm=dip_at * length)
        lift_cm = (length + 2.0 * head.depth_mm) * np.tan(np.radians(tilt)) / 10.0
        allowed = lift_cm * float(level.litres_per_cm(diameter / 2.0)) + 1e-6 * level.capacity_l
        assert abs(float(nearly.litres(dip) - level.litres(dip))) <= allowed


@few
@given(diameter=heights, length=lengths, share=fractions)
def test_a_dish_of_half_the_diameter_is_a_hemisphere(diameter: float, length: float, share: float) -> None:
    """The table of the torispherical end meets the closed form of the hemisphere where both are one."""
    dished = LyingCylinder(diameter, length, Torispherical(diameter / 2, 0.5, 0.2))
    round_ends = LyingCylinder(diameter, length, Elliptical(diameter / 2, diameter / 2))
    dip = share * diameter
    assert float(dished.litres(dip)) == pytest.approx(
        float(round_ends.litres(dip)), abs=1e-6 * dished.capacity_l
    )


def test_a_dip_at_mid_length_hardly_notices_the_tilt() -> None:
    """At half the length and half full a tilt of 2° is off by nothing, at the low end by 7 %."""
    level = float(LyingCylinder(1000.0, 2000.0).litres(500.0))
    middle = float(LyingCylinder(1000.0, 2000.0, tilt_deg=2.0, dip_at_mm=1000.0).litres(500.0))
    low_end = float(LyingCylinder(1000.0, 2000.0, tilt_deg=2.0).litres(500.0))
    assert middle == pytest.approx(level, rel=1e-9)
    assert level / low_end == pytest.approx(1.097, abs=0.005)


@calm
@given(lying_cylinders(tilted=True))
def test_a_tilted_tank_hides_oil_and_air(tank: LyingCylinder) -> None:
    """Between dip 0 and the greatest dip lies no more than the capacity, which the tilt leaves alone."""
    least, most = tank.litres([0.0, tank.height_mm])
    assert -1e-6 <= least < most <= tank.capacity_l * (1 + 1e-9)
    level = LyingCylinder(tank.diameter_mm, tank.length_mm, tank.head)
    assert tank.capacity_l == pytest.approx(level.capacity_l)
    assert float(level.litres(level.height_mm)) == pytest.approx(level.capacity_l, rel=1e-7)


@calm
@given(tank=lying_cylinders(tilted=True), share=st.floats(0.001, 0.999))
def test_litres_per_centimetre_of_a_tilted_tank(tank: LyingCylinder, share: float) -> None:
    """Litres a centimetre of a tilted tank lie between the slopes on the way (1e-3 for its kinks)."""
    dip = share * tank.height_mm
    low, high = max(dip - 0.25, 0.0), min(dip + 0.25, tank.height_mm)
    rise_per_cm = float(np.diff(tank.litres([low, high]))[0]) / (high - low) * 10.0
    slopes = tank.litres_per_cm(np.linspace(low, high, 5))
    allowed = 1e-3 * float(tank.litres_per_cm(tank.height_mm / 2.0))
    assert slopes.min() - allowed <= rise_per_cm <= slopes.max() + allowed
