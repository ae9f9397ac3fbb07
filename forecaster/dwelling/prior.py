"""The survey as a first guess of the burn model, with its spread.

Flow     survey -> **burn prior**, litres at 15 °C -> burn model, narrowed by every reading
Formula  e = η·GCV;  base = k1·hot water/e_water + range cooker;  slope = k2·24·H/(1000·e_winter);
         sun = k3·A_sun/e_winter;  stove = k4/e_winter
Source   [1] Multipliers k, relative spreads and the base temperature: fitted on 80 simulated
         homes with an oil of 10 kWh/l, and not on real fuel use. They are assumptions; refit them on real
         fleets (ratio of posterior to prior).
         [2] SAP 2012, Table 4b: UK boiler efficiencies are on the gross basis, as is the heat of a litre.
         [3] A four-oven oil range cooker burns about 50 l a week: *Country Homes & Interiors*, November
         2017, trade press. With a burner of 8 to 9 kW that is a third of full fire.
"""

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from forecaster.dwelling.gains import window_aperture_m2
from forecaster.dwelling.glazing import glass_m2
from forecaster.dwelling.heat_loss import (
    TYPICAL_FLOOR_AREA_M2,
    TYPICAL_HEAT_LOSS_W_PER_K,
    TYPICAL_YEAR,
    heat_loss_w_per_k,
)
from forecaster.dwelling.hot_water import (
    days_in_month,
    hot_water_kwh_per_day,
    outdoor_c_by_month,
    water_heating_efficiency,
)
from forecaster.dwelling.survey import Boiler, Survey, boiler_of
from forecaster.fuel import Fuel

Floats = npt.NDArray[np.float64]

BASE_TEMPERATURE_C, BASE_TEMPERATURE_SD_C = 18.5, 2.2
"""Outdoor temperature above which no heating is wanted; high, as the sun counts apart. Source [1]. [°C]"""
_HOT_WATER_FACTOR, _SLOPE_FACTOR, _STOVE_FACTOR = 0.96, 0.63, 0.57  # source [1]
_SOLAR_FACTOR = 3.0
# Of all glass, source [1]. Above one: walls and roof take in sun too, and what the sun spares is bounded by the
# day's heating (it saturates), so that the first rays count for more than the mean.

_BASE_REL_SD = 0.35  # source [1]
_BASE_REL_SD_UNASKED = 0.6  # not said what heats the water, or for how many. Assumption
_COOKER_REL_SD = 0.5  # idle or cooking, off in summer or not. Assumption
_SLOPE_REL_SD_SURVEYED = 0.26  # source [1]
_SLOPE_REL_SD_BY_AGE = 0.45  # floor area and year. Assumption
_SLOPE_REL_SD_HALF_KNOWN = 0.55  # floor area or year. Assumption
_SLOPE_REL_SD_UNKNOWN = 0.6  # assumption
_BOILER_REL_SD = 0.08  # of the efficiency where the boiler is not named: 66 to 84 %. Assumption
_SOLAR_REL_SD, _SOLAR_REL_SD_UNASKED = 0.35, 0.5  # source [1], assumption
_STOVE_REL_SD = 0.50  # source [1]

_COOKER_MEAN_FIRE = 0.35  # mean over day and night against full fire. Source [3]. [-]
_LEAST_BASE_L_PER_DAY = 0.1  # so that a home without a base load has a spread of one. Assumption. [l/d]
_HEATING_LIMIT_C = 15.5  # a month colder than this counts as a heating month. [°C]


@dataclass(frozen=True, slots=True, eq=False)
class BurnPrior:
    """What a survey says about a home's burn before any reading, in litres at 15 °C.

    Attributes
    ----------
    base_l_per_day, base_rel_sd
        Hot water, standing losses and range cooker, yearly mean. [l/d]
    slope_l_per_kday, slope_rel_sd
        For each degree-day. [l/(K·d)]
    solar_l_per_kwh_m2, solar_rel_sd
        Spared by each kilowatt-hour of sun on a square metre of window plane in a day. [l/(kWh/m²)]
    stove_l_per_kwh, stove_rel_sd
        Spared by each kilowatt-hour that the stove gives to the room; 0 without a stove. [l/kWh]
    base_temperature_c, base_temperature_sd_c
        [°C]
    hot_water_l_per_day : float array, shape (12,)
        The base load of each month over its yearly mean. [-]
    boiler_ceiling_l_per_day
        All appliances at full fire day and night; ``inf`` where unknown. [l/d]
    rests_on
        What came from the survey and what was assumed, in sentences.
    hot_water_share_of_base : float array, shape (12,)
        The part of each month's base load that panels on the roof could spare. [-]
    """

    base_l_per_day: float
    base_rel_sd: float
    slope_l_per_kday: float
    slope_rel_sd: float
    solar_l_per_kwh_m2: float
    solar_rel_sd: float
    stove_l_per_kwh: float
    stove_rel_sd: float
    base_temperature_c: float
    base_temperature_sd_c: float
    hot_water_l_per_day: Floats
    boiler_ceiling_l_per_day: float
    rests_on: tuple[str, ...]
    hot_water_share_of_base: Floats = field(default_factory=lambda: np.ones(12))


