"""Levels: ullage to litres with an honest spread; a stuck sensor is known by the burn it misses."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import TankError
from forecaster.fuel import KEROSENE
from forecaster.levels import (
    PLACES,
    SENSOR_FLOOR_MM,
    Levels,
    cumulative_burn_l,
    find_stuck,
    headspace_air,
    oil_temperature_c,
    stuck_run,
    to_levels,
)
from forecaster.readings import Quantity, Readings
from forecaster.screening import Flag, screen_readings
from forecaster.tanks import Tank
from forecaster.tanks.cylinder import LyingCylinder
from forecaster.tanks.strapping import StrappingTable
from forecaster.tanks.upright import UprightBox, UprightCylinder

BOX = UprightBox(1800.0, 1200.0, 1300.0)  # 21.6 l a centimetre, 2,808 l
TANK = Tank(BOX, KEROSENE, safe_fill_l=2600.0, heel_l=108.0, sensor_height_mm=1350.0)
ASSUMING = replace(TANK, sensor_assumed_air_c=20.0)
SHAPES = (
    BOX,
    UprightCylinder(1300.0, 1300.0),
    LyingCylinder(1300.0, 2000.0),
    StrappingTable((50.0, 400.0, 1300.0), (30.0, 500.0, 2000.0)),
)


def readings(
    values: list[float] | np.ndarray,
    quantity: Quantity = Quantity.ULLAGE_MM,
    *,
    air_c: float = np.nan,
    oil_c: float = np.nan,
) -> Readings:
    """Make daily readings from 1 January 2024, 06:00 UTC."""
    n = len(values)
    at = np.datetime64("2024-01-01T06:00:00") + np.arange(n) * np.timedelta64(86400, "s")
    return Readings(
        at, np.full(n, quantity.value), np.array(values, dtype=float), np.full(n, air_c), np.full(n, oil_c)
    )


def levels_of(read: Readings, tank: Tank = TANK, **more: object) -> Levels:
    """Screen readings and turn them into levels."""
    return to_levels(read, tank, flags=screen_readings(read, tank), **more)  # type: ignore[arg-type]


def test_four_quantities_of_one_level_agree() -> None:
    """An ullage, a dip, litres and a fraction that mean the same level give the same litres and spread."""
    one = [
        levels_of(readings([850.0])),
        levels_of(readings([500.0], Quantity.DIP_MM)),
        levels_of(readings([1080.0], Quantity.LITRES)),
        levels_of(readings([1080.0 / 2808.0], Quantity.FRACTION)),
    ]
    assert [float(x.litres[0]) for x in one] == pytest.approx([1080.0] * 4, rel=1e-12)
    assert [float(x.dip_mm[0]) for x in one] == pytest.approx([500.0] * 4, rel=1e-12)
    by_hand = 2.16 * np.sqrt(100.0 / 12.0 + SENSOR_FLOOR_MM**2)
    assert [float(x.sd_l[0]) for x in one[1:]] == pytest.approx([by_hand] * 3, rel=1e-9)
    assert one[0].sd_l[0] > by_hand  # air between sensor and oil
    assert one[0].litres_per_cm[0] == pytest.approx(21.6)
    assert one[0].step_l[0] == pytest.approx(21.6)


def test_air_colder_than_assumed_hides_oil_until_corrected() -> None:
    """A sensor that assumes 20 C in air of 0 C reads the ullage 3.5 % too long; the litres are put right."""
    measured = levels_of(readings([850.0], air_c=0.0), ASSUMING)
    by_hand = 1350.0 - 850.0 * np.sqrt(273.15 / 293.15)
    assert measured.dip_mm[0] == pytest.approx(by_hand, rel=1e-12)
    assert measured.litres[0] > levels_of(readings([850.0])).litres[0] + 60.0


def test_sensor_that_compensates_itself_is_not_corrected_again() -> None:
    """Where the sensor assumes no temperature, air in the file changes no level."""
    cold, warm = (levels_of(readings([850.0], air_c=c)) for c in (-10.0, 30.0))
    assert cold.litres[0] == warm.litres[0] == pytest.approx(1080.0)


def test_air_that_is_not_known_widens_the_level() -> None:
    """The less is known of the air, the wider the level: thermometer, outdoor air, nothing."""
    outdoor = lambda at: np.full(len(at), 5.0)  # noqa: E731
    probe = levels_of(readings([850.0], air_c=5.0), ASSUMING)
    weather = levels_of(readings([850.0]), ASSUMING, air_at=outdoor)
    nothing = levels_of(readings([850.0]), ASSUMING)
    assert probe.litres[0] == weather.litres[0]
    assert probe.sd_l[0] < weather.sd_l[0] < nothing.sd_l[0]
    assert levels_of(readings([500.0], Quantity.DIP_MM), ASSUMING).sd_l[0] < probe.sd_l[0]


@pytest.mark.parametrize("location", sorted(PLACES))
def test_air_of_each_place_follows_the_outdoor_air_as_stated(location: str) -> None:
    """The air in the tank is the outdoor air damped about the place's mean."""
    tank = replace(ASSUMING, location=location)
    place = PLACES[location]
    air, sd = headspace_air(readings([850.0]), tank, air_at=lambda at: np.full(len(at), -5.0))
    assert air[0] == pytest.approx(place.mean_c + place.share * (-5.0 - place.mean_c))
    assert sd[0] == place.sd_k
    oil = oil_temperature_c(readings([1.0]).at, tank, air_at=lambda at: np.full(len(at), -5.0))
    assert oil[0] == pytest.approx(air[0])


