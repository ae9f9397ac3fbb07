"""Draws to months: each month's litres by what they were burned for, adding up to what was burned.

Flow     given, draws -> **account**
Formula  a draw's litres of a month are split as its own intensities say:
         hot water = burned · base / (base + heating), heating likewise; litres spared grow with the same
         factor.  A part is measured where its spread fell below 0.7 of the survey's
"""

from dataclasses import dataclass, fields, replace
from datetime import UTC, date, datetime, time, timedelta
from types import MappingProxyType
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from forecaster.account.entries import PARTS, Account, Entry, Figure, Ground
from forecaster.account.history import Draws, draw_history
from forecaster.account.system import (
    Given,
    allot,
    heavy_points,
    intensities_before,
    make_steps,
    make_system,
    over_steps,
    regressors,
)
from forecaster.burn_model import House, house_drivers
from forecaster.civil import civil_date, to_datetime
from forecaster.diary import FACTORS
from forecaster.dwelling import Solar, Survey
from forecaster.past_weather import PastWeather
from forecaster.tanks import Tank
from forecaster.units import Floats

DRAWS = 400
"""Draws of the past: an interval's ends wander by a twentieth of its width."""
MEASURED_BELOW = 0.7
"""A part is measured where the levels left less than that of the spread that it had before. [-]"""
INTERVAL = (0.1, 0.9)
"""Quantiles of the interval."""
MOST_SPARED = 3.0
"""What was spared grows with the burn, but a month of almost no burn says nothing of it. [-]"""
SPLIT_SPREAD = 1.9
"""Burn is split in a house by more than the model knows: habits, set-back, efficiencies of summer and winter. On
simulated houses that are not the model the split strays so many times as far as the draws say. [-]"""
SUN_SHARE, SUN_SHARE_SD = 0.59, 0.16
"""Of what the burn model's sun spares so much is the sun's own; the rest is that of people and lamps, and of a house
that wants less heat on bright days. Simulated homes of one world, run once more without sun: mean and spread. [-]"""
LEAST_TABLE_SD = 0.015
"""No tank's litres are known better, whatever its dimensions say: they were measured by hand. Assumption. [-]"""
LEAST_BURN_L = 1e-6
"""A month in which the model burns no more than that is not split. [l]"""


@dataclass(frozen=True, slots=True, eq=False)
class _Parts:
    """Litres of each step or month, shape (draw, step) or (draw, month)."""

    base: Floats
    heating: Floats
    sun: Floats
    panels: Floats
    wood: Floats

    def by_month(self, month: npt.NDArray[np.intp]) -> "_Parts":
        """Sum the steps of each month; shape of ``month`` is (step,)."""
        return _Parts(*(_by_month(getattr(self, f.name), month) for f in fields(self)))


def account_months(
    given: Given, *, tank: Tank, house: House, past: PastWeather, zone: ZoneInfo, rng: np.random.Generator
) -> Account:
    """Account for what was burned since the first level.

    Parameters
    ----------
    given : Given
        What the burn model was given and what it made of it.
    tank : Tank
    house, past
        From which the drivers were made.
    zone : ZoneInfo
        Of the civil months.
    rng : Generator

    Returns
    -------
    Account
    """
    as_of = to_datetime(given.posterior.at)
    if len(given.observations.at) == 0 or given.observations.at[0] >= given.posterior.at:
        return Account(as_of, (), None, MappingProxyType({}))
    firsts = _firsts_of_months(to_datetime(given.observations.at[0]), as_of, zone)
    marks = np.array([int(_midnight(d, zone).timestamp()) for d in firsts[1:]], "datetime64[s]")
    steps, level = make_steps(given, marks)
    month = np.searchsorted(marks, steps.end, side="left")
    x = over_steps(regressors(given, given.drivers), given, steps)
    panels = over_steps(_spared_by_panels(house, past)[:, None], given, steps)[:, 0]
    points = heavy_points(given.posterior.weight)
    system = make_system(given, steps, level, points=points, x=x)
    point = allot(given.posterior.weight[points], DRAWS)
    draws = draw_history(system, point=point, normals=rng.standard_normal((DRAWS, len(steps.days) + 1, 7)))
    modelled = _modelled(system.x[point], draws, panels)
    table = 1.0 + max(tank.table_sd_fraction, LEAST_TABLE_SD) * rng.standard_normal(DRAWS)
    own = np.maximum(SUN_SHARE + SUN_SHARE_SD * rng.standard_normal(DRAWS), 0.0)
    monthly = _Monthly.of(
        replace(modelled, sun=modelled.sun * own[:, None]).by_month(month),
        draws,
        steps.added_l,
        month,
        table,
        tank.fuel.co2_kg_per_l,
    )
    # as-of at midnight is the end of the day before
    lasts = [*(d - timedelta(days=1) for d in firsts[1:]), civil_date(as_of - timedelta(seconds=1), zone)]
    months = tuple(
        monthly.entry(a, b, slice(i, i + 1)) for i, (a, b) in enumerate(zip(firsts, lasts, strict=True))
    )
    total = monthly.entry(firsts[0], lasts[-1], slice(None))
    return Account(as_of, months, total, _grounds(given, x, modelled, house.survey))


