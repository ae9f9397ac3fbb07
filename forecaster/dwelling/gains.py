"""Heat that costs no oil: sun through windows, and how much of it the house can use.

Flow     window area -> **aperture** -> burn prior (litres spared by the sun)
Formula  G = 0.9·A·S·g·FF·Z;  τ = TMP/(3.6·HLP);  a = 1 + τ/15 h;  γ = G/[H·(Ti − Te)];
         η = (1 − γᵃ)/(1 − γᵃ⁺¹), η(γ = 1) = a/(a + 1), η(γ ≤ 0) = 1
Source   [1] SAP 2012, section 6 and Tables 6b to 6d, as written in public implementations.
         [2] SAP 2012, Table 9a, which is the monthly method of EN ISO 13790 with a0 = 1 and
         τ0 = 15 h, as written in public implementations; the standard itself was not opened.
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

GLASS_TRANSMITTANCE = 0.76
"""Share g of the sun that double glazing lets through. Source [1]. [-]"""
FRAME_FACTOR = 0.7
"""Share FF of the opening that is glass. Source [1]. [-]"""
WINTER_SUN_ACCESS = 0.77
"""Share Z of the sun that average surroundings let reach a window in winter. Source [1]. [-]"""
_OFF_NORMAL = 0.9  # a typical day's mean transmittance against that at right angles. Source [1]. [-]
_REFERENCE_TIME_CONSTANT_H = 15.0  # τ0 of source [2]. [h]


def window_aperture_m2(
    area_m2: float,
    *,
    transmittance: float = GLASS_TRANSMITTANCE,
    frame_factor: float = FRAME_FACTOR,
    sun_access: float = WINTER_SUN_ACCESS,
) -> float:
    """Find the open hole that would let in as much sun as a window.

    Parameters
    ----------
    area_m2 : float
        The opening, frame included. [m²]
    transmittance, frame_factor, sun_access : float
        g, FF and Z. [-]

    Returns
    -------
    float
        [m²]

    Examples
    --------
    >>> round(window_aperture_m2(10.0), 3)
    3.687
    """
    return _OFF_NORMAL * area_m2 * transmittance * frame_factor * sun_access


def window_gain_w(area_m2: float, irradiance_w_m2: float, **glazing: float) -> float:
    """Find the mean heat that the sun brings through a window.

    Parameters
    ----------
    area_m2 : float
        The opening, frame included. [m²]
    irradiance_w_m2 : float
        Mean sun on the pane. [W/m²]
    **glazing : float
        As in `window_aperture_m2`.

    Returns
    -------
    float
        [W]

    Examples
    --------
    >>> round(window_gain_w(10.0, 100.0), 1)
    368.7
    """
    return window_aperture_m2(area_m2, **glazing) * irradiance_w_m2


def thermal_time_constant_h(*, mass_kj_per_m2k: float, loss_w_per_m2k: float) -> float:
    """Find how slowly a house cools.

    Parameters
    ----------
    mass_kj_per_m2k : float
        Thermal mass parameter, a floor area's heat capacity (100 light, 250 medium, 450 heavy). [kJ/m²K]
    loss_w_per_m2k : float
        Heat loss parameter, heat loss over floor area. [W/m²K]

    Returns
    -------
    float
        [h]

    Examples
    --------
    >>> round(thermal_time_constant_h(mass_kj_per_m2k=250.0, loss_w_per_m2k=2.0), 2)
    34.72
    """
    return mass_kj_per_m2k / (3.6 * loss_w_per_m2k)


def gains_utilisation_factor(
    gain_w: npt.ArrayLike, *, loss_w: npt.ArrayLike, time_constant_h: float
) -> Floats:
    """Find the share of the gains that replaces heating, the rest only making the house warmer.

    Parameters
    ----------
    gain_w : float array
        Sun and people, mean over the month. [W]
    loss_w : float array
        H·(Ti − Te), mean over the month. [W]
    time_constant_h : float
        From `thermal_time_constant_h`. [h]

    Returns
    -------
    float array
        0 to 1. [-]

    Notes
    -----
    With no loss (a month warmer outside than in) the ratio is infinite and nothing is of use; SAP
    sets 1 where gain over loss is not positive, which makes no difference to a need of 0.

    Examples
    --------
    >>> gains_utilisation_factor([1200.0, 3000.0], loss_w=3000.0, time_constant_h=34.7222).round(4)
    array([0.9707, 0.7682])
    """
    gain, loss = np.broadcast_arrays(np.asarray(gain_w, dtype=float), np.asarray(loss_w, dtype=float))
    a = 1.0 + time_constant_h / _REFERENCE_TIME_CONSTANT_H
    # For γ above 1 the same fraction is s·(1 − sᵃ)/(1 − sᵃ⁺¹) with s = 1/γ, which cannot overflow; in
    # terms of ln s it stays exact as γ comes near 1.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        ratio = np.nan_to_num(gain / loss, nan=0.0, posinf=np.inf)
        small = np.where(ratio > 1.0, 1.0 / ratio, ratio)
        log_small = np.log(np.where(ratio > 0.0, small, 1.0))
        share = np.expm1(a * log_small) / np.expm1((a + 1.0) * log_small)
    share = np.where(log_small == 0.0, a / (a + 1.0), share) * np.where(ratio > 1.0, small, 1.0)
    return np.where(ratio <= 0.0, 1.0, share)
