"""What the people of a house do, day by day, by chance: warmth, water, fires, journeys, guests, odd days.

Flow     a household's ways, chances, temperature of each day -> **habits** of each day
Formula  wanted warmth = set-point + slow AR(1) + day's whim;  a fire with chance logistic in cold and weekend
Source   hot water 25 litres a person and 36 a household, as SAP 2012 has it, from memory; its season after
         the cold water's; all else assumptions
"""

from typing import NamedTuple

import numpy as np
from numba import njit

from tests.accuracy.world.physics import Floats, Habits
from tests.accuracy.world.records import Days

WALK = ("wander_k", "away_d", "guests", "guest_d", "water_wander")
"""How a household stands: slow wander of the set-point, days away left, guests, days they stay, slow wander of
the water drawn (in units of its sd)."""
CHANCES = 9
HOT_C, WATER_KWH_PER_L_K = 52.0, 4.18 / 3600.0


class Ways(NamedTuple):
    """The ways of a household.

    ``works`` is the chance of a working day on which nobody is home; ``fires`` the chance of a fire on a
    weekday evening at 7 °C, 0 for no stove; ``journeys`` and ``visits`` are a year's number; ``forgets`` is
    the chance that the heating runs all day by mistake or is found off.
    """

    people: float
    set_c: float
    wander_sd_k: float
    wander_days: float
    whim_sd_k: float
    works: float
    water_l_person: float
    water_l_house: float
    water_sd: float
    water_wander_sd: float
    fires: float
    fire_kw: float
    fire_hours: float
    fire_cold_per_k: float
    journeys: float
    visits: float
    forgets: float
    ill: float


def draw_habits(
    ways: Ways,
    *,
    date: Days,
    temp_c: Floats,
    start: Floats,
    rng: np.random.Generator,
    more_people: Floats | None = None,
    warmer_k: Floats | None = None,
) -> tuple[Habits, Floats]:
    """Draw what a household does on consecutive days.

    Parameters
    ----------
    ways
        Its ways.
    date
        Civil days, shape (day,).
    temp_c
        Mean temperature, shape (sample, day): cold evenings have more fires. [degC]
    start
        How the household stands on the eve, shape (5,) as `WALK`.
    rng
        Source of chance; the number of draws does not depend on what happens.
    more_people, warmer_k
        Changes of a household by day, shape (day,): people in addition, and kelvin.

    Returns
    -------
    Habits, walk
        ``walk`` of shape (sample, day, 5): how it stands at the end of each day.
    """
    samples, days = temp_c.shape
    uniform = rng.random((samples, days, CHANCES))
    normal = rng.standard_normal((samples, days, 4))
    none = np.zeros(days)
    weekday = (date.astype(np.int64) + 3) % 7  # 1970-01-01 was a Thursday; 0 is Monday
    day_of_year = (date - date.astype("datetime64[Y]")).astype(np.int64)
    parts = _walk(
        ways, weekday, day_of_year, temp_c, start, uniform, normal,
        none if more_people is None else more_people, none if warmer_k is None else warmer_k,
    )  # fmt: skip
    return Habits(*parts[:6]), parts[6]


@njit(cache=True)
def _walk(ways, weekday, day_of_year, temp_c, start, uniform, normal, more_people, warmer_k):
    samples, n = temp_c.shape
    set_c, people = np.empty((samples, n)), np.empty((samples, n))
    plan = np.zeros((samples, n), np.int64)
    drawn, fire_kw, fire_h = np.zeros((samples, n)), np.zeros((samples, n)), np.zeros((samples, n))
    walk = np.empty((samples, n, 5))
    phi = np.exp(-1.0 / ways.wander_days)
    kept = np.sqrt(1.0 - phi * phi)
    for s in range(samples):
        wander, away, guests, stay, thirst = start[0], start[1], start[2], start[3], start[4]
        for d in range(n):
            u, z = uniform[s, d], normal[s, d]
            doy, weekend = day_of_year[d], weekday[d] >= 5
            wander = phi * wander + kept * ways.wander_sd_k * z[0]
            thirst = phi * thirst + kept * z[3]
            away, stay = max(0.0, away - 1.0), max(0.0, stay - 1.0)
            if stay == 0.0:
                guests = 0.0
            summer = 180 <= doy < 245
            feast = doy >= 355 or doy < 2
            if away == 0.0 and u[0] < ways.journeys / 365.0 * (3.0 if summer else 0.55):
                away = np.floor(2.0 + (11.0 if summer else 5.0) * u[1])
            if stay == 0.0 and away == 0.0 and u[2] < ways.visits / 365.0 * (5.0 if feast else 0.9):
                stay, guests = np.floor(2.0 + 5.0 * u[3]), np.floor(1.0 + 3.0 * u[4])
            present = ways.people + more_people[d] + guests
            want = ways.set_c + warmer_k[d] + wander + ways.whim_sd_k * z[1] + (0.4 if guests > 0.0 else 0.0)
            kind = 0 if (not weekend and u[5] < ways.works) else 1
            if u[6] < ways.ill:
                kind, want = 1, want + 0.7
            if u[7] < ways.forgets:
                if u[7] < 0.5 * ways.forgets:
                    kind = 1
                else:
                    want -= 5.0
            cold_water_c = 10.5 - 4.5 * np.cos(2.0 * np.pi * (doy - 35.0) / 365.0)
            litres = (present * ways.water_l_person + ways.water_l_house) * (1.12 if weekend else 0.95)
            litres *= np.exp(ways.water_wander_sd * thirst + ways.water_sd * z[2] - 0.5 * ways.water_sd**2)
            heat = litres * WATER_KWH_PER_L_K * (HOT_C - cold_water_c)
            if away > 0.0:
                kind, present, heat = 2, 0.0, 0.0
            elif ways.fires > 0.0 and temp_c[s, d] < 14.0:
                odds = np.log(ways.fires / (1.0 - ways.fires))
                odds += ways.fire_cold_per_k * (7.0 - temp_c[s, d]) + (0.8 if weekend else 0.0)
                if u[8] < 1.0 / (1.0 + np.exp(-odds)):
                    fire_kw[s, d] = ways.fire_kw * (0.75 + 0.5 * u[1])
                    fire_h[s, d] = np.round(ways.fire_hours - 1.0 + 2.0 * u[3])
            set_c[s, d], plan[s, d], people[s, d], drawn[s, d] = want, kind, present, heat
            walk[s, d, 0], walk[s, d, 1], walk[s, d, 2] = wander, away, guests
            walk[s, d, 3], walk[s, d, 4] = stay, thirst
    return set_c, plan, people, drawn, fire_kw, fire_h, walk
