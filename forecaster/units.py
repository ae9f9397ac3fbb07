"""Conversions between units: the only place where inches, gallons and Fahrenheit appear.

Flow     values at an edge -> **units** -> millimetres, litres, degrees Celsius
Formula  SI value = value × factor; temperatures by their own line
Source   [1] Thompson, Taylor, *Guide for the Use of the International System of Units*, NIST Special
         Publication 811, 2008, appendix B.8 (inch, foot, US gallon, British thermal unit).
         [2] *The Units of Measurement Regulations 1995*, SI 1995/1804 (imperial gallon 4.54609 l).
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import TypeVar

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
T = TypeVar("T")

MM_PER_INCH = 25.4
"""Exact by definition. Source [1]. [mm/in]"""
MM_PER_FOOT = 304.8
"""Twelve inches. Source [1]. [mm/ft]"""
MM_PER_CM = 10.0
"""By definition. [mm/cm]"""
MM3_PER_LITRE = 1e6
"""By definition. [mm³/l]"""
LITRES_PER_US_GALLON = 3.785411784
"""231 cubic inches, exact. Source [1]. [l/gal]"""
LITRES_PER_IMPERIAL_GALLON = 4.54609
"""Exact by definition. Source [2]. [l/gal]"""
MJ_PER_KWH = 3.6
"""By definition. [MJ/kWh]"""
KWH_PER_BTU = 1055.05585262 / 3.6e6
"""The International Table unit. Source [1]. [kWh/Btu]"""
KELVIN_PER_FAHRENHEIT_DEGREE = 5.0 / 9.0
"""A difference of one degree Fahrenheit. Source [1]. [K/°F]"""
ZERO_CELSIUS_K = 273.15
"""By definition. [K]"""
WATTS_PER_KW = 1000.0
"""By definition. [W/kW]"""
SECONDS_PER_DAY = 86_400.0
"""A day of 24 hours. [s/d]"""
HOURS_PER_DAY = 24.0
"""A day of 24 hours. [h/d]"""

MM_PER: Mapping[str, float] = MappingProxyType(
    {"mm": 1.0, "cm": MM_PER_CM, "m": 1000.0, "in": MM_PER_INCH, "ft": MM_PER_FOOT}
)
"""Lengths that may be given, by their short name. [mm]"""
LITRES_PER: Mapping[str, float] = MappingProxyType(
    {"l": 1.0, "m3": 1000.0, "us_gal": LITRES_PER_US_GALLON, "imp_gal": LITRES_PER_IMPERIAL_GALLON}
)
"""Volumes that may be given, by their short name. [l]"""
_CELSIUS_FROM: Mapping[str, tuple[float, float]] = MappingProxyType(
    {"c": (0.0, 1.0), "f": (32.0, KELVIN_PER_FAHRENHEIT_DEGREE), "k": (ZERO_CELSIUS_K, 1.0)}
)
"""For each temperature scale: its reading at 0 °C, and kelvin in one of its degrees."""


def to_mm(length: npt.ArrayLike, unit: str) -> Floats:
    """Turn lengths into millimetres.

    Parameters
    ----------
    length : float array, any shape
        In the unit named.
    unit : str
        One of `MM_PER`: mm, cm, m, in, ft.

    Returns
    -------
    float array, same shape
        [mm]

    Raises
    ------
    ValueError
        For another unit, naming those on offer.

    Examples
    --------
    >>> float(to_mm(44, "in"))
    1117.6
    """
    return np.asarray(length, dtype=float) * _known(MM_PER, unit)


def to_litres(volume: npt.ArrayLike, unit: str) -> Floats:
    """Turn volumes into litres.

    Parameters
    ----------
    volume : float array, any shape
        In the unit named.
    unit : str
        One of `LITRES_PER`: l, m3, us_gal, imp_gal. A bare "gallon" is refused, because it means
        two things that differ by a fifth.

    Returns
    -------
    float array, same shape
        [l]

    Raises
    ------
    ValueError
        For another unit, naming those on offer.

    Examples
    --------
    >>> round(float(to_litres(275, "us_gal")), 1)
    1041.0
    """
    return np.asarray(volume, dtype=float) * _known(LITRES_PER, unit)


def to_c(temperature: npt.ArrayLike, unit: str) -> Floats:
    """Turn temperatures into degrees Celsius.

    Parameters
    ----------
    temperature : float array, any shape
        On the scale named.
    unit : str
        c, f or k.

    Returns
    -------
    float array, same shape
        [°C]

    Raises
    ------
    ValueError
        For another scale, naming those on offer.

    Examples
    --------
    >>> round(float(to_c(65, "f")), 2)
    18.33
    """
    at_zero, kelvin_per_degree = _known(_CELSIUS_FROM, unit)
    return (np.asarray(temperature, dtype=float) - at_zero) * kelvin_per_degree


def to_kelvin_days_per_litre(k_factor: npt.ArrayLike) -> Floats:
    """Turn a delivery K-factor of the US trade into kelvin-days a litre.

    Parameters
    ----------
    k_factor : float array, any shape
        Fahrenheit degree-days a US gallon. [°F·d/gal]

    Returns
    -------
    float array, same shape
        [K·d/l]

    Notes
    -----
    The base temperature stays that of the degree-days it was made with (in that trade 65 °F).

    Examples
    --------
    >>> round(float(to_kelvin_days_per_litre(5.0)), 5)
    0.73381
    """
    return np.asarray(k_factor, dtype=float) * (KELVIN_PER_FAHRENHEIT_DEGREE / LITRES_PER_US_GALLON)


def _known(table: Mapping[str, T], unit: str) -> T:
    if unit not in table:
        raise ValueError(f"unit {unit!r} is not known here; give one of {', '.join(table)}")
    return table[unit]
