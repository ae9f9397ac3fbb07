"""Weather and habits to what drives the burn, the same way behind us and ahead.

Flow     weather, survey, diary, stove log -> **drivers** -> regressors
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.burn_model.steps import Drivers
from forecaster.diary import DiaryEntry, diary_factors, water_spared
from forecaster.dwelling import (
    BurnPrior,
    Solar,
    Survey,
    glass_by_side,
    heating_by_month,
    hot_water_kwh_per_day,
)
from forecaster.solar import (
    Facing,
    Shade,
    hot_water_share_from_sun,
    plane_irradiation_kwh_m2,
    windows_irradiation_kwh_m2,
)
from forecaster.stove import StoveLog, evening_kwh

Floats = npt.NDArray[np.float64]
Dates = npt.NDArray[np.datetime64]

COLD_DAY_KD = 10.0
"""Degree-days of the winter day for which evenings a week with a fire are stated. Assumption. [K d]"""
MOST_EVENINGS = 6.8
"""More evenings a week than that are taken as that: nobody lights every fire. [1/week]"""


@dataclass(frozen=True, slots=True, eq=False)
class House:
    """What stays the same while the weather changes."""

    latitude: float
    longitude: float
    survey: Survey
    prior: BurnPrior
    diary: tuple[DiaryEntry, ...] = ()
    stove_log: StoveLog | None = None


def house_drivers(date: Dates, temp_c: Floats, ghi_wh_m2: Floats, *, house: House) -> Drivers:
    """Turn daily weather into the drivers of one house's burn.

    Parameters
    ----------
    date : datetime64[D] array, shape (day,)
    temp_c, ghi_wh_m2 : float arrays, shape (..., day)
        Mean temperature and sun on the horizontal, of known days or of scenarios. [C, Wh/m2]
    house : House

    Returns
    -------
    Drivers
    """
    solar = house.survey.solar or Solar()
    sun = windows_irradiation_kwh_m2(
        date, ghi_wh_m2, latitude=house.latitude, longitude=house.longitude, windows=_windows(house.survey)
    )
    month = date.astype("datetime64[M]").astype(np.int64) % 12
    base, heat = diary_factors(house.diary, date)
    heat = heat * np.asarray(heating_by_month(house.survey))[month]
    season = house.prior.hot_water_l_per_day[month]
    by_panels = _water_spared(date, ghi_wh_m2, house=house, solar=solar, month=month)
    spared = np.maximum(by_panels, water_spared(house.diary, date))
    base_factor = base * season * (1.0 - house.prior.hot_water_share_of_base[month] * spared)
    kwh, rate = _stove(date, house)
    return Drivers(
        date,
        np.asarray(temp_c, np.float64),
        sun,
        np.broadcast_to(base_factor, sun.shape).copy(),
        heat,
        kwh,
        rate,
    )


def _windows(survey: Survey) -> tuple[Facing, ...]:
    """Windows as the sun sees them; four walls where they are not given one by one."""
    if survey.solar is None or not survey.solar.windows:
        sides = glass_by_side(survey)
        # a house without glass: what falls on its walls counts for nothing, whichever way they look
        none = sum(side.area_m2 for side in sides) <= 0.0
        return tuple(Facing(90.0, s.azimuth_deg, area_m2=1.0 if none else s.area_m2) for s in sides)
    return tuple(
        Facing(
            w.tilt, w.azimuth, Shade(round(w.horizon_deg), w.overhang_m / w.height_m, w.overhang_gap_m / w.height_m),
            w.area_m2,
        )
        for w in survey.solar.windows
    )  # fmt: skip


def _water_spared(
    date: Dates, ghi_wh_m2: Floats, *, house: House, solar: Solar, month: npt.NDArray[np.int64]
) -> Floats | float:
    """Share of the hot water that panels on the roof make, day by day."""
    diverted_kwp = solar.pv_kwp if solar.diverter else 0.0
    if solar.thermal_m2 <= 0 and diverted_kwp <= 0:
        return 0.0
    panels = plane_irradiation_kwh_m2(
        date, ghi_wh_m2, latitude=house.latitude, longitude=house.longitude,
        tilt_deg=solar.pv_tilt, azimuth_deg=solar.pv_azimuth,
    )  # fmt: skip
    return hot_water_share_from_sun(
        panels, demand_kwh_per_day=hot_water_kwh_per_day(house.survey)[month],
        thermal_m2=solar.thermal_m2, diverted_kwp=diverted_kwp,
    )  # fmt: skip


def _stove(date: Dates, house: House) -> tuple[Floats, Floats]:
    """Stove heat of a full evening and how evenings grow with cold; logged days as logged."""
    stove = house.survey.stove
    if stove is None:
        return np.zeros(len(date)), np.zeros(len(date))
    evenings = min(stove.evenings_per_week, MOST_EVENINGS)
    kwh = np.full(len(date), evening_kwh(rated_kw=stove.rated_kw, hours=stove.hours))
    rate = np.full(len(date), -np.log1p(-evenings / 7.0) / COLD_DAY_KD)
    log = house.stove_log
    if log is not None and len(log.date):
        inside = (date >= log.date.min()) & (date <= log.date.max())
        kwh[inside], rate[inside] = 0.0, np.inf
        at = (log.date - date[0]).astype(np.int64)
        held = (at >= 0) & (at < len(date))
        np.add.at(kwh, at[held], log.kwh[held])
    return kwh, rate
