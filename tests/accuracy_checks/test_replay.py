"""The replays: no method can look ahead, and every method is scored on the same days."""

from dataclasses import replace

import numpy as np
import pytest

from tests.accuracy.data import whiteside_winter
from tests.accuracy.model import burn_model
from tests.accuracy.replay import LookAheadError, Window, cut_weather, open_window, replay
from tests.accuracy.run import METHODS
from tests.accuracy.tanks import put_tank


def a_house(seed=1):
    """Half a year of the Whiteside house."""
    rng = np.random.default_rng(seed)
    return put_tank(whiteside_winter("Before", rng=rng), rng=rng)


def changed_after(house, days):
    """The same house, with another fate after so many days."""
    later = np.arange(len(house.date)) >= days
    return replace(
        house,
        burned_l=np.where(later, 5.0 + 2.0 * house.burned_l, house.burned_l),
        level_l=np.where(later, 700.0, house.level_l),
        ticket_l=np.where(later, 33.0, house.ticket_l),
    )


@pytest.mark.parametrize("method", METHODS.values(), ids=METHODS.keys())
def test_no_forecast_changes_when_what_comes_after_changes(method):
    """With another future of the tank, and the same weather, each method foretells the same."""
    house = a_house()
    first, second = (
        replay(h, method, horizons=(30,), first_after_days=84, last_after_days=84)[30]
        for h in (house, changed_after(house, 84))
    )
    assert len(first.actual_l) == 1
    assert np.array_equal(first.samples_l, second.samples_l)
    assert first.actual_l[0] != second.actual_l[0]


def test_a_window_refuses_what_lies_after_its_as_of_day():
    """A window cannot be made with a later day, nor asked for one."""
    house = a_house()
    as_of = house.date[40]
    with pytest.raises(LookAheadError, match="must end on"):
        Window(as_of, house.weather, house.level_l, house.ticket_l, 51.5, 0.0)
    with pytest.raises(LookAheadError, match="41 days"):
        Window(as_of, cut_weather(house.weather, 0, 41), house.level_l, house.ticket_l, 51.5, 0.0)
    window = open_window(house, as_of)
    assert window.days_until(as_of) == 41
    with pytest.raises(LookAheadError, match="lies after"):
        window.days_until(house.date[41])
    with pytest.raises(LookAheadError, match="lies outside"):
        open_window(house, house.date[-1] + 1)


def test_a_window_is_a_copy():
    """What a method writes into its window does not reach the house."""
    house = a_house()
    window = open_window(house, house.date[40])
    window.level_l[:] = 0.0
    window.weather.temp_c[:] = 0.0
    assert house.level_l[:41].min() > 0.0
    assert house.weather.temp_c[:41].max() > 0.0


def test_the_actual_litres_are_those_of_the_days_after_as_of():
    """With 28 days known, 14 days ahead are days 29 to 42."""
    house = a_house()
    outcomes = replay(house, lambda window: lambda ahead: np.asarray(len(ahead.date) * 1.0))
    first = outcomes[14]
    assert first.history_days[:2].tolist() == [28, 35]
    assert first.as_of[0] == house.date[27]
    assert first.actual_l[0] == pytest.approx(house.burned_l[28:42].sum())
    assert first.foretold_l[0] == 14.0
    assert first.as_of[-1] + 14 <= house.date[-1]


def test_the_weather_ahead_is_that_of_the_horizon():
    """A method is handed the days after as-of, as many as the horizon, and no more."""
    house = a_house()
    handed = []
    replay(house, lambda window: lambda ahead: np.asarray(float(len(handed.append(ahead) or "x"))))
    assert handed[0].date.tolist() == house.date[28:42].tolist()
    assert {len(ahead.date) for ahead in handed} == {14, 30, 60}


def test_forecasts_over_unknown_days_are_not_scored():
    """No horizon that touches an invented day counts, and none made on one."""
    house = a_house()
    known = house.known.copy()
    known[100] = False
    level_l = house.level_l.copy()
    level_l[100] = np.nan
    outcomes = replay(replace(house, known=known, level_l=level_l), METHODS["30-day average"], every_days=1)[
        14
    ]
    assert not ((outcomes.history_days <= 101) & (outcomes.history_days + 14 > 100)).any()
    assert {86, 102} <= set(outcomes.history_days.tolist())


def test_the_burn_model_tells_a_spread():
    """The engine's method gives many samples, all of them at least nothing."""
    house = a_house()
    outcomes = replay(house, burn_model, horizons=(28,), first_after_days=56, last_after_days=56)[28]
    assert outcomes.samples_l.shape[1] >= 500
    assert outcomes.samples_l.min() >= 0.0
    assert outcomes.samples_l.std() > 1.0
