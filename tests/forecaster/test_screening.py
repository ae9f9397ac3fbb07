"""Screening: what cannot be the level is flagged, nothing is dropped, and ordinary oil is left alone."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import TankError
from forecaster.fuel import KEROSENE
from forecaster.readings import Quantity, Readings
from forecaster.screening import (
    SET_ASIDE,
    Flag,
    burner_l_per_day,
    fall_limit_l,
    rise_limit_l,
    screen_readings,
)
from forecaster.tanks import Tank
from forecaster.tanks.upright import UprightBox

BOX = UprightBox(1800.0, 1200.0, 1300.0)  # 21.6 l a centimetre, 2,808 l
TANK = Tank(BOX, KEROSENE, safe_fill_l=2600.0, heel_l=108.0, sensor_height_mm=1350.0, dead_band_mm=100.0)


def readings(
    values: list[float] | np.ndarray, quantity: Quantity = Quantity.ULLAGE_MM, *, hours: float = 24.0
) -> Readings:
    """Make readings at even spacing from 1 January 2024, 06:00 UTC."""
    n = len(values)
    at = np.datetime64("2024-01-01T06:00:00") + (np.arange(n) * hours * 3600).astype("timedelta64[s]")
    nan = np.full(n, np.nan)
    return Readings(at, np.full(n, quantity.value), np.array(values, dtype=float), nan, nan)


def names(values: list[float] | np.ndarray, tank: Tank = TANK, **more: object) -> list[str | None]:
    """Screen readings and name the flags."""
    return [Flag(int(f)).name for f in screen_readings(readings(values, **more), tank)]  # type: ignore[arg-type]


@pytest.mark.parametrize("sentinel", [65535.0, 32767.0, 9999.0, 655350.0, 65535 * 25.4, 0.0])
def test_what_sensors_send_without_an_echo_is_no_level(sentinel: float) -> None:
    """A sentinel in mm, cm or inches, or an ullage of 0, is "no echo", never an empty or a full tank."""
    assert names([800.0, sentinel, 810.0]) == ["NONE", "NO_ECHO", "NONE"]


def test_sentinel_that_fits_the_tank_is_a_reading() -> None:
    """999 mm between 990 and 1000 is a level; in a tank too small for it, it is no echo."""
    assert names([990.0, 999.0, 1000.0]) == ["NONE"] * 3
    small = Tank(
        UprightBox(900.0, 700.0, 800.0), KEROSENE, safe_fill_l=450.0, heel_l=30.0, sensor_height_mm=850.0
    )
    assert names([400.0, 999.0, 410.0], small) == ["NONE", "NO_ECHO", "NONE"]


def test_outside_the_tank_is_flagged_beyond_the_tolerance_only() -> None:
    """Two steps and 2 % of the distance outside is the edge; further out is not in the tank."""
    assert names([1340.0, 1390.0, 1400.0]) == ["NONE", "NONE", "BELOW_TANK"]
    assert names([1290.0, 1320.0, 1321.0], quantity=Quantity.DIP_MM) == ["NONE", "NONE", "ABOVE_TANK"]
    assert names([2700.0, 2850.0, 2870.0], quantity=Quantity.LITRES) == ["NONE", "NONE", "ABOVE_TANK"]
    assert names([0.97, 1.01, 1.2], quantity=Quantity.FRACTION) == ["NONE", "NONE", "ABOVE_TANK"]


def test_dead_band_is_a_lower_bound_and_not_set_aside() -> None:
    """A reading at or within the dead band says "at least", and stays in use."""
    flags = screen_readings(readings([90.0, 100.0, 110.0]), TANK)
    assert flags.tolist() == [Flag.DEAD_BAND, Flag.DEAD_BAND, Flag.NONE]
    assert not (flags & SET_ASIDE).any()


def test_dead_band_above_the_top_leaves_no_level_to_bound() -> None:
    """If the sensor sees down to above the tank's top, a reading in its dead band is above the tank."""
    high = Tank(BOX, KEROSENE, safe_fill_l=2600.0, heel_l=108.0, sensor_height_mm=1600.0, dead_band_mm=200.0)
    assert names([700.0, 150.0, 700.0], high) == ["NONE", "ABOVE_TANK", "NONE"]