def burn_prior(survey: Survey, fuel: Fuel) -> BurnPrior:
    """Turn a survey into a first guess of the burn, with its spread.

    Parameters
    ----------
    survey : Survey
        Any answers, down to none at all.
    fuel : Fuel
        Its gross heat a litre at 15 °C counts.

    Returns
    -------
    BurnPrior

    Notes
    -----
    Panels on the roof do not lower the base load here: `forecaster.solar.hot_water_share_from_sun`
    does, day by day. The less is known, the wider the spread; a home without any answer still
    has a prior, wide enough for a cottage and a farmhouse.

    Examples
    --------
    >>> from forecaster.fuel import KEROSENE
    >>> prior = burn_prior(Survey(occupants=2, heat_loss_w_per_k=200, boiler="condensing"), KEROSENE)
    >>> round(prior.base_l_per_day, 2), round(prior.slope_l_per_kday, 3), prior.slope_rel_sd
    (0.77, 0.35, 0.26)
    """
    boiler = boiler_of(survey)
    winter_kwh_per_l = boiler.winter_efficiency * fuel.gross_kwh_per_l
    loss_w_per_k, loss_rel_sd, loss_words = _heat_loss(survey)
    boiler_rel_sd, boiler_words = _boiler_spread(survey, boiler)
    base_by_month, water_by_month = _base_by_month(survey, fuel, boiler, loss_w_per_k)
    base = _year_mean(base_by_month)
    window_m2, window_rel_sd, window_words = _window(survey)
    return BurnPrior(
        base_l_per_day=base,
        base_rel_sd=_base_spread(survey, base, _year_mean(water_by_month), boiler_rel_sd),
        slope_l_per_kday=_SLOPE_FACTOR * 24.0 * loss_w_per_k / 1000.0 / winter_kwh_per_l,
        slope_rel_sd=math.hypot(loss_rel_sd, boiler_rel_sd),
        solar_l_per_kwh_m2=_SOLAR_FACTOR * window_aperture_m2(window_m2) / winter_kwh_per_l,
        solar_rel_sd=window_rel_sd,
        stove_l_per_kwh=_STOVE_FACTOR / winter_kwh_per_l if survey.stove else 0.0,
        stove_rel_sd=_STOVE_REL_SD,
        base_temperature_c=BASE_TEMPERATURE_C,
        base_temperature_sd_c=BASE_TEMPERATURE_SD_C,
        hot_water_l_per_day=base_by_month / base,
        boiler_ceiling_l_per_day=_ceiling(survey, fuel, boiler),
        rests_on=(loss_words, boiler_words, _base_words(survey), window_words, *survey.notes),
        hot_water_share_of_base=np.divide(
            water_by_month, base_by_month, out=np.zeros(12), where=base_by_month > 0
        ),
    )


def _heat_loss(survey: Survey) -> tuple[float, float, str]:
    """Take the heat loss, its relative spread, and where it comes from."""
    area, built = survey.floor_area_m2, survey.built
    if survey.heat_loss_w_per_k is not None:
        loss = survey.heat_loss_w_per_k
        return loss, _SLOPE_REL_SD_SURVEYED, f"Heat loss {loss:.0f} W/K, from your survey."
    if area is None and built is None:
        loss = TYPICAL_HEAT_LOSS_W_PER_K
        return loss, _SLOPE_REL_SD_UNKNOWN, f"Heat loss not known: {loss:.0f} W/K assumed, very wide."
    loss = heat_loss_w_per_k(floor_area_m2=area or TYPICAL_FLOOR_AREA_M2, built=built or TYPICAL_YEAR)
    if area is not None and built is not None:
        words = f"Heat loss about {loss:.0f} W/K, guessed from floor area and year."
        return loss, _SLOPE_REL_SD_BY_AGE, words
    known, assumed = ("year", "floor area") if area is None else ("floor area", "year")
    words = f"Heat loss about {loss:.0f} W/K, guessed from the {known}; the {assumed} is assumed."
    return loss, _SLOPE_REL_SD_HALF_KNOWN, words


