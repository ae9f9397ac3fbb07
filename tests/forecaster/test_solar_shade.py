"""Horizon and overhang before a window, against rays and view factors worked out another way."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.solar import (
    Facing,
    Shade,
    open_beam,
    open_sky,
    plane_irradiation_kwh_m2,
    windows_irradiation_kwh_m2,
)

PLACE = {"latitude": 53.5, "longitude": -2.0}
DAYS = np.arange("2023-01-01", "2024-01-01", dtype="datetime64[D]")
SUN = 2700.0 - 2200.0 * np.cos(2.0 * np.pi * (np.arange(365) + 10) / 365.0)


def beam(altitude: float, azimuth: float, facing: float, shade: Shade) -> float:
    """Open part of one window for one position of the sun."""
    return float(
        open_beam(np.array([90.0 - altitude]), np.array([azimuth]), azimuth_deg=facing, shade=shade)[0]
    )


def by_rays(altitude: float, azimuth: float, facing: float, shade: Shade) -> float:
    """The same by rays: from points of the window towards the sun, does the overhang's plane stop them?"""
    up, east, north = (
        np.sin(np.radians(altitude)),
        np.cos(np.radians(altitude)) * np.sin(np.radians(azimuth)),
        np.cos(np.radians(altitude)) * np.cos(np.radians(azimuth)),
    )
    outward = east * np.sin(np.radians(facing)) + north * np.cos(np.radians(facing))
    below = shade.gap + (np.arange(4000) + 0.5) / 4000  # of points of the window, below the overhang
    out_at_its_height = outward * below / up
    return float(np.mean(out_at_its_height > shade.overhang))


def test_the_shadow_of_an_overhang_by_hand() -> None:
    """Sun at 60° due south, 0.6 m overhang 0.2 m above a 1.2 m window: 0.6·tan 60° - 0.2 = 0.839 m in shadow."""
    shade = Shade(overhang=0.6 / 1.2, gap=0.2 / 1.2)
    assert beam(60.0, 180.0, 180.0, shade) == pytest.approx(1.0 - 0.8392 / 1.2, abs=1e-4)
    # 45° aside the profile angle is atan(tan 40° / cos 45°) = 49.9°: 0.6·1.1867 - 0.2 = 0.512 m
    assert beam(40.0, 225.0, 180.0, shade) == pytest.approx(1.0 - 0.5120 / 1.2, abs=1e-4)


@given(
    st.floats(1.0, 89.0), st.floats(0.0, 360.0), st.sampled_from([90.0, 180.0, 237.0]),
    st.floats(0.0, 3.0), st.floats(0.0, 1.0),
)  # fmt: skip
def test_shadows_are_those_of_rays(
    altitude: float, azimuth: float, facing: float, overhang: float, gap: float
) -> None:
    """Wherever the sun stands in front, the open part is that of rays from the window's points."""
    shade = Shade(overhang=overhang, gap=gap)
    if np.cos(np.radians(azimuth - facing)) > 0.01:
        assert beam(altitude, azimuth, facing, shade) == pytest.approx(
            by_rays(altitude, azimuth, facing, shade), abs=5e-4
        )
    else:
        assert 0.0 <= beam(altitude, azimuth, facing, shade) <= 1.0


def test_a_horizon_takes_the_low_sun() -> None:
    """Below the horizon's elevation nothing of the beam comes, above it all."""
    assert beam(14.9, 180.0, 180.0, Shade(horizon_deg=15)) == 0.0
    assert beam(15.1, 180.0, 180.0, Shade(horizon_deg=15)) == 1.0


def by_sky_patches(tilt_deg: float, shade: Shade) -> float:
    """The open part of an even sky by adding up its patches, each seen from points of the window."""
    rise, turn = np.meshgrid(
        np.radians((np.arange(180) + 0.5) / 2.0), np.radians(np.arange(360) + 0.5), indexing="ij"
    )
    outward = np.cos(rise) * np.cos(turn)
    tilt = np.radians(tilt_deg)
    falls = np.maximum(outward * np.sin(tilt) + np.sin(rise) * np.cos(tilt), 0.0) * np.cos(rise)
    # a horizon as a long wall: its elevation falls off to the sides as seen across it
    clear = np.arctan2(np.sin(rise), np.maximum(outward, 1e-9)) > np.radians(shade.horizon_deg)
    seen = []
    for below in shade.gap + (np.arange(40) + 0.5) / 40:
        past = outward * below / np.sin(rise) > shade.overhang if shade.overhang > 0 else True
        seen.append((falls * clear * past).sum())
    return float(np.mean(seen) / falls.sum())