def test_oil_outdoors_forgets_the_air_in_three_days() -> None:
    """Three days after the air has dropped by 10 K, the oil has followed by about two thirds."""
    drop = np.datetime64("2024-01-10T06:00:00")
    air = lambda at: np.where(at <= drop, 10.0, 0.0)  # noqa: E731
    at = drop + np.array([0, 3, 14]) * np.timedelta64(86400, "s")
    oil = oil_temperature_c(at, TANK, air_at=air)
    assert oil[0] == pytest.approx(10.0)
    assert oil[1] == pytest.approx(10.0 * np.exp(-1.0), abs=0.3)
    assert oil[2] < 0.2


def test_oil_temperature_never_looks_ahead() -> None:
    """Air after a reading does not change its oil temperature."""
    now = readings([850.0, 850.0]).at[1:]
    later_known = oil_temperature_c(now, TANK, air_at=lambda at: np.where(at > now[0], np.nan, 7.0))
    later_hot = oil_temperature_c(now, TANK, air_at=lambda at: np.where(at > now[0], 40.0, 7.0))
    assert later_known[0] == later_hot[0] == pytest.approx(7.0)


def test_hours_without_air_are_left_out() -> None:
    """Gaps in the air are passed over; with no air at all the place's mean is given."""
    at = readings([1.0]).at
    half = oil_temperature_c(
        at, TANK, air_at=lambda t: np.where(t > at[0] - np.timedelta64(2, "D"), np.nan, 3.0)
    )
    none = oil_temperature_c(at, TANK, air_at=lambda t: np.full(len(t), np.nan))
    assert (half[0], none[0]) == (pytest.approx(3.0), PLACES["outdoors"].mean_c)


def test_measured_oil_temperature_wins() -> None:
    """An oil temperature in the file is kept."""
    assert levels_of(readings([850.0], oil_c=12.5)).oil_c.tolist() == [12.5]


def test_no_echo_and_outside_have_no_litres() -> None:
    """What shows no level gives nan and is not trusted, never 0 and never full."""
    levels = levels_of(readings([800.0, 65535.0, 1500.0, 810.0]))
    assert np.isnan(levels.litres).tolist() == [False, True, True, False]
    assert levels.trusted().tolist() == [True, False, False, True]


def test_spike_keeps_its_litres_but_is_not_trusted() -> None:
    """A spike can be drawn, and is not used."""
    levels = levels_of(readings([800.0, 300.0, 810.0]))
    assert levels.trusted().tolist() == [True, False, True]
    assert levels.litres[1] == pytest.approx(2268.0)


def test_dead_band_gives_at_least_its_end() -> None:
    """In the dead band the level is at least that at its end, and trusted as such."""
    tank = replace(TANK, dead_band_mm=150.0)
    levels = levels_of(readings([60.0, 140.0, 200.0]), tank)
    assert levels.censored.tolist() == [True, True, False]
    assert levels.litres[:2] == pytest.approx([1200.0 * 2.16] * 2)
    assert levels.trusted().all()