def _boiler_spread(survey: Survey, boiler: Boiler) -> tuple[float, str]:
    if survey.boiler_efficiency is not None:
        return 0.0, f"Boiler efficiency {100 * boiler.winter_efficiency:.0f} % gross, from your survey."
    winter, summer = 100 * boiler.winter_efficiency, 100 * boiler.summer_efficiency
    percent = f"{winter:.0f} % in winter and {summer:.0f} % in summer"
    if survey.boiler is not None:
        return 0.0, f"Boiler efficiency {percent}, published for a {boiler.words}."
    return _BOILER_REL_SD, f"Boiler not known: {percent} assumed."


def _base_by_month(survey: Survey, fuel: Fuel, boiler: Boiler, loss_w_per_k: float) -> tuple[Floats, Floats]:
    """Find the base load of each month, and the hot water's part of it. [l/d]"""
    water_kwh = hot_water_kwh_per_day(survey)
    colder_k = np.maximum(0.0, _HEATING_LIMIT_C - outdoor_c_by_month())
    space_kwh = 24.0 / 1000.0 * loss_w_per_k * colder_k
    efficiency = water_heating_efficiency(
        space_kwh, water_kwh, winter=boiler.winter_efficiency, summer=boiler.summer_efficiency
    )
    by_oil = np.isin(np.arange(1, 13), survey.hot_water_oil_months)
    water_l = np.where(by_oil, _HOT_WATER_FACTOR * water_kwh / (efficiency * fuel.gross_kwh_per_l), 0.0)
    total_l = water_l + _cooker_l_per_day(survey, fuel)
    # a base load of nothing would have no spread: every home gets the least one
    return total_l + max(0.0, _LEAST_BASE_L_PER_DAY - _year_mean(total_l)), water_l


def _cooker_l_per_day(survey: Survey, fuel: Fuel) -> float:
    return 24.0 * _COOKER_MEAN_FIRE * (survey.range_cooker_kw or 0.0) / fuel.gross_kwh_per_l


def _year_mean(by_month: Floats) -> float:
    return float(np.average(by_month, weights=days_in_month()))


def _base_spread(survey: Survey, base: float, water: float, boiler_rel_sd: float) -> float:
    counted = survey.occupants is not None or survey.floor_area_m2 is not None
    water_rel_sd = _BASE_REL_SD if counted and survey.hot_water else _BASE_REL_SD_UNASKED
    water_sd = water * math.hypot(water_rel_sd, boiler_rel_sd)
    other_sd = _COOKER_REL_SD * (base - water)
    if survey.range_cooker_kw is None and base - water > 0:
        other_sd = base - water  # nothing is known of the least base load but that it is small
    return math.hypot(water_sd, other_sd) / base


def _base_words(survey: Survey) -> str:
    if survey.occupants is not None:
        people = f"{survey.occupants:g} people, from your survey"
    else:
        people = (
            "the usual number of people for the floor area" if survey.floor_area_m2 else "a typical household"
        )
    water = {
        "oil": f"Hot water from oil for {people}.",
        "season": f"Hot water from oil in some months for {people}.",
        "other": "Hot water not from oil, from your survey.",
        None: f"Hot water assumed to come from oil, for {people}.",
    }[survey.hot_water]
    cooker = survey.range_cooker_kw
    return water if cooker is None else f"{water} A range cooker at about a third of its {cooker:g} kW."


def _window(survey: Survey) -> tuple[float, float, str]:
    """Take the windows to the sun, their relative spread, and where that comes from."""
    area = glass_m2(survey)
    stated = survey.solar.glass_m2 if survey.solar is not None else None
    if stated is None:
        words = f"Windows not known: sun through {area:.0f} m² of glass on four sides assumed."
        return area, _SOLAR_REL_SD_UNASKED, words
    if area <= 0.0:
        return area, _SOLAR_REL_SD, "No windows that let in sun, from your survey."
    words = f"Sun through {stated:g} m² of windows, from your survey"
    if survey.solar is not None and survey.solar.windows:
        return area, _SOLAR_REL_SD, f"{words}."
    return area, _SOLAR_REL_SD, f"{words}; {area - stated:.0f} m² more on the other sides assumed."


def _ceiling(survey: Survey, fuel: Fuel, boiler: Boiler) -> float:
    """Find the oil of all burners at full fire day and night, on the generous side."""
    if survey.boiler_kw is None:
        return math.inf
    # the lower efficiency of the two asks for more oil for the same output
    boiler_input_kw = survey.boiler_kw / min(boiler.winter_efficiency, boiler.summer_efficiency)
    return 24.0 * (boiler_input_kw + (survey.range_cooker_kw or 0.0)) / fuel.gross_kwh_per_l
