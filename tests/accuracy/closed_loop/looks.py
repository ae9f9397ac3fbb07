"""What one look at a house tells: the litres below which an order is due, for every risk.

Flow     life, day -> engine's or oracle's paths -> **look**
Formula  need[i, d] = litres path i burns to the end of day d, less what it takes too much to be in the tank
         due below s with  mean over u = 1 .. look of sum over L of P(L) P(need[i, delivery(u, L, i)] >= s) = risk:
         as the engine's rule has it, an order is due when one placed tomorrow, or so many days later as somebody
         may come late, would be too late
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cache

import numpy as np

from forecaster.burn_model import Settings
from forecaster.climate import Normals, WeatherYears, normal_day
from forecaster.forecast import PATHS, Chances, draw_chances
from forecaster.fuel import to_bulk_litres
from forecaster.pipeline.ahead import look_ahead, place_normals
from forecaster.pipeline.behind import learn_behind
from forecaster.pipeline.inputs import Inputs, known_at
from forecaster.pipeline.learning import learn_house
from forecaster.reorder import OrderSettings, Spells
from forecaster.reorder.days import nth_working_day, working_days
from forecaster.weather import Weather
from tests.accuracy.data import Floats
from tests.accuracy.world import Life, oracle_litres, weather_years_for
from tests.accuracy.world.records import Ints

RISKS = (0.005, 0.01, 0.02)
"""Of a cycle."""
AHEAD_D = 30
"""The latest delivery, slowed by cold, and two looks. [d]"""
SCENARIOS, ORACLE_SAMPLES = 300, 300
FULLEST = 0.9
ORDERING = OrderSettings(lead_days=(3, 10), look_every_days=2)
"""Three to ten working days, as the engine takes by default, and a look every second day."""


@dataclass(frozen=True, slots=True)
class Look:
    """What is told at the beginning of a day.

    ``due_below_l`` usable litres below which an order is due, by risk; ``burned_least_l`` so much will
    surely (9 in 10) have gone by the earliest delivery; true litres, of which those by the tank's table
    are taken to be a fixed part. [L]
    """

    due_below_l: Mapping[float, float]
    burned_least_l: float


Looker = Callable[[int], Look]


def look_of(need: Floats, spells: Spells, *, today: np.datetime64, share: float = 1.0) -> Look:
    """Turn what each path needs by the end of each day, shape (path, day), into what is due.

    ``share`` are true litres for each litre of the needs.
    """
    settings, cold = ORDERING, ORDERING.cold_lead
    assert cold is not None
    orders = np.array(settings.late_days) + 1
    working = working_days(today.item(), int(orders[-1]) + 1, settings=settings)
    leads, chance = settings.leads
    nth = nth_working_day(working, np.arange(orders[-1] + 1), leads)
    needed = []
    for order_day in orders:
        extra = cold.extra_days(spells.colder_k(int(order_day)))
        by = working[nth[order_day][None, :] + extra[:, None]]
        needed.append(np.take_along_axis(need, by, axis=1))
    assert np.ptp(chance) == 0.0, "leads are taken to be equally likely"
    due = share * np.quantile(np.stack(needed), [1.0 - risk for risk in RISKS])
    evening_before = need[:, working[nth[0, 0]] - 1]
    least = share * float(np.quantile(evening_before, 1.0 - FULLEST))
    return Look(dict(zip(RISKS, due.tolist(), strict=True)), least)


def engine_looker(life: Life, *, seed: int) -> Looker:
    """The engine's stages on what a user has of a life up to each day, two years of bills included."""
    normals = place_normals(_inputs(life, 1))
    chances = _chances()

    def look(day: int) -> Look:
        today = life.date[day]
        years = _years(life, day, seed)
        known = known_at(replace(_inputs(life, day), weather_ahead=years, chances=chances))
        known, behind = learn_behind(known, normals, today=today)
        posterior, _ = learn_house(known, behind, normals)
        paths = look_ahead(known, behind, posterior, normals, today=today, rng=np.random.default_rng(seed))
        per_15c = float(to_bulk_litres(1.0, np.asarray(life.oil_c[day - 1]), known.tank.fuel.density_15c))
        level = life.level_l[day - 1]
        by_table = float(known.tank.shape.litres(life.house.shape.dip_mm(np.array(level))))
        need = np.cumsum(paths.burned_l, axis=1) * per_15c - (paths.now_l - by_table)[:, None]
        spells = _spells(paths.scenario_of, years, normals)
        return look_of(need, spells, today=today, share=level / by_table)

    return look


def oracle_looker(life: Life, *, seed: int) -> Looker:
    """The true house from its true state and level; it lacks the weather and the whims of the days ahead."""
    normals = place_normals(_inputs(life, 1))

    def look(day: int) -> Look:
        years = _years(life, day, seed)
        burned = oracle_litres(
            life, as_of_day=day - 1, temp_c=years.temp_c, ghi_wh_m2=years.ghi_wh_m2,
            rng=np.random.default_rng([seed, day, 1]), samples=ORACLE_SAMPLES,
        )  # fmt: skip
        per_15c = float(to_bulk_litres(1.0, np.asarray(life.oil_c[day - 1]), life.tank.fuel.density_15c))
        scenario_of = np.arange(ORACLE_SAMPLES) % len(years.temp_c)
        return look_of(burned * per_15c, _spells(scenario_of, years, normals), today=life.date[day])

    return look


def _inputs(life: Life, day: int) -> Inputs:
    """All that a user has of a life, as of the beginning of a day."""
    parts = [
        np.concatenate([getattr(life.weather_before, name), getattr(life.weather, name)])
        for name in ("date", "temp_c", "tmin_c", "tmax_c", "ghi_wh_m2")
    ]
    return Inputs(
        tank=life.tank, as_of=datetime.fromisoformat(str(life.date[day])).replace(tzinfo=UTC),
        readings=life.readings, weather=Weather(*parts, life.weather.kind), deliveries=life.deliveries,
        receipts=life.receipts, survey=life.survey, horizon_days=AHEAD_D - 1,
    )  # fmt: skip


def _years(life: Life, day: int, seed: int) -> WeatherYears:
    temp, ghi = weather_years_for(
        life, start=life.date[day], days=AHEAD_D, scenarios=SCENARIOS, rng=np.random.default_rng([seed, day])
    )
    return WeatherYears(life.date[day], temp, ghi, "drawn about the station's normals")


def _spells(scenario_of: Ints, years: WeatherYears, normals: Normals) -> Spells:
    date = years.start + np.arange(years.temp_c.shape[1])
    never = np.full(len(scenario_of), np.inf)
    return Spells(never, scenario_of, years.temp_c, normal_day(normals, date)[0])


@cache
def _chances() -> Chances:
    return draw_chances(
        paths=PATHS, days=AHEAD_D, day_noise=Settings().day_noise, rng=np.random.default_rng(20260101)
    )
