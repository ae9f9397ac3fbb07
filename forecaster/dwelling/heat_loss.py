"""Heat loss of a house from its floor area and year, where nobody has surveyed it.

Flow     floor area, year built -> **W/K** -> burn prior
Formula  H = Σ U·A + y·ΣA + 0.33·n·V over a detached house of two storeys with a square plan:
         walls 4·√(TFA/2)·5 m less the windows (0.18·TFA), roof and floor TFA/2 each, V = 2.5 m · TFA
Source   [1] RdSAP 2012, age bands and U-values, each row of the packaged table ``age_bands`` with its own
         source and what in it is an assumption.
         [2] SAP 2012: 0.33 W·h/m³K of air; U(roof) = 1/(1/2.3 + 0.021 W⁻¹m²K/mm · insulation), as
         written in public implementations.
         The plan is a worked example's (100 m²: wall 123, window 18, roof 50, floor 50 m²), scaled.
"""

import math

from forecaster.tables import read_table

AIR_HEAT_WH_PER_M3K = 0.33
"""Heat that a cubic metre of air carries. Source [2]. [Wh/m³K]"""
TYPICAL_FLOOR_AREA_M2 = 120.0
"""Floor area assumed where none is known: a detached house in the country. Assumption. [m²]"""
TYPICAL_HEAT_LOSS_W_PER_K = 300.0
"""Heat loss assumed where neither area nor year is known. About the mean of British dwellings around 2011
(287 W/K, Housing Energy Fact File, from memory). [W/K]"""
TYPICAL_YEAR = 1970
"""Year assumed where only the floor area is known. Assumption. [a]"""

_WINDOW_PER_FLOOR_AREA = 0.18
_STOREY_M = 2.5
_STOREYS = 2
_LOFT_W_PER_M2K = 2.3  # roof without insulation. Source [2]. [W/m²K]
_LOFT_M2K_PER_W_MM = 0.021  # each millimetre of loft insulation. Source [2]. [m²K/W·mm]


def ventilation_loss_w_per_k(*, air_changes_per_h: float, volume_m3: float) -> float:
    """Find the heat that leaves with the air.

    Parameters
    ----------
    air_changes_per_h : float
        How often an hour the air is replaced. [1/h]
    volume_m3 : float
        Heated volume. [m³]

    Returns
    -------
    float
        [W/K]

    Examples
    --------
    >>> round(ventilation_loss_w_per_k(air_changes_per_h=0.6, volume_m3=250.0), 1)
    49.5
    """
    return AIR_HEAT_WH_PER_M3K * air_changes_per_h * volume_m3


def heat_loss_w_per_k(*, floor_area_m2: float, built: int) -> float:
    """Guess the heat loss of a detached house from its floor area and year.

    Parameters
    ----------
    floor_area_m2 : float
        Of all storeys. [m²]
    built : int
        Year of building. [a]

    Returns
    -------
    float
        [W/K]

    Notes
    -----
    Insulation added since, a terrace's warm neighbours and draughts make the truth differ by
    about half either way; the burn prior carries that spread.

    Examples
    --------
    >>> [round(heat_loss_w_per_k(floor_area_m2=100.0, built=year)) for year in (1890, 1970, 2010)]
    [474, 336, 149]
    """
    band = _age_band(built)
    footprint = floor_area_m2 / _STOREYS
    window = _WINDOW_PER_FLOOR_AREA * floor_area_m2
    wall = 4.0 * math.sqrt(footprint) * _STOREYS * _STOREY_M - window
    loft_w_per_m2k = 1.0 / (1.0 / _LOFT_W_PER_M2K + _LOFT_M2K_PER_W_MM * float(band["loft_insulation_mm"]))
    fabric = (
        wall * float(band["wall_w_per_m2k"])
        + window * float(band["window_w_per_m2k"])
        + footprint * (loft_w_per_m2k + float(band["floor_w_per_m2k"]))
        + float(band["bridging_w_per_m2k"]) * (wall + window + 2.0 * footprint)
    )
    air = ventilation_loss_w_per_k(
        air_changes_per_h=float(band["air_changes_per_h"]), volume_m3=_STOREY_M * floor_area_m2
    )
    return fabric + air


def _age_band(built: int) -> dict[str, str]:
    bands = read_table("age_bands")
    return next(band for band in reversed(bands) if built >= int(band["from_year"] or 0))
