"""What the steps from reading to reading give away: spikes, another unit, a creeping rise.

Flow     litres as read, in order -> **spike, unit, trend**
"""

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from forecaster.readings import Quantity, Readings
from forecaster.screening.limits import fall_limit_l, rise_limit_l
from forecaster.units import (
    LITRES_PER_IMPERIAL_GALLON,
    LITRES_PER_US_GALLON,
    MM_PER_CM,
    MM_PER_INCH,
    SECONDS_PER_DAY,
    Floats,
)

Bools = npt.NDArray[np.bool_]

UNIT_RATIOS: Mapping[str, tuple[float, ...]] = MappingProxyType(
    {
        Quantity.ULLAGE_MM: (MM_PER_CM, MM_PER_INCH),
        Quantity.DIP_MM: (MM_PER_CM, MM_PER_INCH),
        Quantity.LITRES: (LITRES_PER_US_GALLON, LITRES_PER_IMPERIAL_GALLON),
        Quantity.FRACTION: (),
    }
)
"""Ratios of units that get mixed up. US to imperial gallon (1.2) and inch to centimetre (2.54) are left
out: an ordinary refill comes too near."""
UNIT_STEPS = 2.0
UNIT_BURN_L_PER_DAY = 25.0
"""In the right unit the level carries on: within two steps and this burn. [l/d] (assumption)"""
UNIT_SHARE = 0.05
"""...and within this share of the value before, else any step would be some ratio. [-]"""
UNIT_GAP_D = 3.0
"""Over a longer gap the level is no longer known well enough to recognise a ratio. [d]"""
COARSE_STEP_MM = 5.0
"""With a step from here on, values of another unit fall beside the sensor's own steps. [mm]"""
SWELL_PER_K = 0.00093
"""Kerosene swells so much per kelvin; gas oil less. [1/K] (Table 54B at 800 kg/m³)"""
SEASON_K = 20.0
"""Oil and air may warm so much from the coldest weeks to the warmest. [K] (assumption)"""
TREND_MEDIAN = 5
"""Readings of which the middle one counts in a creeping rise."""


def find_spikes(at: npt.NDArray[np.datetime64], litres: Floats, sd_l: Floats, *, burner: float) -> Bools:
    """Find single readings away from both neighbours, which agree with each other.

    Parameters
    ----------
    at : datetime64[s] array, shape (n,)
    litres, sd_l : float array, shape (n,)
        Level as read and the standard deviation of a reading. [l]
    burner : float
        Litres a day with every appliance at full fire. [l/d]

    Returns
    -------
    bool array, shape (n,)

    Notes
    -----
    Upward, a spike rises by more than chance and falls again by more than burning and chance;
    downward the other way round; and the neighbours differ by less than half of it. A delivery does
    not come back, and a fall between weekly readings may be burning. The neighbour before is the
    last that was no spike itself. First and last reading have one neighbour and are never spikes.

    Examples
    --------
    >>> days = np.datetime64("2024-01-01T06:00:00") + np.arange(4) * np.timedelta64(86400, "s")
    >>> find_spikes(days, np.array([900.0, 400.0, 890.0, 885.0]), np.full(4, 6.0), burner=70.0)
    array([False,  True, False, False])
    """
    n = len(litres)
    spike = np.zeros(n, dtype=bool)
    if n < 3:
        return spike
    days = np.diff(at).astype("timedelta64[s]").astype(float) / SECONDS_PER_DAY
    steps = np.abs(np.diff(litres))
    # either way one flank is at least the rise limit and both are at least the smaller of the two
    small = np.minimum(rise_limit_l(sd_l[1:-1]), fall_limit_l(0.0, burner=burner, sd_l=sd_l[1:-1]))
    turns = np.sign(litres[1:-1] - litres[:-2]) == np.sign(litres[1:-1] - litres[2:])
    for i in 1 + np.flatnonzero(turns & (np.maximum(steps[:-1], steps[1:]) > small)):
        before = i - 1
        while spike[before]:  # the first is never one
            before -= 1
        up, down = litres[i] - litres[before], litres[i] - litres[i + 1]
        rise = float(rise_limit_l(sd_l[i]))
        fall_in = float(fall_limit_l(days[before:i].sum(), burner=burner, sd_l=sd_l[i]))
        fall_out = float(fall_limit_l(days[i], burner=burner, sd_l=sd_l[i]))
        is_up = up > rise and down > fall_out
        is_down = -up > fall_in and -down > rise
        comes_back = abs(litres[i + 1] - litres[before]) < 0.5 * min(abs(up), abs(down))
        spike[i] = (is_up or is_down) and comes_back
    return spike


