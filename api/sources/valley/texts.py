"""The valley's files: what a person would have on disk, as text.

Flow     weather, readings, deliveries, diary, wood -> **text** -> the same doors as any other file
"""

import numpy as np
import numpy.typing as npt

from api.sources.valley.gauge import Echoes
from api.sources.valley.household import Stay
from api.sources.valley.sky import Floats, Sky

Dates = npt.NDArray[np.datetime64]


def write_weather(sky: Sky, local_date: Dates, *, start: np.datetime64, end: np.datetime64) -> str:
    """Write the days from ``start`` to ``end``, both included, of a daily weather file.

    Parameters
    ----------
    local_date : datetime64[D] array, shape (hour,)
        Civil date of each hour.
    """
    lines = ["date,temp_c,tmin_c,tmax_c,ghi_wh_m2"]
    days, first = np.unique(local_date, return_index=True)
    last = np.append(first[1:], len(local_date))
    for day, a, b in zip(days, first, last, strict=True):
        if start <= day <= end:
            temp_c = sky.temp_c[a:b]
            sun = sky.ghi_w_m2[a:b].sum()
            lines.append(f"{day},{temp_c.mean():.1f},{temp_c.min():.1f},{temp_c.max():.1f},{sun:.0f}")
    return _text(lines)


def write_readings(echoes: Echoes, *, with_air: bool) -> str:
    """Write what a sensor sent; with the headspace air where it measures that."""
    lines = ["at,ullage_mm,air_c" if with_air else "at,ullage_mm"]
    for at, ullage_mm, air_c in zip(echoes.at, echoes.ullage_mm, echoes.air_c, strict=True):
        lines.append(f"{at}:00Z,{ullage_mm:.0f}" + (f",{air_c:.1f}" if with_air else ""))
    return _text(lines)


def write_deliveries(at: Dates, ticket_l: Floats, *, filled: bool, product: str) -> str:
    """Write the tickets: what the tanker's meter said, at the oil's own temperature."""
    lines = ["at,litres,filled,product,basis"]
    for hour, litres in zip(at, ticket_l, strict=True):
        lines.append(f"{hour}:00:00Z,{litres:.0f},{'yes' if filled else 'no'},{product},observed")
    return _text(lines)


def write_diary(stays: tuple[Stay, ...]) -> str | None:
    """Write the stays that the people told; None when they told none."""
    told = [f"{stay.start},{stay.end},{stay.what}" for stay in stays if stay.told]
    return _text(["start,end,what", *told]) if told else None


def write_stove_log(date: Dates, kg: Floats) -> str:
    """Write the wood of each evening that had a fire."""
    burned = [f"{day},{wood:.1f}" for day, wood in zip(date, kg, strict=True) if wood > 0.0]
    return _text(["date,kg", *burned])


def _text(lines: list[str]) -> str:
    return "\n".join(lines) + "\n"
