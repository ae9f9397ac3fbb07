"""Wood: its heat, and the oil that a stove spares.

Flow     stove log, or rated output and hours -> **stove heat [kWh/d]** -> burn model (litres spared)
Formula  NCV = NCV0·(1 − M) − 2.44·M;  litres = kg·NCV·η_stove·d/(η_boiler·GCV);  evening = rated kW · hours
Source   [1] Heat of dry wood 18.5 to 19 MJ/kg and of the water's evaporation 2.44 MJ/kg: trade pages; their
         combination is a heat balance.
         [2] SAP 2012, Table 4a, efficiencies of room heaters: packaged table ``stoves``.
         [3] Net heat of dry wood by species: packaged table ``woods``.
         The stove's heat is on the net basis, the boiler's on the gross one, as each is published.

Caution  A stove needs its yearly service, a swept chimney and working alarms for smoke and carbon
         monoxide. Nothing here is advice to burn more wood, least of all unattended.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.errors import Problem, SurveyError
from forecaster.rows import Row, parse_date, parse_number, parse_rows, require_columns
from forecaster.tables import read_table
from forecaster.units import MJ_PER_KWH

Floats = npt.NDArray[np.float64]
Dates = npt.NDArray[np.datetime64]

DRY_WOOD_MJ_PER_KG = 18.5
"""Net heat of oven-dry wood, the lower of the usual values. Source [1]. [MJ/kg]"""
EVAPORATION_MJ_PER_KG = 2.44
"""Heat that water in the wood takes along. Source [1]. [MJ/kg]"""
EVAPORATION_FULL_MJ_PER_KG = 2.447
"""The same as the full formula has it, at 25 °C. Source [1]. [MJ/kg]"""
WATER_PER_HYDROGEN = 9.01
"""Mass of water that a mass of hydrogen burns to. [-]"""
SEASONED_MOISTURE = 0.2
"""Water in seasoned logs, as a part of their whole weight. Common practice, no source. [-]"""
WETTEST = 0.65
"""Freshly felled wood holds no more water than that, as a part of its whole weight. [-]"""
MOST_KG_A_DAY, MOST_KWH_A_DAY = 200.0, 500.0
"""More than that is a mistake or a season's pile in one row. Assumption. [kg/d, kWh/d]"""
STOVE_EFFICIENCIES: dict[str, float] = {row["key"]: float(row["efficiency"]) for row in read_table("stoves")}
"""Heat to the room over net heat of the wood, by kind. Source [2]. [-]"""
SPECIES_MJ_PER_KG: dict[str, float] = {row["key"]: float(row["dry_mj_per_kg"]) for row in read_table("woods")}
"""Net heat of dry wood, by species. Source [3]. [MJ/kg]"""


@dataclass(frozen=True, slots=True, eq=False)
class StoveLog:
    """Heat that a stove gave, by day.

    Attributes
    ----------
    date : datetime64[D] array, shape (k,)
        Rising, each day once.
    kwh : float array, shape (k,)
        To the room, all fires of the day together. [kWh/d]
    """

    date: Dates
    kwh: Floats


def wood_net_kwh_per_kg(
    moisture: npt.ArrayLike = SEASONED_MOISTURE, *, dry_mj_per_kg: float = DRY_WOOD_MJ_PER_KG
) -> Floats:
    """Find the net heat of a kilogram of wood as it lies there.

    Parameters
    ----------
    moisture : float array
        Water as a part of the whole weight (wet basis), 0 to 1. [-]
    dry_mj_per_kg : float
        Net heat of the wood when dry. [MJ/kg]

    Returns
    -------
    float array
        [kWh/kg]

    Raises
    ------
    ValueError
        If a moisture is not from 0 to below 1.

    Notes
    -----
    A moisture meter shows water over dry wood: turn 0.25 there into 0.20 here, `wet_basis`.

    Examples
    --------
    >>> wood_net_kwh_per_kg([0.0, 0.2, 0.5]).round(3)
    array([5.139, 3.976, 2.231])
    """
    wet = _checked_moisture(moisture)
    return (dry_mj_per_kg * (1.0 - wet) - EVAPORATION_MJ_PER_KG * wet) / MJ_PER_KWH


