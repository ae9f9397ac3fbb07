"""The true houses of the accuracy runs: plausible beside published figures, closed in energy, not the model."""

from functools import cache

import numpy as np

from tests.accuracy.world import (
    REPORTING,
    TUNING,
    Faults,
    Life,
    World,
    draw_life,
    oracle_litres,
    weather_years_for,
)

DAYS = 731


@cache
def lives(world: World, number: int = 24) -> tuple[Life, ...]:
    """Lives of a world, the same in every test."""
    return tuple(draw_life(world, np.random.default_rng([7, i]), days=DAYS) for i in range(number))


def test_a_seed_gives_the_same_life() -> None:
    """Bit for bit: readings, burn, tickets and survey."""
    one, other = (draw_life(TUNING, np.random.default_rng(3), days=200) for _ in range(2))
    np.testing.assert_array_equal(one.burned_l, other.burned_l)
    np.testing.assert_array_equal(one.readings.value, other.readings.value)
    np.testing.assert_array_equal(one.deliveries.litres, other.deliveries.litres)
    assert one.survey == other.survey
    assert one.tank == other.tank


def test_energy_is_neither_made_nor_lost() -> None:
    """Heat, sun and gains of a day are what was lost and what is stored, to a millionth of a kWh."""
    for life in lives(TUNING):
        into = life.sums[:, 1] + life.sums[:, 3]
        np.testing.assert_allclose(into, life.sums[:, 4] + life.sums[:, 5], atol=1e-6)


def test_a_leak_lowers_the_level_and_changes_nothing_else() -> None:
    """With a leak the burn, the weather and the survey stay bit for bit."""
    sound = draw_life(TUNING, np.random.default_rng(5), days=200)
    leaking = draw_life(TUNING, np.random.default_rng(5), days=200, faults=Faults(leak=(150, 3.0)))
    np.testing.assert_array_equal(sound.burned_l, leaking.burned_l)
    np.testing.assert_array_equal(sound.weather.temp_c, leaking.weather.temp_c)
    np.testing.assert_array_equal(sound.level_l[:150], leaking.level_l[:150])
    np.testing.assert_allclose((sound.level_15c_l - leaking.level_15c_l)[150:160], 3.0 * np.arange(1, 11))


def test_the_tank_never_runs_dry() -> None:
    """The level stays above the heel, and what is burned and delivered explains it to the litre."""
    for world in (TUNING, REPORTING):
        for life in lives(world):
            assert life.level_l.min() > life.tank.heel_l * 0.9
            change = np.diff(life.level_15c_l)
            np.testing.assert_allclose(change, (life.delivered_l - life.burned_l)[1:], atol=1e-9)


def test_the_oracle_foretells_whole_litres() -> None:
    """Its burn rises from day to day, and has the spread of the weather."""
    life = lives(TUNING)[2]
    temp, ghi = weather_years_for(
        life, start=life.date[400], days=60, scenarios=200, rng=np.random.default_rng(1)
    )
    burned = oracle_litres(
        life, as_of_day=399, temp_c=temp, ghi_wh_m2=ghi, rng=np.random.default_rng(2), samples=200
    )
    assert burned.shape == (200, 60)
    assert (np.diff(burned, axis=1) >= 0.0).all()
    assert burned[:, -1].std() > 0.0