def test_level_just_outside_is_at_the_edge() -> None:
    """A reading less than the tolerance outside the tank is full or dry, not nan."""
    levels = levels_of(readings([1365.0, 40.0]))
    assert levels.litres == pytest.approx([0.0, 2808.0])
    assert (levels.sd_l > 5.0).all()


def test_correction_that_moves_a_level_out_of_the_tank_is_flagged() -> None:
    """If the air's correction puts the oil above the tank, the level is set aside."""
    read = readings([1340.0], air_c=60.0)
    levels = to_levels(read, ASSUMING, flags=np.zeros(1, int))
    assert Flag(int(levels.flags[0])) is Flag.BELOW_TANK
    assert np.isnan(levels.litres[0])


def test_ullage_without_a_sensor_height_is_refused() -> None:
    """Ullages in a tank of unknown sensor height raise, with the mend."""
    with pytest.raises(TankError, match="gauge_l and ullage_mm"):
        to_levels(readings([850.0]), replace(TANK, sensor_height_mm=None), flags=np.zeros(1, int))


def test_error_of_the_shape_is_kept_apart() -> None:
    """A moulded tank's error is shared by all levels and does not widen each of them."""
    rough = levels_of(readings([850.0]), replace(TANK, table_sd_fraction=0.05))
    assert rough.table_sd_l[0] == pytest.approx(54.0)
    assert rough.sd_l[0] == levels_of(readings([850.0])).sd_l[0]


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: type(s).__name__)
@given(dips=st.lists(st.floats(50.0, 1300.0), min_size=2, max_size=20))
def test_more_dip_is_more_oil_in_every_shape(shape: object, dips: list[float]) -> None:
    """Litres rise with the dip, and no level is ever certain."""
    tank = Tank(shape, KEROSENE, safe_fill_l=1900.0, heel_l=50.0)  # type: ignore[arg-type]
    read = readings(np.sort(dips), Quantity.DIP_MM)
    levels = to_levels(read, tank, flags=np.zeros(len(dips), int))
    assert (np.diff(levels.litres) >= -1e-9).all()
    assert (levels.sd_l > 0.0).all()


@given(ullage=st.floats(100.0, 1300.0), air=st.floats(-20.0, 40.0), warmer=st.floats(0.1, 20.0))
def test_warmer_air_over_the_same_echo_means_less_oil(ullage: float, air: float, warmer: float) -> None:
    """Sound is faster in warm air, so the same echo comes from further down."""
    low = to_levels(readings([ullage], air_c=air + warmer), ASSUMING, flags=np.zeros(1, int))
    high = to_levels(readings([ullage], air_c=air), ASSUMING, flags=np.zeros(1, int))
    assert (low.litres <= high.litres).all() or np.isnan(low.litres[0])


@given(st.floats(60.0, 1340.0))
def test_true_ullage_comes_back_from_what_the_sensor_would_read(true_mm: float) -> None:
    """The reading that a sensor assuming 20 C makes at 3 C is turned back into the true dip."""
    as_read = true_mm * np.sqrt((273.15 + 20.0) / (273.15 + 3.0))
    levels = to_levels(readings([as_read], air_c=3.0), ASSUMING, flags=np.zeros(1, int))
    assert levels.dip_mm[0] == pytest.approx(1350.0 - true_mm, abs=1e-6)


def test_stuck_is_told_by_the_burn_not_by_the_run() -> None:
    """Ten equal days are a fault in a January of 20 l a day and none in a June of 1 l a day."""
    levels = levels_of(readings([800.0] * 10))
    january = find_stuck(levels, expected_burn_l=np.arange(10) * 20.0)
    june = find_stuck(levels, expected_burn_l=np.arange(10) * 1.0)
    assert january.tolist() == [False] * 2 + [True] * 8  # 40 l is more than 1.8 steps of 21.6 l
    assert not june.any()


def test_stuck_run_ends_with_another_value() -> None:
    """Once the value moves, readings count again, from a new start."""
    levels = levels_of(readings([800.0] * 5 + [830.0] * 2))
    stuck = find_stuck(levels, expected_burn_l=np.arange(7) * 20.0)
    assert stuck.tolist() == [False, False, True, True, True, False, False]


def test_no_echo_does_not_end_a_stuck_run() -> None:
    """Readings set aside neither begin nor break a run."""
    levels = levels_of(readings([800.0, 800.0, 65535.0, 800.0]))
    assert find_stuck(levels, expected_burn_l=np.arange(4) * 20.0).tolist() == [False, False, False, True]


