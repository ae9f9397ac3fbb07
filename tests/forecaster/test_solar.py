"""The sun on planes, and the hot water it makes."""

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.solar import (
    daily_diffuse_fraction,
    diverted_kwh,
    hot_water_share_from_sun,
    plane_irradiation_kwh_m2,
    solar_thermal_share,
)

Floats = npt.NDArray[np.float64]
YEAR = np.arange("2023-01-01", "2024-01-01", dtype="datetime64[D]")


def _on_plane(ghi: npt.ArrayLike, *, tilt: float, azimuth: float = 180.0, latitude: float = 53.5) -> Floats:
    return plane_irradiation_kwh_m2(
        YEAR, ghi, latitude=latitude, longitude=-2.0, tilt_deg=tilt, azimuth_deg=azimuth
    )


def _summer_and_winter(dull: float) -> Floats:
    """Make a plausible year of daily sun on level ground. [Wh/m²]"""
    return dull * (2700.0 - 2200.0 * np.cos(2 * np.pi * (np.arange(365) + 10) / 365))


def test_level_plane_gets_what_the_ground_gets() -> None:
    """A plane without tilt gives back the irradiation it was given, within 1 % (the low sun's rounding)."""
    ghi = _summer_and_winter(1.0)
    assert _on_plane(ghi, tilt=0.0) == pytest.approx(ghi / 1000.0, rel=0.01)


def test_winter_favours_the_wall_and_summer_the_roof() -> None:
    """At 53° N a south wall beats level ground in December and loses to it in June."""
    ghi = _summer_and_winter(1.0)
    wall = _on_plane(ghi, tilt=90.0)
    assert wall[350] > 1.3 * ghi[350] / 1000.0
    assert wall[170] < 0.7 * ghi[170] / 1000.0


def test_south_beats_east_beats_north_in_winter() -> None:
    """From October to March a south wall gets most, a north wall least."""
    ghi = _summer_and_winter(1.0)
    cold = np.r_[0:90, 273:365]
    south, east, north = (_on_plane(ghi, tilt=90.0, azimuth=a)[cold].sum() for a in (180.0, 90.0, 0.0))
    assert south > 1.5 * east > 1.5 * north


def test_east_and_west_are_alike() -> None:
    """Over a year a wall to the east gets what one to the west gets, within 2 %."""
    ghi = _summer_and_winter(1.0)
    assert _on_plane(ghi, tilt=90.0, azimuth=90.0).sum() == pytest.approx(
        _on_plane(ghi, tilt=90.0, azimuth=270.0).sum(), rel=0.02
    )


def test_south_of_the_equator_north_walls_get_the_sun() -> None:
    """In Tasmania's winter the wall to the north gets most."""
    ghi = _summer_and_winter(1.0)[::-1]
    july = slice(181, 212)
    north = _on_plane(ghi, tilt=90.0, azimuth=0.0, latitude=-42.9)[july].sum()
    south = _on_plane(ghi, tilt=90.0, azimuth=180.0, latitude=-42.9)[july].sum()
    assert north > 2.0 * south


def test_sun_on_the_south_wall_grows_with_the_days_sun() -> None:
    """More sun on the ground is never less sun on a south wall, on any day of the year."""
    ghi = np.linspace(0.0, 9000.0, 181)[:, np.newaxis] * np.ones(365)
    assert (np.diff(_on_plane(ghi, tilt=90.0), axis=0) >= -1e-9).all()


def test_unknown_days_stay_unknown() -> None:
    """A day without irradiation is nan on the plane and leaves its neighbours alone."""
    ghi = _summer_and_winter(1.0)
    holed = ghi.copy()
    holed[100] = np.nan
    plane = _on_plane(holed, tilt=90.0)
    assert np.isnan(plane[100])
    assert np.isfinite(np.delete(plane, 100)).all()


def test_polar_night_is_dark() -> None:
    """Where the sun does not rise, a plane gets no sun, and nothing breaks."""
    plane = _on_plane(np.zeros(365), tilt=90.0, latitude=78.0)
    assert (plane == 0.0).all()


def test_leap_day_has_its_row() -> None:
    """29 February and 31 December of a leap year are days like others."""
    days = np.array(["2024-02-28", "2024-02-29", "2024-03-01", "2024-12-31"], dtype="datetime64[D]")
    plane = plane_irradiation_kwh_m2(
        days, np.full(4, 1500.0), latitude=53.5, longitude=-2.0, tilt_deg=90.0, azimuth_deg=180.0
    )
    assert plane[0] > plane[1] > plane[2]
    assert plane[3] > plane[0]