@dataclass(frozen=True, slots=True, eq=False)
class _Monthly:
    """Draws by month, (draw, month) each; levels (draw, month + 1); what was delivered (month,)."""

    burned: Floats
    parts: _Parts
    unexplained: Floats
    level: Floats
    delivered: Floats
    table: Floats
    co2_kg_per_l: float | None

    @classmethod
    def of(
        cls, modelled: _Parts, draws: Draws, added_l: Floats, month: npt.NDArray[np.intp], table: Floats,
        co2_kg_per_l: float | None,
    ) -> "_Monthly":  # fmt: skip
        """Make the modelled parts add up to what was burned."""
        burned = _by_month(draws.burned_l, month)
        both = modelled.base + modelled.heating
        is_split = both > LEAST_BURN_L
        factor = np.divide(burned, both, out=np.ones_like(both), where=is_split)
        base = np.where(is_split, factor * modelled.base, 0.0)
        base = base.mean(axis=0) + SPLIT_SPREAD * (base - base.mean(axis=0))
        spared = np.clip(factor, 0.0, MOST_SPARED)
        parts = _Parts(
            base, burned - base, modelled.sun * spared, modelled.panels * spared, modelled.wood * spared
        )
        last = np.searchsorted(month, np.arange(burned.shape[1]), side="right")
        level = draws.state[:, np.concatenate([[0], last]), 0]
        delivered = _by_month(added_l[None, :], month)[0]
        return cls(
            burned, parts, _by_month(draws.unexplained_l, month), level, delivered, table, co2_kg_per_l
        )

    def entry(self, first: date, last: date, which: slice) -> Entry:
        """Make the entry of some months that follow each other."""

        def figure(by_month: Floats) -> Figure:
            return self._figure(by_month[:, which].sum(axis=1))

        def part(by_month: Floats) -> Figure:
            whole = figure(by_month)
            return Figure(whole.mean, max(whole.low, min(0.0, whole.mean)), whole.high)

        burned = figure(self.burned)
        co2 = self.co2_kg_per_l
        return Entry(
            first, last, burned=burned, hot_water=part(self.parts.base), heating=part(self.parts.heating),
            sun=figure(self.parts.sun), panels=figure(self.parts.panels), wood=figure(self.parts.wood),
            opening=self._figure(self.level[:, :-1][:, which][:, 0]),
            delivered=float(self.delivered[which].sum()), unexplained=figure(self.unexplained),
            closing=self._figure(self.level[:, 1:][:, which][:, -1]),
            co2_kg=None if co2 is None else Figure(*(co2 * v for v in (burned.mean, burned.low, burned.high))),
        )  # fmt: skip

    def _figure(self, draws: Floats) -> Figure:
        """Mean of the draws; the interval also holds the error of the tank's table."""
        mean = float(draws.mean())
        low, high = (float(v) for v in np.quantile(draws * self.table, INTERVAL))
        # a part that is nothing in most draws has its mean above the interval's end
        return Figure(mean, min(low, mean), max(high, mean))


def _firsts_of_months(first: datetime, as_of: datetime, zone: ZoneInfo) -> list[date]:
    """First days of the months from the first level on; of the first one the level's own day."""
    day, end = civil_date(first, zone), as_of.astimezone(UTC)
    firsts = [day]
    while True:
        after = (firsts[-1].replace(day=1) + timedelta(days=32)).replace(day=1)
        if _midnight(after, zone) >= end:
            return firsts
        firsts.append(after)


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), zone).astimezone(UTC)


def _by_month(steps: Floats, month: npt.NDArray[np.intp]) -> Floats:
    out = np.zeros((len(steps), int(month.max()) + 1))
    np.add.at(out.T, month, steps.T)
    return out


def _modelled(x: Floats, draws: Draws, panels: Floats) -> _Parts:
    """Litres of each step as the draws' intensities have them; ``x`` has shape (draw, step, 4)."""
    theta = np.maximum(draws.state[:, :-1, 1:5], 0.0)
    base, heat, sun, wood = np.moveaxis(x * theta, -1, 0)
    net = np.maximum(heat + sun + wood, 0.0)  # sun and wood stand in the model with a minus
    return _Parts(base, net, -sun, panels * theta[:, :, 0], -wood)


def _spared_by_panels(house: House, past: PastWeather) -> Floats:
    """Base-load factor that panels on the roof took away on each day, shape (day,). [-]"""
    solar = house.survey.solar or Solar()
    bare = replace(house.survey, solar=replace(solar, thermal_m2=0.0, pv_kwp=0.0))
    diary = tuple(entry for entry in house.diary if FACTORS[entry.what].water_spared == 0.0)
    plain = replace(house, survey=bare, diary=diary)
    without = house_drivers(past.date, past.temp_c, past.ghi_wh_m2, house=plain)
    with_panels = house_drivers(past.date, past.temp_c, past.ghi_wh_m2, house=house)
    return np.asarray(without.base_factor - with_panels.base_factor)


def _grounds(given: Given, x: Floats, modelled: _Parts, survey: Survey) -> MappingProxyType[str, Ground]:
    """Tell, for each part, whether the levels narrowed it or it is the survey's."""
    before = intensities_before(replace(given, past_litres=None))
    total = x.sum(axis=1)
    rows = {
        "hot_water": total * [1, 0, 0, 0],
        "heating": total * [0, 1, 1, 1],
        "wood": total * [0, 0, 0, 1],
    }
    after = {
        "hot_water": modelled.base,
        "heating": modelled.heating,
        "wood": modelled.wood,
    }
    # no level tells what panels spare, nor the sun from people and lamps
    grounds: dict[str, Ground] = dict.fromkeys(PARTS, "survey")
    for name, row in rows.items():
        mean = np.einsum("gq,gq->g", row, before.mean)
        var = np.einsum("gq,gqr,gr->g", row, before.cov, row)
        middle = before.weight @ mean
        sd = float(np.sqrt(before.weight @ (var + (mean - middle) ** 2)))
        if float(after[name].sum(axis=1).std()) < MEASURED_BELOW * sd:
            grounds[name] = "measured"
    return MappingProxyType(grounds)