def test_full_tank_in_the_dead_band_is_not_stuck() -> None:
    """A lower bound repeats by nature."""
    levels = levels_of(readings([60.0] * 10), replace(TANK, dead_band_mm=150.0))
    assert not find_stuck(levels, expected_burn_l=np.arange(10) * 20.0).any()


@given(st.lists(st.sampled_from([800.0, 810.0, 820.0]), min_size=1, max_size=30), st.data())
def test_stuck_does_not_depend_on_what_comes_later(values: list[float], data: st.DataObject) -> None:
    """Cutting the series changes no verdict before the cut."""
    n = data.draw(st.integers(1, len(values)))
    burn = np.arange(len(values)) * 15.0
    levels = to_levels(readings(values), TANK, flags=np.zeros(len(values), int))
    whole = find_stuck(levels, expected_burn_l=burn)
    part = find_stuck(levels.where(np.arange(n)), expected_burn_l=burn[:n])
    assert whole[:n].tolist() == part.tolist()


def test_people_are_told_later_and_with_the_least_burn() -> None:
    """The message names since when, what value and how many litres at least should have gone."""
    levels = levels_of(readings([790.0] + [800.0] * 9))
    assert stuck_run(levels, expected_burn_l=np.arange(10) * 8.0) is None  # 64 l of 64.8 l
    run = stuck_run(levels, expected_burn_l=np.arange(10) * 9.0)
    assert run is not None
    assert (str(run.since), run.raw, run.readings, run.expected_l) == ("2024-01-02T06:00:00", 800.0, 9, 72.0)


def test_nobody_is_told_of_a_run_that_is_over_or_of_nothing() -> None:
    """A sensor that moved again, and a tank without levels, raise no message."""
    moved = levels_of(readings([800.0] * 9 + [810.0]))
    assert stuck_run(moved, expected_burn_l=np.arange(10) * 20.0) is None
    nothing = levels_of(readings([65535.0]))
    assert stuck_run(nothing, expected_burn_l=np.zeros(1)) is None
    assert not find_stuck(nothing, expected_burn_l=np.zeros(1)).any()


def test_repeats_are_counted_among_trusted_levels() -> None:
    """A value repeats the one before it that was trusted."""
    levels = levels_of(readings([800.0, 800.0, 65535.0, 800.0, 810.0]))
    assert levels.repeats().tolist() == [False, True, False, True, False]


def test_expected_burn_is_spread_over_its_day() -> None:
    """Half a day carries half its burn; outside the days nothing is added."""
    at = np.array(["2023-12-31T00:00", "2024-01-01T06:00", "2024-01-09T00:00"], "datetime64[s]")
    burn = cumulative_burn_l(
        at, date=np.array(["2024-01-01"], "datetime64[D]"), burn_l_per_day=np.array([8.0])
    )
    assert burn.tolist() == [0.0, 2.0, 8.0]


def test_a_value_read_by_a_person_has_its_own_spread() -> None:
    """A stick read to 5 mm, a gauge to an eighth and a value without a step stand with their own steps."""
    stick, gauge = readings([500.0], Quantity.DIP_MM), readings([3 / 8], Quantity.FRACTION)
    fine = levels_of(replace(stick, step=np.array([5.0])))
    coarse = levels_of(replace(gauge, step=np.array([1 / 8])))
    assert fine.sd_l[0] == pytest.approx(2.16 * np.sqrt(25.0 / 12.0 + SENSOR_FLOOR_MM**2))
    assert coarse.sd_l[0] == pytest.approx(2808.0 / 8.0 / np.sqrt(12.0), rel=0.01)
    assert coarse.step_l[0] == pytest.approx(2808.0 / 8.0)
    unsaid = levels_of(replace(stick, step=np.array([np.nan])))
    assert unsaid.sd_l[0] == levels_of(stick).sd_l[0]


def test_a_step_of_litres_where_a_centimetre_holds_nothing_is_no_more_than_the_tank() -> None:
    """At the very bottom of a lying tank a gauge's step has a finite spread."""
    lying = replace(TANK, shape=LyingCylinder(1300.0, 2000.0))
    found = levels_of(replace(readings([0.0], Quantity.FRACTION), step=np.array([0.1])), lying)
    assert np.isfinite(found.sd_l[0])
    assert 0.0 < found.sd_l[0] <= lying.capacity_l
