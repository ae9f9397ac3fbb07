"""Hot water: how much heat a household draws, month by month, and what the boiler makes of it.

Flow     occupants -> **hot water [kWh/d]** -> burn prior, share spared by the sun
Formula  N = 1 + 1.76·[1 − exp(−0.000349·(TFA − 13.9)²)] + 0.0013·(TFA − 13.9), 1 below 13.9 m²;
         Vd = 25·N + 36 [l/d];  Q = c·Vd·f·n·ΔT/3600 [kWh/month], c = 4.18 kJ/kgK;
         η = (Qs + Qw)/(Qs/ηw + Qw/ηs)
Source   [1] SAP 2012, section 4 and Tables 1a to 1d, as written in public implementations (one has
         4.190 for c, 0.24 % more; one lacks a month of ΔT).
         [2] SAP 10.2, Appendix D, equation D1, as quoted in a public implementation.
         [3] SAP 10.2, Appendix J, worksheet values in a public implementation: the newer edition's draws,
         kept to compare with.
         [4] SAP 2012, Tables 2, 3 and 3a (losses of cylinder, pipes and combination boilers), from memory.
"""

import numpy as np
import numpy.typing as npt

from forecaster.dwelling.survey import Survey, boiler_of
from forecaster.tables import read_table

Floats = npt.NDArray[np.float64]

WATER_KJ_PER_KGK = 4.18
"""Heat capacity of water as source [1] has it. [kJ/kgK]"""
DISTRIBUTION_LOSS = 0.15
"""Lost between the tap and the boiler, on top of the draw. Source [1]. [-]"""
STANDING_LOSS_KWH_PER_DAY = {
    # 160 l behind 50 mm of foam with a thermostat lose 1.3, insulated pipes with 5 h a day 1.0
    "cylinder": 2.3,
    # 600 kWh a year without a keep-hot store
    "combi": 1.6,
}
"""Lost day and night, used or not. Source [4]; which one a house has is an assumption. [kWh/d]"""
TYPICAL_OCCUPANTS = 2.4
"""Assumed where neither people nor floor area is known: mean British household, from memory."""

_LITRES_PER_PERSON, _LITRES_A_HOUSEHOLD = 25.0, 36.0  # source [1]. [l/d]
_SECONDS_PER_HOUR = 3600.0


def occupants_from_floor_area(floor_area_m2: float) -> float:
    """Guess how many live in a home of that size.

    Parameters
    ----------
    floor_area_m2 : float
        Of all storeys. [m²]

    Returns
    -------
    float
        [persons]

    Examples
    --------
    >>> round(occupants_from_floor_area(100.0), 2)
    2.74
    """
    above = max(0.0, floor_area_m2 - 13.9)
    return 1.0 + 1.76 * (1.0 - float(np.exp(-0.000349 * above**2))) + 0.0013 * above


def litres_of_hot_water_per_day(occupants: float) -> float:
    """Find the yearly mean of hot water drawn.

    Parameters
    ----------
    occupants : float
        [persons]

    Returns
    -------
    float
        Of water, not of oil. [l/d]

    Examples
    --------
    >>> litres_of_hot_water_per_day(2.0)
    86.0
    """
    return _LITRES_PER_PERSON * occupants + _LITRES_A_HOUSEHOLD


def other_uses_litres_per_day(occupants: float) -> float:
    """Find the hot water besides baths and showers, as the newer edition has it.

    Examples
    --------
    >>> round(other_uses_litres_per_day(2.0), 1)
    33.6
    """
    return 9.8 * occupants + 14.0


def baths_per_day(occupants: float, *, has_shower: bool) -> float:
    """Find how often a bath is taken, as the newer edition has it.

    Examples
    --------
    >>> round(baths_per_day(2.0, has_shower=True), 2), round(baths_per_day(2.0, has_shower=False), 2)
    (0.45, 1.2)
    """
    return 0.13 * occupants + 0.19 if has_shower else 0.35 * occupants + 0.50


def hot_water_demand_kwh(occupants: float) -> Floats:
    """Find the heat in the hot water drawn, January to December, without any loss.

    Parameters
    ----------
    occupants : float
        [persons]

    Returns
    -------
    float array, shape (12,)
        [kWh/month]

    Examples
    --------
    >>> hot_water_demand_kwh(2.0)[[0, 6]].round(1), round(float(hot_water_demand_kwh(2.0).sum()))
    (array([140.3,  84.7]), 1353)
    """
    factor, days, rise_k = _month_column("use_factor"), days_in_month(), _month_column("rise_k")
    litres = litres_of_hot_water_per_day(occupants) * factor * days
    return WATER_KJ_PER_KGK * litres * rise_k / _SECONDS_PER_HOUR


def hot_water_kwh_per_day(survey: Survey) -> Floats:
    """Find the heat that hot water asks of whatever heats it, losses included, January to December.

    Parameters
    ----------
    survey : Survey
        Occupants, else floor area, else a typical household.

    Returns
    -------
    float array, shape (12,)
        [kWh/d]

    Notes
    -----
    An empty house (``occupants = 0``) asks for nothing.

    Examples
    --------
    >>> hot_water_kwh_per_day(Survey(occupants=2.0))[[0, 6]].round(2)
    array([7.5 , 5.44])
    """
    occupants = occupants_of(survey)
    if occupants <= 0:
        return np.zeros(12)
    drawn = hot_water_demand_kwh(occupants) / days_in_month()
    return drawn * (1.0 + DISTRIBUTION_LOSS) + STANDING_LOSS_KWH_PER_DAY[boiler_of(survey).kind]


def water_heating_efficiency(
    space_kwh: npt.ArrayLike, water_kwh: npt.ArrayLike, *, winter: float, summer: float
) -> Floats:
    """Find a boiler's efficiency for water in months when it may heat rooms too.

    Parameters
    ----------
    space_kwh, water_kwh : float array
        Heat the boiler gives to rooms and to water in the month. [kWh]
    winter, summer : float
        Its efficiencies in either season, gross. [-]

    Returns
    -------
    float array
        [-]

    Examples
    --------
    >>> water_heating_efficiency([1500.0, 0.0], 200.0, winter=0.84, summer=0.72).round(4)
    array([0.8238, 0.72  ])
    """
    space, water = np.asarray(space_kwh, dtype=float), np.asarray(water_kwh, dtype=float)
    fuel = space / winter + water / summer
    mixed = np.divide(space + water, fuel, out=np.full(fuel.shape, summer), where=fuel > 0)
    return np.asarray(mixed, dtype=float)


def occupants_of(survey: Survey) -> float:
    """Take the people counted, else those usual for the floor area, else a typical household.

    Examples
    --------
    >>> occupants_of(Survey(occupants=3.0)), occupants_of(Survey())
    (3.0, 2.4)
    """
    if survey.occupants is not None:
        return survey.occupants
    if survey.floor_area_m2 is not None:
        return occupants_from_floor_area(survey.floor_area_m2)
    return TYPICAL_OCCUPANTS


def days_in_month() -> Floats:
    """Give the days of each month of an ordinary year.

    Examples
    --------
    >>> float(days_in_month().sum())
    365.0
    """
    return _month_column("days")


def outdoor_c_by_month() -> Floats:
    """Give the British mean outdoor temperature of each month, to tell heating months from others.

    Examples
    --------
    >>> outdoor_c_by_month()[[0, 6]]
    array([ 4.3, 16.6])
    """
    return _month_column("outdoor_c")


def _month_column(name: str) -> Floats:
    return np.array([float(row[name]) for row in read_table("hot_water_months")])