def test_shape_that_is_no_day_is_refused() -> None:
    """Irradiation must end in the days, so that a transposed array cannot pass."""
    with pytest.raises(ValueError, match="does not end in"):
        _on_plane(np.zeros((365, 2)), tilt=90.0)


@settings(max_examples=25, deadline=None)  # the first call for a plane makes its table
@given(
    st.lists(st.floats(0.0, 9000.0), min_size=365, max_size=365),
    st.sampled_from([0.0, 35.0, 90.0]),
    st.sampled_from([0.0, 90.0, 180.0, 360.0]),
)
def test_any_weather_gives_a_bounded_sun(ghi: list[float], tilt: float, azimuth: float) -> None:
    """Any day's irradiation gives a finite sun of at least 0 and at most ten times the ground's."""
    plane = _on_plane(ghi, tilt=tilt, azimuth=azimuth)
    assert (plane >= 0.0).all()
    assert (plane <= 10.0 * np.array(ghi) / 1000.0 + 1e-12).all()


def test_scenarios_are_read_like_days() -> None:
    """A stack of scenario years gives each what it would get alone."""
    years = np.stack([_summer_and_winter(0.5), _summer_and_winter(1.0)])
    both = _on_plane(years, tilt=90.0)
    assert both[1] == pytest.approx(_on_plane(years[1], tilt=90.0), rel=1e-12)


@given(st.floats(0.0, 1.2), st.floats(0.0, 180.0))
def test_diffuse_share_is_a_share(clearness: float, sunset_deg: float) -> None:
    """Whatever the day, between none and all of its sun is diffuse."""
    share = float(daily_diffuse_fraction(clearness, sunset_deg=sunset_deg))
    assert 0.0 <= share <= 1.0 + 1e-9


# ---- hot water


sun = st.floats(0.0, 12.0)


@given(low=sun, more=st.floats(0.0, 5.0), thermal=st.floats(0.0, 50.0), kwp=st.floats(0.0, 50.0))
def test_share_grows_with_sun_and_never_passes_all(
    low: float, more: float, thermal: float, kwp: float
) -> None:
    """More sun spares more, never less than nothing and never more than all."""
    less, greater = hot_water_share_from_sun(
        [low, low + more], demand_kwh_per_day=7.0, thermal_m2=thermal, diverted_kwp=kwp
    )
    assert 0.0 <= less <= greater + 1e-12
    assert greater <= 1.0


def test_no_panels_spare_nothing() -> None:
    """A roof without panels leaves the base load as it is."""
    assert not hot_water_share_from_sun([0.0, 8.0], demand_kwh_per_day=7.0).any()


def test_no_demand_is_no_trouble() -> None:
    """An empty house asks for nothing, and the share is 0."""
    share = hot_water_share_from_sun([8.0], demand_kwh_per_day=0.0, thermal_m2=4.0, diverted_kwp=3.0)
    assert not share.any()


def test_unknown_sun_promises_nothing() -> None:
    """A day of unknown sun spares no oil, the cautious side."""
    assert hot_water_share_from_sun([np.nan], demand_kwh_per_day=7.0, thermal_m2=4.0).tolist() == [0.0]


def test_demand_may_change_by_day() -> None:
    """With a smaller demand the same sun spares a larger share."""
    share = hot_water_share_from_sun([3.0, 3.0], demand_kwh_per_day=np.array([4.0, 9.0]), thermal_m2=4.0)
    assert share[0] > share[1]


@given(st.floats(1e-6, 1e6))
def test_panels_make_no_more_than_they_collect(collected: float) -> None:
    """The share made is below the share collected, and below the panel's own limit."""
    share = float(solar_thermal_share(collected))
    assert 0.0 < share < min(collected, 0.72)


def test_poor_panels_make_less() -> None:
    """The published line changes at a loss ratio of 20 without a jump upwards."""
    good, fair, poor = (float(solar_thermal_share(1.0, loss_ratio=r)) for r in (5.0, 19.99, 22.2))
    assert good > fair > poor > 0


def test_all_used_at_home_leaves_nothing() -> None:
    """Electricity that the home uses itself heats no water."""
    assert float(diverted_kwh(300.0, used_at_home=1.0)) == 0.0