def find_unit_changes(
    readings: Readings,
    litres: Floats,
    sd_l: Floats,
    litres_per_mm: Floats,
    *,
    step_mm: float,
    burner: float,
    ticket_at: npt.NDArray[np.datetime64],
) -> Bools:
    """Find readings that carry on from the one before only in another unit.

    Parameters
    ----------
    readings : Readings
        Those that are in the tank and no spikes, shape (n,).
    litres, sd_l, litres_per_mm : float array, shape (n,)
        Level as read, standard deviation of a reading, litres of a millimetre. [l], [l], [l/mm]
    step_mm : float
        Step of the sensor. [mm]
    burner : float
        Litres a day with every appliance at full fire. [l/d]
    ticket_at : datetime64[s] array
        Deliveries on file: a rise within three days of one is no change of unit.

    Returns
    -------
    bool array, shape (n,)
        From the change on, up to the change back.

    Notes
    -----
    A fall to a tenth of the oil is never burning. A rise may be a delivery without a ticket: the
    readings are set aside all the same, because centimetres taken for millimetres make an empty
    tank look full, until two further values lie on the coarse steps of the sensor.
    """
    n = len(litres)
    changed = np.zeros(n, dtype=bool)
    if n < 2:
        return changed
    q, value = readings.quantity, readings.value
    days = np.diff(readings.at).astype(float) / SECONDS_PER_DAY
    per_unit = np.where(q == Quantity.LITRES, 1.0, litres_per_mm)  # litres a unit of value
    step = np.where(q == Quantity.LITRES, step_mm * litres_per_mm, step_mm)[:-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        slack = UNIT_STEPS * step + UNIT_BURN_L_PER_DAY * days / np.maximum(per_unit[:-1], 1e-9)
    same = (q[1:] == q[:-1]) & (days <= UNIT_GAP_D)
    ratio = np.ones(n - 1)
    slack = np.minimum(slack, np.maximum(step, UNIT_SHARE * value[:-1]))
    jump = np.diff(litres)
    limit = np.where(jump > 0.0, rise_limit_l(sd_l[1:]), fall_limit_l(days, burner=burner, sd_l=sd_l[1:]))
    for quantity, ratios in UNIT_RATIOS.items():
        here = same & (q[1:] == quantity) & (np.abs(jump) > limit)
        for r in ratios:
            ratio[here & (np.abs(value[1:] * r - value[:-1]) <= slack)] = 1.0 / r
            ratio[here & (np.abs(value[1:] / r - value[:-1]) <= slack)] = r
    back = None
    for i in np.flatnonzero(ratio != 1.0) + 1:
        if back is not None and abs(ratio[i - 1] / back - 1.0) < 1e-9:
            changed[i:] = False
            back = None
        elif back is None:
            rises = litres[i] > litres[i - 1]
            near = np.abs((ticket_at - readings.at[i]).astype("timedelta64[s]").astype(float))
            ticketed = rises and bool((near <= 3.0 * SECONDS_PER_DAY).any())
            if not ticketed and not (rises and _is_on_steps(value[i:], step_mm, q[i])):
                changed[i:] = True
                back = 1.0 / ratio[i - 1]
    return changed


def _is_on_steps(value: Floats, step_mm: float, quantity: str) -> bool:
    """Whether three different values or more all lie on a coarse sensor's steps."""
    if step_mm < COARSE_STEP_MM or quantity not in (Quantity.ULLAGE_MM, Quantity.DIP_MM):
        return False
    off = np.abs(value - np.round(value / step_mm) * step_mm)
    return bool((off < 1e-6).all() and len(np.unique(value)) >= 3)


def find_creeping_rise(litres: Floats, sd_l: Floats, *, air_sd_l: Floats) -> Bools:
    """Find readings above where the level has been, without a delivery in between.

    Parameters
    ----------
    litres, sd_l : float array, shape (n,)
        Level as read and the standard deviation of a reading. [l]
    air_sd_l : float array, shape (n,)
        What a season's change of air temperature does to an uncompensated sensor. [l]

    Returns
    -------
    bool array, shape (n,)

    Notes
    -----
    Oil only falls between deliveries, but for its warming. Steps above the rise limit are taken
    out as deliveries; what is left may climb by 50 l or 6 σ, by the swelling of the oil over 20 K
    and by the air's effect. Three litres a day are found after about four weeks.
    """
    n = len(litres)
    if n < TREND_MEDIAN:
        return np.zeros(n, dtype=bool)
    step = np.diff(litres, prepend=litres[0])
    jump = np.where(step > rise_limit_l(sd_l), step, 0.0)
    without = litres - np.cumsum(jump)
    middle = without.copy()
    windows = np.lib.stride_tricks.sliding_window_view(without, TREND_MEDIAN)
    middle[TREND_MEDIAN - 1 :] = np.median(windows, axis=1)
    middle[: TREND_MEDIAN - 1] = middle[TREND_MEDIAN - 1]
    lowest = np.minimum.accumulate(middle)
    allowed = rise_limit_l(sd_l) + SWELL_PER_K * SEASON_K * np.abs(litres) + air_sd_l
    return np.asarray(middle - lowest > allowed)
