"""Heating oils: density, heat, carbon dioxide, and how oil swells when it warms.

Flow     product or density -> **fuel** -> litres at 15 °C (burn model), bulk litres (people)
Formula  V15 = Vt · C,  C = exp[−α·ΔT·(1 + 0.8·α·ΔT)],  ΔT = t − 15 °C,
         α = K0/ρ² + K1/ρ + K2,  ρ = density at 15 °C [kg/m³]
Source   [1] ASTM D1250-80 / API MPMS 11.1:1980 / IP 200, Table 54B (generalised products), constants
         as eight public implementations give them; the standard itself was not opened.
         [2] UK Government greenhouse gas conversion factors, as mirrored in two public code files (the
         year is not stated there): burning oil 2.54016 kgCO2e/l, 0.24677 kgCO2e/kWh gross,
         3165.04181 kgCO2e/t; gas oil 2.75541, 0.25650, 3226.57859. Direct emissions only.
         Their ratios give density and gross heat a litre.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from forecaster.errors import OutOfRangeError
from forecaster.units import Floats

REFERENCE_C = 15.0
"""Standard litres are litres at this temperature. [°C]"""
LOWEST_DENSITY, HIGHEST_DENSITY = 653.0, 1075.0
"""Densities at 15 °C that Table 54B covers. Source [1]. [kg/m³]"""

# Upper edge of each class of Table 54B, and its K0, K1, K2. Public implementations disagree about the
# edges (778 for 787.5 in at least three, 838.5 to 839, one has 832.3). α must be continuous, which
# settles it: at 787.5 the second and the third line give 958.9 and 958.7 ·10⁻⁶, at 778 they would
# give 1065 and 982; at 839 the third and the fourth give 844.6 and 845.1; at 770.5 the first and the
# second give 1151.7 and 1153.0. Kerosene (775 to 820) crosses an edge, so α is never interpolated
# over one.
_CLASSES: tuple[tuple[float, float, float, float], ...] = (
    (770.5, 346.4228, 0.4388, 0.0),
    (787.5, 2680.3206, 0.0, -0.00336312),
    (839.0, 594.5418, 0.0, 0.0),
    (float("inf"), 186.9696, 0.4862, 0.0),
)
_FIXED_POINT_STEPS = 12
# each step shrinks the error about fiftyfold, so twelve reach rounding from any start


@dataclass(frozen=True, slots=True)
class Fuel:
    """A heating oil.

    Attributes
    ----------
    name
        As the tank file names it, or "blend".
    density_15c
        Density at 15 °C. [kg/m³]
    gross_kwh_per_l
        Heat of a litre at 15 °C on the gross (higher) basis, the basis of UK boiler
        efficiencies. [kWh/l]
    co2_kg_per_l
        Carbon dioxide equivalent from burning a litre, without its making; None where not
        known. [kg/l]
    """

    name: str
    density_15c: float
    gross_kwh_per_l: float
    co2_kg_per_l: float | None

    def at_density(self, density_15c: float) -> "Fuel":
        """Take the same oil at another density, with heat and carbon in proportion to its mass.

        Parameters
        ----------
        density_15c : float
            Density at 15 °C from the supplier's sheet. [kg/m³]

        Returns
        -------
        Fuel

        Notes
        -----
        Heat a kilogram hardly changes within one product: from 803 to 790 kg/m³ less than 0.3 %
        (assumption), while heat a litre changes by 1.6 %.

        Examples
        --------
        >>> round(KEROSENE.at_density(790.0).gross_kwh_per_l, 3)
        10.127
        """
        ratio = density_15c / self.density_15c
        co2 = None if self.co2_kg_per_l is None else self.co2_kg_per_l * ratio
        return replace(
            self, density_15c=density_15c, gross_kwh_per_l=self.gross_kwh_per_l * ratio, co2_kg_per_l=co2
        )

    def burn_l_per_hour(self, input_kw: float) -> float:
        """Oil that a burner takes at full fire.

        Parameters
        ----------
        input_kw : float
            Heat input, gross. [kW]

        Returns
        -------
        float
            [l/h]

        Examples
        --------
        >>> round(KEROSENE.burn_l_per_hour(30.0), 2)
        2.91
        """
        return input_kw / self.gross_kwh_per_l


KEROSENE = Fuel("kerosene", density_15c=803.0, gross_kwh_per_l=10.294, co2_kg_per_l=2.54016)
"""Burning oil (BS 2869 class C2; 28-second oil). Source [2]; its density there is 802.6."""
GAS_OIL = Fuel("gas_oil", density_15c=854.0, gross_kwh_per_l=10.742, co2_kg_per_l=2.75541)
"""Heating gas oil (BS 2869 class D; 35-second oil). Source [2]."""
FUELS: Mapping[str, Fuel] = MappingProxyType({fuel.name: fuel for fuel in (KEROSENE, GAS_OIL)})
"""The products by name."""


def expansion_per_k(density_15c: float) -> float:
    """Give the coefficient of expansion at 15 °C, Table 54B.

    Parameters
    ----------
    density_15c : float
        Density at 15 °C. [kg/m³]

    Returns
    -------
    float
        [1/K]

    Raises
    ------
    OutOfRangeError
        Outside 653 to 1075 kg/m³, which the table does not cover.

    References
    ----------
    .. [1] ASTM D1250-80, Table 54B.

    Examples
    --------
    >>> round(expansion_per_k(800.0) * 1e6, 2)
    928.97
    """
    if not LOWEST_DENSITY <= density_15c <= HIGHEST_DENSITY:
        raise OutOfRangeError(
            "density at 15 °C [kg/m³]", density_15c, low=LOWEST_DENSITY, high=HIGHEST_DENSITY
        )
    k0, k1, k2 = next(rest for edge, *rest in _CLASSES if density_15c < edge)
    return k0 / density_15c**2 + k1 / density_15c + k2


def volume_correction_factor(oil_c: npt.ArrayLike, density_15c: float) -> Floats:
    """Give litres at 15 °C for each litre at the oil's temperature.

    Parameters
    ----------
    oil_c : float array, any shape
        Temperature of the oil. [°C]
    density_15c : float
        Density at 15 °C. [kg/m³]

    Returns
    -------
    float array, same shape
        V15/Vt, above 1 for cold oil. [-]

    Raises
    ------
    OutOfRangeError
        For a density that the table does not cover.

    Notes
    -----
    Not rounded to the steps of the printed table. An unknown temperature (nan) gives nan.

    References
    ----------
    .. [1] ASTM D1250-80, Table 54B.

    Examples
    --------
    >>> volume_correction_factor([5.0, 15.0, 25.0], 800.0).round(6)
    array([1.009263, 1.      , 0.990685])
    """
    alpha = expansion_per_k(density_15c)
    rise = alpha * (np.asarray(oil_c, dtype=float) - REFERENCE_C)
    return np.asarray(np.exp(-rise * (1.0 + 0.8 * rise)))


def to_litres_at_15c(bulk_l: npt.ArrayLike, oil_c: npt.ArrayLike, density_15c: float) -> Floats:
    """Turn bulk litres at the oil's temperature into litres at 15 °C.

    Parameters
    ----------
    bulk_l : float array, any shape
        Litres as they stand in the tank. [l]
    oil_c : float array, broadcast against ``bulk_l``
        Temperature of the oil. [°C]
    density_15c : float
        Density at 15 °C. [kg/m³]

    Returns
    -------
    float array
        [l at 15 °C]

    Raises
    ------
    OutOfRangeError
        For a density that the table does not cover.

    Examples
    --------
    >>> round(float(to_litres_at_15c(1500.0, 3.0, 800.0)), 2)
    1516.66
    """
    return np.asarray(bulk_l, dtype=float) * volume_correction_factor(oil_c, density_15c)


def to_bulk_litres(litres_15c: npt.ArrayLike, oil_c: npt.ArrayLike, density_15c: float) -> Floats:
    """Turn litres at 15 °C into bulk litres at the oil's temperature.

    Parameters
    ----------
    litres_15c : float array, any shape
        [l at 15 °C]
    oil_c : float array, broadcast against ``litres_15c``
        Temperature of the oil. [°C]
    density_15c : float
        Density at 15 °C. [kg/m³]

    Returns
    -------
    float array
        [l]

    Raises
    ------
    OutOfRangeError
        For a density that the table does not cover.

    Examples
    --------
    The same oil, warmed from 5 to 15 °C with the boiler off, seems to grow:

    >>> cold, mild = to_bulk_litres(1500.0, [5.0, 15.0], 800.0)
    >>> round(float(mild - cold), 1)
    13.8
    """
    return np.asarray(litres_15c, dtype=float) / volume_correction_factor(oil_c, density_15c)


def to_density_15c(density: float, oil_c: float) -> float:
    """Find the density at 15 °C from a density taken at another temperature.

    Parameters
    ----------
    density : float
        True density at ``oil_c``. [kg/m³]
    oil_c : float
        Temperature of the oil. [°C]

    Returns
    -------
    float
        [kg/m³]

    Raises
    ------
    OutOfRangeError
        When the density leaves the table.

    Notes
    -----
    Fixed point ρ15 = ρt / C(ρ15, t). The expansion of a glass hydrometer is not corrected: it is
    0.02 % for 10 K. Next to a class edge the answer is as good as the two formulas agree there,
    0.03 kg/m³ at 30 K.

    Examples
    --------
    >>> round(to_density_15c(805.0, 5.0), 3)
    797.567
    """
    density_15c = density
    for _ in range(_FIXED_POINT_STEPS):
        density_15c = density / float(volume_correction_factor(oil_c, density_15c))
    return density_15c
