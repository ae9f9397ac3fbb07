"""The oracle: the true house from its true state, lacking only the weather and the chance of the days ahead.

Flow     life, weather scenarios -> **litres burned** by each scenario
"""

import numpy as np

from tests.accuracy.world.habits import draw_habits
from tests.accuracy.world.life import Life, driving_days, site_departures, sun_of
from tests.accuracy.world.physics import run
from tests.accuracy.world.records import Floats


def oracle_litres(
    life: Life, *, as_of_day: int, temp_c: Floats, ghi_wh_m2: Floats, rng: np.random.Generator, samples: int
) -> Floats:
    """Foretell the burn as well as anyone could who knows the house but not what comes.

    Parameters
    ----------
    life
        Its truth up to the end of ``as_of_day`` is used, and nothing after.
    as_of_day
        Number of the last day known; the first day ahead is the next one.
    temp_c, ghi_wh_m2
        Weather scenarios as of the station, shape (scenario, day). [degC, Wh/m²]
    rng
        Source of chance: habits, hours within the days, the site's own air.
    samples
        How many; scenarios are taken in turn.

    Returns
    -------
    litres
        Burned from the end of ``as_of_day`` on, cumulated, at 15 °C, shape (sample, day). [l]
    """
    house, climate = life.house, life.house.climate
    days = temp_c.shape[1]
    date = life.date[as_of_day] + 1 + np.arange(days)
    scenario = np.arange(samples) % temp_c.shape[0]
    temp, ghi = temp_c[scenario], ghi_wh_m2[scenario]
    site_rng, habit_rng, hour_rng = rng.spawn(3)
    at_house = temp + site_departures(house, temp.shape, site_rng)
    same = np.ones(days)
    habits, _ = draw_habits(
        house.ways, date=date, temp_c=at_house, start=life.walk[as_of_day], rng=habit_rng,
        more_people=life.more_people[as_of_day] * same, warmer_k=life.warmer_k[as_of_day] * same,
    )  # fmt: skip
    driving = driving_days(
        date, at_house, ghi, climate.hours_of(date, temp, hour_rng),
        life.loss_factor[as_of_day] * same, life.efficiency_factor[as_of_day] * same,
    )  # fmt: skip
    out, _, _ = run(
        house.physics, driving, habits, sun_of(climate), climate.hours, start=life.states[as_of_day]
    )
    return np.cumsum(out[:, :, 0], axis=1) / life.tank.fuel.gross_kwh_per_l