def wood_net_mj_per_kg_from_gross(
    moisture: npt.ArrayLike, *, gross_dry_mj_per_kg: float, hydrogen: float = 0.06
) -> Floats:
    """Find the net heat of wood from its gross heat, by the full formula.

    Parameters
    ----------
    moisture : float array
        Water as a part of the whole weight. [-]
    gross_dry_mj_per_kg : float
        Of the dry wood. [MJ/kg]
    hydrogen : float
        Part of the dry weight. [-]

    Returns
    -------
    float array
        [MJ/kg]

    Examples
    --------
    >>> round(float(wood_net_mj_per_kg_from_gross(0.2, gross_dry_mj_per_kg=20.0)), 2)
    14.45
    """
    wet = _checked_moisture(moisture)
    burnt_water = WATER_PER_HYDROGEN * hydrogen * (1.0 - wet)
    return gross_dry_mj_per_kg * (1.0 - wet) - EVAPORATION_FULL_MJ_PER_KG * (wet + burnt_water)


def wet_basis(moisture_of_dry: npt.ArrayLike) -> Floats:
    """Turn water over dry wood into water over the whole weight.

    Examples
    --------
    >>> float(wet_basis(0.25))
    0.2
    """
    dry = np.asarray(moisture_of_dry, dtype=float)
    return np.asarray(dry / (1.0 + dry), dtype=float)


def wood_kg_per_h(output_kw: float, *, efficiency: float, net_kwh_per_kg: float) -> float:
    """Find how fast a stove eats wood.

    Examples
    --------
    >>> round(wood_kg_per_h(5.0, efficiency=0.75, net_kwh_per_kg=3.9756), 2)
    1.68
    """
    return output_kw / (efficiency * net_kwh_per_kg)


def litres_displaced(
    stove_kwh: npt.ArrayLike, *, boiler_efficiency: float, gross_kwh_per_l: float, replaced: float = 1.0
) -> Floats:
    """Find the oil that the boiler need not burn.

    Parameters
    ----------
    stove_kwh : float array
        Heat to the room. [kWh]
    boiler_efficiency : float
        Gross. [-]
    gross_kwh_per_l : float
        Of the oil. [kWh/l]
    replaced : float
        Part of the stove's heat that the boiler would have given; the room with the stove grows too
        warm and the other rooms still call, so 0.5 to 0.9 (common practice, no source). [-]

    Returns
    -------
    float array
        [L]

    Examples
    --------
    >>> wood = 10 * wood_net_kwh_per_kg(0.2) * STOVE_EFFICIENCIES["closed"]
    >>> round(float(litres_displaced(wood, boiler_efficiency=0.84, gross_kwh_per_l=10.294)), 2)
    2.99
    """
    return np.asarray(stove_kwh, dtype=float) * replaced / (boiler_efficiency * gross_kwh_per_l)


def evening_kwh(*, rated_kw: float, hours: float) -> float:
    """Find the heat of an evening with fire, at the stove's rated output.

    Examples
    --------
    >>> evening_kwh(rated_kw=5.0, hours=4.0)
    20.0
    """
    return rated_kw * hours


