"""The tanks: nothing is lost between the burn and what the sensor shows."""

import numpy as np
import pytest

from forecaster.fuel import KEROSENE
from tests.accuracy.data import Record
from tests.accuracy.tanks import (
    CAPACITY_L,
    FILL_BELOW_L,
    SAFE_FILL_L,
    input_files,
    put_tank,
    read_level,
    without_errors,
)


def steady(litres_a_day=10.0, days=400, unknown=()):
    """A building that burns the same every day."""
    known = np.ones(days, dtype=bool)
    known[list(unknown)] = False
    return Record(
        name="steady",
        source="made up",
        latitude=52.0,
        longitude=0.0,
        date=np.datetime64("2021-01-01") + np.arange(days),
        kwh=np.full(days, litres_a_day * KEROSENE.gross_kwh_per_l),
        known=known,
        temp_c=np.full(days, 5.5),
        ghi_wh_m2=np.full(days, np.nan),
    )


def test_what_burned_is_what_was_delivered_less_the_change_of_level():
    """Oil is conserved over every day of the record."""
    house = put_tank(steady(), rng=np.random.default_rng(1))
    gone = house.true_level_l[0] - house.true_level_l + np.cumsum(house.true_delivery_l)
    assert gone == pytest.approx(np.cumsum(house.burned_l) - house.burned_l[0])


def test_the_tank_is_filled_below_a_quarter_and_never_above_its_safe_fill():
    """Deliveries come the morning after 25 % is passed, and fill to 95 %."""
    house = put_tank(steady(), rng=np.random.default_rng(1))
    filled = house.true_delivery_l > 0.0
    assert filled.sum() >= 3
    assert house.true_level_l.max() < SAFE_FILL_L
    assert house.true_level_l.min() > FILL_BELOW_L - 2 * 10.0
    assert house.true_level_l[filled] == pytest.approx(SAFE_FILL_L - 10.0)


def test_readings_are_whole_centimetres_within_half_a_step():
    """A reading is 12 litres times a whole number, and at most 6 litres off."""
    litres = np.linspace(0.0, CAPACITY_L, 997)
    read = read_level(litres)
    assert read / 12.0 == pytest.approx(np.round(read / 12.0))
    assert np.abs(read - litres).max() <= 6.0 + 1e-9


def test_tickets_are_off_by_at_most_one_per_cent():
    """Each ticket is within 1 % of what went in, and half a litre of rounding."""
    house = put_tank(steady(days=3000), rng=np.random.default_rng(1))
    filled = house.true_delivery_l > 0.0
    off = np.abs(house.ticket_l - house.true_delivery_l)[filled]
    assert (off <= 0.01 * house.true_delivery_l[filled] + 0.5).all()
    assert off.max() > 1.0
    assert (house.ticket_l[~filled] == 0.0).all()


def test_days_that_are_not_known_have_no_reading():
    """Where the burn was invented the sensor is silent, and the oil still goes."""
    house = put_tank(steady(unknown=range(50, 60)), rng=np.random.default_rng(1))
    assert np.flatnonzero(np.isnan(house.level_l)).tolist() == list(range(50, 60))
    assert np.flatnonzero(np.isnan(without_errors(house).level_l)).tolist() == list(range(50, 60))


def test_only_a_building_far_larger_than_a_house_is_scaled():
    """3,650 litres a year stay, 36,500 become 2,000."""
    assert put_tank(steady(10.0), rng=np.random.default_rng(1)).scale == 1.0
    large = put_tank(steady(100.0), rng=np.random.default_rng(1))
    assert large.burned_l.mean() * 365.25 == pytest.approx(2000.0)


def test_the_same_seed_gives_the_same_tank():
    """Two houses from one seed show the same levels and tickets."""
    one, two = (put_tank(steady(), rng=np.random.default_rng(9)) for _ in range(2))
    assert np.array_equal(one.level_l, two.level_l)
    assert np.array_equal(one.ticket_l, two.ticket_l)


def test_a_tank_too_small_for_its_house_is_refused():
    """Oil below nothing is no tank of the replays."""
    with pytest.raises(ValueError, match="ran dry"):
        put_tank(
            Record(
                name="peaky",
                source="made up",
                latitude=52.0,
                longitude=0.0,
                date=np.datetime64("2021-01-01") + np.arange(400),
                kwh=np.where(np.arange(400) == 200, 2_000.0, 1.0) * KEROSENE.gross_kwh_per_l,
                known=np.ones(400, dtype=bool),
                temp_c=np.full(400, 5.5),
                ghi_wh_m2=np.full(400, np.nan),
            ),
            rng=np.random.default_rng(1),
        )


def test_the_input_files_tell_nothing_later_than_asked():
    """The files for the command end on the day asked for, and carry the levels as ullages."""
    house = put_tank(steady(unknown=[3]), rng=np.random.default_rng(1))
    files = input_files(house, until=house.date[9])
    readings = files["readings.csv"].splitlines()[1:]
    assert len(readings) == 9
    assert readings[-1].startswith("2021-01-10T23:59:00Z,")
    dip_mm = 1300 - float(readings[0].split(",")[1])
    assert 1.2 * dip_mm == pytest.approx(house.level_l[0])
    assert files["weather.csv"].splitlines()[-1] == "2021-01-10,5.500,"
