"""The open data: what was measured stays as it was, what was invented is marked."""

import csv
import doctest

import numpy as np
import pytest

from tests.accuracy import baselines, command, data, replay, run, tanks
from tests.accuracy.data import (
    KWH_PER_THERM,
    THERMS_PER_CCF,
    belgian_houses,
    by_degree_days,
    cambridge_buildings,
    evenly,
    minnesota_bills,
    whiteside_winter,
)


@pytest.mark.parametrize("module", [baselines, command, data, replay, run, tanks], ids=lambda m: m.__name__)
def test_the_examples_hold(module):
    """The examples in the docstrings of the accuracy package run and hold."""
    assert doctest.testmod(module, optionflags=doctest.NORMALIZE_WHITESPACE).failed == 0


def test_belgian_houses_keep_their_kilowatt_hours_and_the_air_its_mean():
    """Daily sums lose no hour of 2016, summer-time days of 23 and 25 hours included."""
    from importlib.metadata import distribution

    import pandas as pd

    where = distribution("opengrid").locate_file("opengrid/datasets/gas_2016_hour.pkl")
    hours = pd.read_pickle(str(where), compression="gzip").iloc[:-1]  # the last hour is of 2017
    houses = belgian_houses()
    assert [len(house.date) for house in houses] == [366] * 3
    assert {str(house.date[0]) for house in houses} == {"2016-01-01"}
    for house in houses:
        assert house.kwh.sum() == pytest.approx(hours[house.name[-4:]].sum() / 1000.0)
        assert 10.0 < house.temp_c.mean() < 12.0  # Brussels, 2016
        assert 900.0 < house.ghi_wh_m2.sum() / 1000.0 < 1200.0  # kWh/m2 a year in Belgium


def test_whiteside_orders_hold_the_same_weeks():
    """Two random orders differ, and both burn the file's 26 weeks of gas before insulation."""
    first, second = (whiteside_winter("Before", rng=np.random.default_rng(seed)) for seed in (1, 2))
    assert first.kwh.sum() == pytest.approx(second.kwh.sum())
    assert sorted(first.temp_c) == pytest.approx(sorted(second.temp_c))
    assert not np.array_equal(first.temp_c, second.temp_c)
    assert len(first.date) == 26 * 7
    assert len(whiteside_winter("After", rng=np.random.default_rng(1)).date) == 30 * 7


@pytest.mark.parametrize("spread", [by_degree_days, evenly])
def test_a_bill_keeps_its_total_and_its_mean_temperature(spread):
    """The bill of 28 January 2004: 242 ccf over 30 days at 15 F, however it is spread."""
    record = minnesota_bills(rng=np.random.default_rng(1), spread=spread)
    on = (record.date > np.datetime64("2003-12-29")) & (record.date <= np.datetime64("2004-01-28"))
    assert on.sum() == 30
    assert record.kwh[on].sum() == pytest.approx(242 * THERMS_PER_CCF * KWH_PER_THERM)
    assert record.temp_c[on].mean() == pytest.approx((15 - 32) / 1.8)


def test_months_without_a_bill_are_not_known():
    """From 28 December 2000 to 16 June 2001 nobody kept the bills; a typical winter stands there."""
    record = minnesota_bills(rng=np.random.default_rng(1))
    away = (record.date > np.datetime64("2000-12-27")) & (record.date <= np.datetime64("2001-06-16"))
    assert not record.known[away].any()
    assert record.known[record.date == np.datetime64("2000-12-27")].all()
    assert np.isfinite(record.kwh).all()
    assert np.isfinite(record.temp_c).all()
    january = (
        away & (record.date >= np.datetime64("2001-01-01")) & (record.date < np.datetime64("2001-02-01"))
    )
    assert record.temp_c[january].mean() < -3.0


def test_the_bills_run_to_may_2010():
    """The last bill's day, printed 36, is read as the 26th, 29 billing days after the one before."""
    assert str(minnesota_bills(rng=np.random.default_rng(1)).date[-1]) == "2010-05-26"


def write_building(folder, rows):
    """Write a small file of the Cambridge form."""
    (folder / "gas").mkdir()
    with (folder / "gas" / "uk_cam_b99.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["date", "temp_c", "consumption", "ghi_wh_m2", "zero_hours", "flag"])
        writer.writerows(rows)


def test_a_faulty_day_and_the_zeros_beside_it_are_not_known(tmp_path):
    """A meter that stood still from warm days into a flagged cold one is not trusted on any of them."""
    kwh = [50, 40, 0, 0, 0, 60, 0, 70]
    flags = ["ok", "ok", "ok", "ok", "zero_when_cold", "ok", "ok", "ok"]
    days = np.arange("2020-10-01", "2020-10-09", dtype="datetime64[D]")
    write_building(tmp_path, [(d, 8.0, k, 900, 0, f) for d, k, f in zip(days, kwh, flags, strict=True)])
    (record,) = cambridge_buildings(tmp_path)
    assert record.known.tolist() == [True, True, False, False, False, True, True, True]
    assert record.kwh[record.known].tolist() == [50, 40, 60, 0, 70]


def test_a_building_is_cut_where_its_dates_break_off(tmp_path):
    """Years missing from the file are not bridged: two records, none of which holds a gap."""
    days = ["2014-12-30", "2014-12-31", "2018-01-01", "2018-01-02", "2018-01-03"]
    write_building(tmp_path, [(d, 8.0, 50, 900, 0, "ok") for d in days])
    first, second = cambridge_buildings(tmp_path)
    assert (len(first.date), len(second.date)) == (2, 3)
    assert (first.name, second.name) == (
        "Cambridge building b99, 2014-2014",
        "Cambridge building b99, 2018-2018",
    )