def parse_stove_log(
    data: bytes | str,
    *,
    decimal: str = ".",
    efficiency: float = STOVE_EFFICIENCIES["closed"],
    moisture: float = SEASONED_MOISTURE,
) -> tuple[StoveLog, tuple[Problem, ...]]:
    r"""Read a stove log: ``date`` with ``kg`` of wood or ``kwh`` to the room, perhaps ``moisture``, ``species``.

    Parameters
    ----------
    data : bytes or str
        Comma, semicolon or tab between the cells.
    decimal : str
        The decimal sign.
    efficiency : float
        Of the stove, for rows with kilograms. [-]
    moisture : float
        Of the wood, where a row has none. [-] A row without a species is of `DRY_WOOD_MJ_PER_KG`.

    Returns
    -------
    StoveLog
        Days rising; rows of one day are added up.
    tuple of Problem
        One for each bad row; the good rows are kept.

    Raises
    ------
    SurveyError
        If there is no such table at all.

    Notes
    -----
    Where a row has both, ``kwh`` counts. Two equal rows are two fires, not a double. A day without a
    row between the log's first and last day was a day without fire.

    Examples
    --------
    >>> log, problems = parse_stove_log("date,kg\n2024-01-02,10\n2024-01-01,5\n2024-01-03,-1\n")
    >>> log.kwh.round(1), str(problems[0])
    (array([12.9, 25.8]), "row 4, kg: give 0 to 200 (seen: '-1')")
    """
    table = parse_rows(data, error=SurveyError)
    require_columns(table, ("date",), error=SurveyError)
    if not {"kg", "kwh"} & set(table.columns):
        raise SurveyError(
            Problem("no_column", "kg", "add a column kg (wood) or kwh (heat to the room)", row=1)
        )
    heat: dict[np.datetime64, float] = {}
    problems = list(table.problems)
    for row in table.rows:
        try:
            day = _read_day(row)
            kwh = _read_heat(row, decimal=decimal, efficiency=efficiency, moisture=moisture)
        except _BadCellError as bad:
            problems.append(
                Problem("bad_cell", bad.field, bad.mend, row.cells.get(bad.field, ""), row.number)
            )
            continue
        heat[day] = heat.get(day, 0.0) + kwh
    days = sorted(heat)
    log = StoveLog(np.array(days, dtype="datetime64[D]"), np.array([heat[d] for d in days], dtype=float))
    return log, tuple(sorted(problems, key=lambda p: p.row or 0))


class _BadCellError(Exception):
    """One cell of a row cannot be read."""

    def __init__(self, field: str, mend: str) -> None:
        super().__init__(field, mend)
        self.field, self.mend = field, mend


def _read_day(row: Row) -> np.datetime64:
    try:
        return np.datetime64(parse_date(row.cells["date"]), "D")
    except ValueError as bad:
        raise _BadCellError("date", str(bad)) from None


def _read_heat(row: Row, *, decimal: str, efficiency: float, moisture: float) -> float:
    if row.cells.get("kwh"):
        return _read_number(row, "kwh", decimal=decimal, high=MOST_KWH_A_DAY)
    if "kg" not in row.cells:
        raise _BadCellError("kwh", "give a value")
    kg = _read_number(row, "kg", decimal=decimal, high=MOST_KG_A_DAY)
    if row.cells.get("moisture"):
        moisture = _read_number(row, "moisture", decimal=decimal, high=WETTEST)
    return kg * float(wood_net_kwh_per_kg(moisture, dry_mj_per_kg=_dry_heat(row))) * efficiency


def _dry_heat(row: Row) -> float:
    """Net heat of the row's wood when dry. [MJ/kg]"""
    species = row.cells.get("species", "").lower()
    if not species:
        return DRY_WOOD_MJ_PER_KG
    if species not in SPECIES_MJ_PER_KG:
        raise _BadCellError("species", f"give one of {', '.join(SPECIES_MJ_PER_KG)}, or leave it out")
    return SPECIES_MJ_PER_KG[species]


def _read_number(row: Row, field: str, *, decimal: str, high: float) -> float:
    try:
        value = parse_number(row.cells[field], decimal=decimal)
    except ValueError as bad:
        raise _BadCellError(field, str(bad)) from None
    if not 0.0 <= value <= high:
        part = ", as a part of the wet weight (0.2 for 20 %)" if field == "moisture" else ""
        raise _BadCellError(field, f"give 0 to {high:g}{part}")
    return value


def _checked_moisture(moisture: npt.ArrayLike) -> Floats:
    wet = np.asarray(moisture, dtype=float)
    if not np.all((wet >= 0.0) & (wet < 1.0)):
        raise ValueError("moisture is water as a part of the whole weight: 0 to below 1")
    return wet
