"""The command asked about real houses: what it is given, how its answers are counted and scored."""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.accuracy import baselines, command
from tests.accuracy.command import (
    COMMAND,
    OWN_YEARS_D,
    Answer,
    as_of_days,
    ask,
    count_answers,
    foretell_over,
    score_command,
    weather_ahead,
    what_came,
)
from tests.accuracy.data import belgian_houses, minnesota_bills
from tests.accuracy.replay import open_window
from tests.accuracy.tanks import put_tank


@cache
def belgian_house():
    """The first of the three, with its tank."""
    return put_tank(belgian_houses()[0], rng=np.random.default_rng(1))


def told(day, *, now_l, then_l, band_l):
    """An answer that tells the given litres now and on each day after."""
    p10, p90 = band_l
    then = {"p10": p10, "p50": then_l, "p90": p90}
    return Answer(day, 28, 0, {"state": "OK", "reasons": [], "litres": {"p50": now_l}, "daily": [then] * 60})


def withheld(state, *codes):
    """An answer that tells nothing, with a reason of each code and a milder one beside them."""
    reasons = [{"code": code, "state": state} for code in codes] + [{"code": "no_zone", "state": "OK"}]
    return Answer(
        np.datetime64("2016-02-01"),
        28,
        0,
        {"state": state, "reasons": reasons, "litres": None, "daily": []},
    )


def test_the_command_looks_at_nothing_after_the_day_asked_for():
    """Another fate of the house after the as-of day leaves the whole answer as it was."""
    house = belgian_house()
    later = house.date > house.date[83]
    changed = replace(house, level_l=np.where(later, 400.0, house.level_l), ticket_l=house.ticket_l + later)
    first, second = (ask(h, house.date[83]) for h in (house, changed))
    assert json.dumps(first.document) == json.dumps(second.document)
    assert first.history_days == 84
    assert first.is_told


def test_the_foretold_litres_are_those_of_the_level_now_and_then():
    """700 litres now and 640 after 14 days, nothing delivered, are 60 burned."""
    answer = told(np.datetime64("2016-02-01"), now_l=700.0, then_l=640.0, band_l=(620.0, 660.0))
    assert answer.burned_l(14) == 60.0
    assert answer.band_l(14) == (620.0, 660.0)


def test_what_came_counts_no_delivery():
    """The litres left are the level on the as-of day less what was burned, whatever was delivered since."""
    house = belgian_house()
    day = np.flatnonzero(house.true_delivery_l)[0] - 1
    burned_l, left_l = what_came(house, house.date[day], 14)
    assert burned_l == pytest.approx(house.burned_l[day + 1 : day + 15].sum())
    assert left_l == pytest.approx(house.true_level_l[day] - burned_l)
    assert what_came(house, house.date[-14], 14) is None
    assert what_came(house, house.date[-15], 14) is not None


def test_a_house_is_asked_where_it_was_read_and_as_long_as_something_can_be_scored():
    """Every 28 days from day 28 on, but not on a day without a reading, nor too near the end."""
    house = belgian_house()
    level_l = house.level_l.copy()
    level_l[55] = np.nan
    days = [
        int(np.flatnonzero(house.date == d)[0])
        for d in as_of_days(replace(house, level_l=level_l), shortest=14)
    ]
    assert days[:3] == [27, 83, 111]
    assert days[-1] + 14 < len(house.date)


def test_the_command_is_not_asked_before_it_takes_readings():
    """The bills begin in 1999; the first question is asked 28 days after the readings of 2000 begin."""
    house = put_tank(minnesota_bills(rng=np.random.default_rng(1)), rng=np.random.default_rng(1))
    assert house.date[0] < np.datetime64("2000-01-01")
    assert next(as_of_days(house, shortest=14)) >= np.datetime64("2000-01-29")


def test_what_is_withheld_is_counted_by_its_own_reasons():
    """Only reasons of the state that withheld are named, and told answers are not among them."""
    answers = [withheld("CHECK", "stuck"), withheld("CHECK", "stuck"), withheld("URGENT", "fast_loss")]
    answers.append(told(np.datetime64("2016-02-01"), now_l=700.0, then_l=640.0, band_l=(620.0, 660.0)))
    answers.append(Answer(np.datetime64("2016-02-01"), 28, 2, {}))
    telling = count_answers("mill", answers)
    assert telling.asked == 5
    assert telling.states == {"CHECK": 2, "URGENT": 1, "OK": 1, "not usable": 1}
    assert telling.withheld_for == {"CHECK stuck": 2, "URGENT fast_loss": 1, "not usable": 1}


def test_scores_are_of_the_told_answers_alone(monkeypatch):
    """With two answers told and the rest withheld, error, bias and band are those of the two, by hand."""
    house = belgian_house()
    days = list(as_of_days(house, shortest=14))
    burned = {day: what_came(house, day, 14)[0] for day in days[:2]}
    left = {day: what_came(house, day, 14)[1] for day in days[:2]}
    answers = {
        days[0]: told(
            days[0], now_l=900.0, then_l=900.0 - burned[days[0]] - 10.0, band_l=(left[days[0]] - 5.0, 1e4)
        ),
        days[1]: told(days[1], now_l=900.0, then_l=900.0 - burned[days[1]] + 4.0, band_l=(1e4, 2e4)),
    }
    monkeypatch.setattr(
        command, "ask", lambda house, day, own_years: answers.get(day, withheld("CHECK", "stuck"))
    )
    rivals = {"30-day average": baselines.average_of_30_days}
    scores, telling = score_command((house,), name="mill", horizons=(14,), rivals=rivals)
    mine = next(s for s in scores if s.method == COMMAND)
    total = sum(burned.values())
    assert mine.forecasts == 2
    assert mine.error_pct == pytest.approx(100.0 * 14.0 / total, abs=0.006)
    assert mine.bias_pct == pytest.approx(100.0 * 6.0 / total, abs=0.006)
    assert mine.cover_80 == 0.5
    assert telling.withheld_for == {"CHECK stuck": len(days) - 2}
    assert {s.forecasts for s in scores} == {2}


def test_rivals_foretell_the_mean_over_weather_years():
    """The K-factor's litres are those of the mean degree-days of the drawn years, not of a mean year."""
    house = belgian_house()
    window = open_window(house, house.date[83])
    years = weather_ahead(window, days=30, own_years=False)
    ahead = np.mean([np.maximum(0.0, 15.5 - w.temp_c).sum() for w in years])
    one_year = np.maximum(0.0, 15.5 - house.weather.temp_c).sum()
    litres_a_degree_day = float(baselines.k_factor_of_a_year(window)(house.weather)) / one_year
    foretold = foretell_over(baselines.k_factor_of_a_year, window, years, days=30)
    assert foretold == pytest.approx(litres_a_degree_day * ahead)
    assert len(years) == 100
    assert years[0].date[0] == house.date[84]


def test_own_weather_years_come_only_when_there_are_enough():
    """A house far from all normals gets their weather until six years of its own are known."""
    house = put_tank(minnesota_bills(rng=np.random.default_rng(1)), rng=np.random.default_rng(1))
    young, old = (open_window(house, house.date[n]) for n in (OWN_YEARS_D - 2, OWN_YEARS_D - 1))
    far, near = (
        np.mean([w.temp_c for w in weather_ahead(window, days=300, own_years=True)])
        for window in (young, old)
    )
    assert near > far + 2.0  # Duluth, whose normals are the nearest, is the colder place