def test_ullage_needs_the_sensor_height() -> None:
    """Without a sensor height ullages say nothing, dips and litres do."""
    bare = Tank(BOX, KEROSENE, safe_fill_l=2600.0, heel_l=108.0)
    with pytest.raises(TankError, match="the readings are ullages"):
        screen_readings(readings([800.0]), bare)
    assert names([800.0], bare, quantity=Quantity.DIP_MM) == ["NONE"]


@pytest.mark.parametrize(("wrong", "where"), [(400.0, 5), (1200.0, 3), (110.0, 1)])
def test_single_reading_off_both_neighbours_is_a_spike(wrong: float, where: int) -> None:
    """One reading that leaves and comes back by more than burning and chance is a spike, up or down."""
    values = np.arange(800.0, 870.0, 10.0)
    values[where] = wrong
    assert names(values) == ["SPIKE" if i == where else "NONE" for i in range(7)]


def test_spikes_next_to_each_other_do_not_condemn_the_reading_between() -> None:
    """Between two spikes, the good reading is judged by the last good one."""
    assert names([800.0, 300.0, 800.0, 310.0, 810.0]) == ["NONE", "SPIKE", "NONE", "SPIKE", "NONE"]


def test_delivery_is_no_spike() -> None:
    """A rise that stays is a delivery."""
    assert names([1200.0, 1210.0, 400.0, 410.0, 420.0]) == ["NONE"] * 5


def test_loss_before_a_delivery_is_no_spike() -> None:
    """A fast fall followed by a rise to quite another level is told as what it is, not smoothed away."""
    assert names([800.0, 300.0, 1200.0, 1190.0], quantity=Quantity.DIP_MM) == ["NONE"] * 4


def test_fall_that_burning_explains_is_no_spike() -> None:
    """Between monthly dips, a low level before a delivery back to the old one is ordinary."""
    assert names([900.0, 200.0, 890.0], quantity=Quantity.DIP_MM, hours=720.0) == ["NONE"] * 3


@pytest.mark.parametrize("ratio", [10.0, 25.4])
@pytest.mark.parametrize("quantity", [Quantity.ULLAGE_MM, Quantity.DIP_MM])
def test_other_unit_from_some_day_on_is_asked_about(quantity: Quantity, ratio: float) -> None:
    """Values of a tenth or 1/25.4, sent on as millimetres, are set aside from the first one on."""
    step = 4.0 if quantity is Quantity.ULLAGE_MM else -4.0
    values = 1000.0 + step * np.arange(12)
    values[7:] /= ratio
    tank = Tank(BOX, KEROSENE, safe_fill_l=2600.0, heel_l=108.0, sensor_height_mm=1350.0)
    for n in (8, 9, 12):
        assert names(values[:n], tank, quantity=quantity) == ["NONE"] * 7 + ["UNIT"] * (n - 7)


def test_unit_that_changes_back_is_believed_again() -> None:
    """After the step back, readings are in use again."""
    values = 1000.0 + 4.0 * np.arange(12)
    values[4:8] /= 10.0
    tank = Tank(BOX, KEROSENE, safe_fill_l=2600.0, heel_l=108.0, sensor_height_mm=1350.0)
    assert names(values, tank) == ["NONE"] * 4 + ["UNIT"] * 4 + ["NONE"] * 4


@pytest.mark.parametrize("gallon", [3.785411784, 4.54609])
def test_gallons_after_litres_are_asked_about(gallon: float) -> None:
    """A level in litres that goes on in gallons is set aside."""
    values = np.array([1500.0, 1490.0, 1480.0, 1470.0 / gallon, 1460.0 / gallon])
    assert names(values, quantity=Quantity.LITRES) == ["NONE"] * 3 + ["UNIT"] * 2


def test_delivery_that_looks_like_another_unit_is_cleared_by_its_ticket_or_by_time() -> None:
    """An ullage of a tenth after a fill is believed with a ticket, or after two more coarse steps."""
    tank = Tank(BOX, KEROSENE, safe_fill_l=2700.0, heel_l=108.0, sensor_height_mm=1350.0)
    values = [1000.0, 1010.0, 100.0, 110.0]
    assert names(values, tank) == ["NONE", "NONE", "UNIT", "UNIT"]
    assert names([*values, 120.0], tank) == ["NONE"] * 5
    ticket = np.array(["2024-01-02T14:00:00"], "datetime64[s]")
    assert not screen_readings(readings(values), tank, ticket_at=ticket).any()


