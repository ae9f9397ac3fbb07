"""Hot water from panels on the roof: thermal ones, and electric ones with a diverter.

Flow     sun on the panels' plane -> **share of the hot water** the sun makes -> base load
Formula  thermal: share = f1·x·(1 − e^(−1/x)), x = A·η0·S/Q;
         diverter: share = 1 − e^(−x), x = 0.72·(1 − β)·E/Q
Source   [1] SAP 2012, Appendix H (annual form), as written in two public implementations.
         [2] SAP 10.2, Appendix G4, as quoted in a public implementation; 0.8 kWh a kWp and kWh/m²:
         SAP 2012, Appendix M, from memory.
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

PANEL_PEAK_EFFICIENCY, PANEL_LOSS_RATIO = 0.75, 8.0
"""η0 and a*/η0 of a glazed flat panel. Source [1]. [-, W/m²K]"""
PV_KWH_PER_KWP = 0.8
"""Electricity of a kilowatt peak from a kilowatt-hour a square metre on its plane. Source [2]. [m²/kW]"""
USED_AT_HOME = 0.35
"""β, share of the electricity that the home uses itself, before the diverter. Assumption. [-]"""
DIVERTER_EFFICIENCY = 0.8 * 0.9
"""Of the surplus, the part that ends in the water. Source [2]. [-]"""


def hot_water_share_from_sun(
    plane_kwh_m2: npt.ArrayLike,
    *,
    demand_kwh_per_day: npt.ArrayLike,
    thermal_m2: float = 0.0,
    diverted_kwp: float = 0.0,
) -> Floats:
    """Find the share of the hot-water load that panels on the roof spare, day by day.

    Parameters
    ----------
    plane_kwh_m2 : float array, shape (..., day)
        Sun on the panels' plane; ``nan`` where unknown. [kWh/m²]
    demand_kwh_per_day : float array, shape (day,) or one number
        Heat that hot water asks for, losses included. [kWh/d]
    thermal_m2 : float
        Water-heating panels; 0 without them. [m²]
    diverted_kwp : float
        Electric panels whose surplus heats the water; 0 without a diverter. [kW]

    Returns
    -------
    float array, shape (..., day)
        0 to 1; 0 where the sun is unknown, so that an unknown sun never promises less oil. [-]

    Notes
    -----
    Both forms were published for longer spans than a day: SAP's for a year and for a month. Used day by
    day they say that the cylinder holds no more than the day's demand (assumption).

    Examples
    --------
    >>> hot_water_share_from_sun([0.5, 5.0], demand_kwh_per_day=6.0, thermal_m2=4.0).round(2)
    array([0.18, 0.59])
    >>> hot_water_share_from_sun([0.5, 5.0], demand_kwh_per_day=6.0, diverted_kwp=3.0).round(2)
    array([0.09, 0.61])
    """
    sun = np.maximum(np.nan_to_num(np.asarray(plane_kwh_m2, dtype=float)), 0.0)
    demand = np.asarray(demand_kwh_per_day, dtype=float)
    per_demand = np.divide(1.0, demand, out=np.zeros_like(demand), where=demand > 0)
    thermal = solar_thermal_share(PANEL_PEAK_EFFICIENCY * thermal_m2 * sun * per_demand)
    electric = diverted_kwh(PV_KWH_PER_KWP * diverted_kwp * sun, used_at_home=USED_AT_HOME)
    return np.asarray(1.0 - (1.0 - thermal) * np.exp(-electric * per_demand), dtype=float)


def solar_thermal_share(
    collected_over_demand: npt.ArrayLike, *, loss_ratio: float = PANEL_LOSS_RATIO
) -> Floats:
    """Find the share of hot water that thermal panels make.

    Parameters
    ----------
    collected_over_demand : float array
        A·η0·S·Z over the demand. [-]
    loss_ratio : float
        a*/η0: the panel's heat loss over its peak efficiency. [W/m²K]

    Returns
    -------
    float array
        0 to 1, without the factor for the size of the cylinder. [-]

    Examples
    --------
    >>> solar_thermal_share([0.0, 1.0, 1000.0]).round(3)
    array([0.   , 0.452, 0.714])
    """
    x = np.asarray(collected_over_demand, dtype=float)
    inverse = 1.0 / np.maximum(x, 1e-12)  # below that the share is the collected heat, all of it
    if loss_ratio < 20.0:
        performance = 0.97 - 0.0367 * loss_ratio + 0.0006 * loss_ratio**2
    else:
        performance = 0.693 - 0.0108 * loss_ratio
    return np.asarray(performance * x * -np.expm1(-inverse), dtype=float)


def diverted_kwh(generated_kwh: npt.ArrayLike, *, used_at_home: float) -> Floats:
    """Find the electricity that a diverter puts into the water, before any limit by the demand.

    Parameters
    ----------
    generated_kwh : float array
        Of the panels. [kWh]
    used_at_home : float
        β, the share that the home uses itself. [-]

    Returns
    -------
    float array
        [kWh]

    Examples
    --------
    >>> round(float(diverted_kwh(300.0, used_at_home=0.4)), 2)
    129.6
    """
    return np.asarray(generated_kwh, dtype=float) * (1.0 - used_at_home) * DIVERTER_EFFICIENCY