@pytest.mark.parametrize(
    ("tilt_deg", "shade"),
    [
        (90.0, Shade(horizon_deg=20)),
        (90.0, Shade(overhang=0.5)),
        (90.0, Shade(overhang=1.2, gap=0.3)),
        (90.0, Shade(horizon_deg=15, overhang=0.4, gap=0.1)),
        (45.0, Shade(horizon_deg=25)),
    ],
)
def test_the_open_sky_is_that_of_its_patches(tilt_deg: float, shade: Shade) -> None:
    """The closed form of the sky's open part is the sum over 65,000 patches, within a hundredth."""
    assert open_sky(tilt_deg=tilt_deg, shade=shade) == pytest.approx(
        by_sky_patches(tilt_deg, shade), abs=0.01
    )


def test_without_shade_nothing_changes() -> None:
    """No horizon and no overhang leave beam and sky whole, and the plane's irradiation bit by bit."""
    assert open_sky(tilt_deg=90.0, shade=Shade()) == 1.0
    plain = plane_irradiation_kwh_m2(DAYS, SUN, **PLACE, tilt_deg=90.0, azimuth_deg=180.0)
    shaded = plane_irradiation_kwh_m2(DAYS, SUN, **PLACE, tilt_deg=90.0, azimuth_deg=180.0, shade=Shade())
    np.testing.assert_array_equal(plain, shaded)


def test_an_overhang_shades_summer_and_a_horizon_winter() -> None:
    """Over a year an overhang takes more of June than of December, a horizon of 15° more of December."""

    def left(shade: Shade) -> tuple[float, float]:
        sun = plane_irradiation_kwh_m2(DAYS, SUN, **PLACE, tilt_deg=90.0, azimuth_deg=180.0, shade=shade)
        plain = plane_irradiation_kwh_m2(DAYS, SUN, **PLACE, tilt_deg=90.0, azimuth_deg=180.0)
        ratio = sun / plain
        return float(ratio[334:].mean()), float(ratio[151:181].mean())

    december, june = left(Shade(overhang=0.5, gap=0.1))
    assert june < december - 0.15
    december, june = left(Shade(horizon_deg=15))
    assert december < june - 0.15


def test_several_windows_are_their_mean_over_the_area() -> None:
    """Sun on windows together is the sum over the windows, each on its own plane, over their area."""
    south, west = Facing(90.0, 180.0, area_m2=3.0), Facing(90.0, 270.0, Shade(horizon_deg=10), area_m2=5.0)
    roof = Facing(40.0, 90.0, area_m2=1.0)
    together = windows_irradiation_kwh_m2(DAYS, SUN, **PLACE, windows=[south, west, roof])
    each = [
        w.area_m2
        * plane_irradiation_kwh_m2(
            DAYS, SUN, **PLACE, tilt_deg=w.tilt_deg, azimuth_deg=w.azimuth_deg, shade=w.shade
        )
        for w in (south, west, roof)
    ]
    np.testing.assert_allclose(together, sum(each) / 9.0, rtol=1e-12)
    alone = windows_irradiation_kwh_m2(DAYS, SUN, **PLACE, windows=[west])
    np.testing.assert_allclose(alone, each[1] / 5.0, rtol=1e-14)


def test_scenarios_and_unknown_days_go_through() -> None:
    """Scenarios keep their shape, and a day without a known sun stays unknown."""
    sun = np.stack([SUN[:3], SUN[:3]])
    sun[0, 1] = np.nan
    windows = [Facing(90.0, 180.0), Facing(90.0, 90.0, Shade(overhang=0.4))]
    out = windows_irradiation_kwh_m2(DAYS[:3], sun, **PLACE, windows=windows)
    assert out.shape == (2, 3)
    assert np.isnan(out).tolist() == [[False, True, False], [False, False, False]]