def test_level_that_creeps_up_three_litres_a_day_is_asked_about() -> None:
    """Oil does not grow: a steady small rise is found within six weeks, and not on the first days."""
    litres = 1000.0 + 3.0 * np.arange(60)
    flags = screen_readings(readings(np.round(litres / 21.6) * 21.6, Quantity.LITRES), TANK)
    first = int(np.flatnonzero(flags & Flag.TREND)[0])
    assert 14 <= first <= 42
    assert (flags[first:] == Flag.TREND).all()


def test_repeats_and_conflicts_of_one_instant_are_flagged() -> None:
    """Of one instant, the first reading counts; the same again and another value are named."""
    three = readings([800.0, 800.0, 700.0, 810.0])
    at = three.at.copy()
    at[1:3] = at[0]
    flags = screen_readings(Readings(at, three.quantity, three.value, three.air_c, three.oil_c), TANK)
    assert flags.tolist() == [Flag.NONE, Flag.DUPLICATE, Flag.CONFLICT, Flag.NONE]


def test_forty_equal_values_are_no_fault_by_themselves() -> None:
    """A value that repeats is left to the burn that was to be expected."""
    assert names([800.0] * 40) == ["NONE"] * 40


def test_no_readings_give_no_flags() -> None:
    """An empty series is screened like any other."""
    assert names([]) == []


def ordinary_flags(
    seed: int, hours: float, *, noise_mm: Callable[[np.random.Generator], float]
) -> np.ndarray:
    """Flags of 200 readings: burning of 1 to 25 l a day, a step of 1 cm, noise, ticketed deliveries."""
    rng = np.random.default_rng(seed)
    n = 200
    level, ticket, dips = 1800.0, [], []
    at = readings([0.0] * n, hours=hours).at
    for i in range(n):
        level -= rng.uniform(1.0, 25.0) * hours / 24.0
        if level < 600.0:
            level += rng.uniform(500.0, 1800.0)
            ticket.append(at[i])
        dips.append(level / 2.16 + noise_mm(rng))
    ullage = np.round((1350.0 - np.array(dips)) / 10.0) * 10.0
    given_at = np.array(ticket, "datetime64[s]")
    return screen_readings(readings(ullage, hours=hours), TANK, ticket_at=given_at) & SET_ASIDE


@given(st.integers(0, 2**32 - 1), st.sampled_from([6.0, 24.0, 168.0]))
def test_ordinary_oil_is_left_alone(seed: int, hours: float) -> None:
    """Ordinary readings raise no flag where chance stays within 6 mm: with the step less than a spike."""
    assert not ordinary_flags(seed, hours, noise_mm=lambda rng: rng.uniform(-6.0, 6.0)).any()


@pytest.mark.parametrize("hours", [6.0, 24.0, 168.0])
def test_a_coarse_sensor_is_hardly_ever_doubted(hours: float) -> None:
    """With normal chance of 4 mm, which knows no bound, at most 1 reading in 2,000 is set aside."""
    flags = [ordinary_flags(seed, hours, noise_mm=lambda rng: rng.normal(0.0, 4.0)) for seed in range(50)]
    assert np.count_nonzero(flags) <= 5


@given(
    st.lists(st.floats(0.0, 1e7, allow_nan=False), max_size=30),
    st.sampled_from(list(Quantity)),
    st.sampled_from([0.01, 24.0, 1000.0]),
)
def test_any_values_are_screened(values: list[float], quantity: Quantity, hours: float) -> None:
    """No values make the screens fail, and each reading gets its flags."""
    assert len(screen_readings(readings(values, quantity, hours=hours), TANK)) == len(values)


@given(st.integers(1, 28), st.floats(200.0, 900.0))
def test_one_wild_reading_costs_only_itself(where: int, off: float) -> None:
    """A spike anywhere leaves every other reading in use."""
    values = np.full(30, 1000.0)
    values[where] -= off
    flags = screen_readings(readings(values), TANK)
    assert np.flatnonzero(flags).tolist() == [where]


def test_limits_grow_with_time_and_chance() -> None:
    """The fall that burning explains grows with the days, both limits with the spread of a reading."""
    burner = burner_l_per_day(30.0, gross_kwh_per_l=KEROSENE.gross_kwh_per_l)
    falls = fall_limit_l([0.0, 1.0, 2.0], burner=burner, sd_l=[6.0, 6.0, 6.0])
    assert falls[0] == 30.0
    assert (np.diff(falls) > 0.0).all()
    assert rise_limit_l([1.0, 10.0]).tolist() == [50.0, 60.0]
