"""A file of readings by page: chosen, shown as it would be read, stored when the person says so.

Flow     file -> **preview, with problems in words** -> confirmed -> import_readings -> page
"""

from dataclasses import dataclass
from http import HTTPStatus
from zoneinfo import ZoneInfo

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from api.pages.render import render
from api.pages.uploads import Uploaded, pack, unpack
from api.pages.visit import Here, Visit
from api.schemas.relation import Relation, relation
from api.store import StoreUnavailableError
from api.store.tanks import StoredTank
from api.usecases.import_readings import import_readings, readings_words
from forecaster.civil import to_datetime, zone_of
from forecaster.errors import InputError, Problem
from forecaster.phrases import moment_text
from forecaster.readings import LEVEL_COLUMNS, ParsedReadings, Quantity, parse_readings
from forecaster.rows import parse_rows

router = APIRouter()
ROWS_SHOWN, PROBLEMS_SHOWN = 10, 20
UNITS = {
    "ullage_mm": "from the sensor down to the oil, in mm",
    "ullage_cm": "from the sensor down to the oil, in cm",
    "ullage_in": "from the sensor down to the oil, in inches",
    "dip_mm": "depth of the oil, in mm",
    "dip_cm": "depth of the oil, in cm",
    "dip_in": "depth of the oil, in inches",
    "litres": "litres",
    "fraction": "part of the tank, 0 to 1",
}
assert set(UNITS) == set(LEVEL_COLUMNS)
_SHOWN = {
    Quantity.ULLAGE_MM: "{:,.0f} mm down to the oil",
    Quantity.DIP_MM: "{:,.0f} mm of oil",
    Quantity.LITRES: "{:,.0f} litres",
    Quantity.FRACTION: "{:.0%} of the tank",
}


@dataclass(frozen=True, slots=True)
class Layout:
    """What the person says of the file's layout; empty where the file says it."""

    time_column: str = ""
    level_column: str = ""
    unit: str = ""
    decimal: str = "."
    zone: str = ""

    def read(self, data: bytes) -> ParsedReadings:
        """Read a file by this layout; the raising is that of `parse_readings`."""
        return parse_readings(
            data,
            decimal=self.decimal,
            time_column=self.time_column or None,
            level_column=self.level_column or None,
            unit=self.unit or None,
            tz=self.zone or None,
        )


@router.get("/tanks/{tank}/readings-file")
@relation(Relation.OWNER)
def choose_file(visit: Here, tank: str) -> HTMLResponse:
    """Ask for a file of readings."""
    return _page(visit, visit.load_tank(tank))


@router.post("/tanks/{tank}/readings-file")
@relation(Relation.OWNER)
def take_file(visit: Here, tank: str, upload: Uploaded) -> HTMLResponse:
    """Show how a file would be read, or store it; all of its good rows or none."""
    stored, fields = visit.load_tank(tank), upload.fields
    data = upload.file or unpack(fields.get("kept", ""))
    if data is None:
        return _page(visit, stored, trouble="Choose a file.", status=HTTPStatus.UNPROCESSABLE_ENTITY)
    layout = Layout(
        **{name: fields.get(name, "").strip() for name in ("time_column", "level_column", "unit", "zone")},
        decimal="," if fields.get("decimal") == "," else ".",
    )
    kept = pack(data)
    if kept is None:
        trouble = "This file is too large for a page: bring it in by the command, dipcast import."
        return _page(visit, stored, trouble=trouble, status=HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
    try:
        parsed = layout.read(data)
    except InputError as bad:
        return _page(visit, stored, layout=layout, data=data, kept=kept, faults=bad.problems)
    if fields.get("do") != "store":
        return _page(visit, stored, layout=layout, data=data, kept=kept, parsed=parsed)
    return _store(visit, stored, data, layout)


def _store(visit: Visit, tank: StoredTank, data: bytes, layout: Layout) -> HTMLResponse:
    services = visit.services
    try:
        with services.store.write() as session:
            found = import_readings(
                session, services.clock, tank, data, decimal=layout.decimal,
                time_column=layout.time_column or None, level_column=layout.level_column or None,
                unit=layout.unit or None, tz=layout.zone or None,
            )  # fmt: skip
    except StoreUnavailableError:
        return render("unavailable.html", status=HTTPStatus.SERVICE_UNAVAILABLE)
    set_aside = len({p.row for p in found.problems})
    words = f"Stored for {tank.name}: {readings_words(found)}."
    if set_aside:
        words += f" {set_aside:,} {'row was' if set_aside == 1 else 'rows were'} set aside."
    return render("readings_stored.html", tank=tank, words=words, places=visit.places(tank.public_id))


def _page(
    visit: Visit,
    tank: StoredTank,
    *,
    layout: Layout | None = None,
    data: bytes = b"",
    kept: str = "",
    parsed: ParsedReadings | None = None,
    faults: tuple[Problem, ...] = (),
    trouble: str = "",
    status: HTTPStatus = HTTPStatus.OK,
) -> HTMLResponse:
    problems = faults or (parsed.problems if parsed is not None else ())
    return render(
        "readings_file.html",
        status=HTTPStatus.UNPROCESSABLE_ENTITY if faults else status,
        tank=tank,
        layout=layout or Layout(zone=tank.zone),
        columns=_columns(data),
        units=UNITS,
        kept=kept,
        rows=[] if parsed is None else _rows(parsed, zone_of(tank.zone)),
        count=0 if parsed is None else len(parsed.readings),
        summary="" if parsed is None else parsed.summary,
        problems=[str(problem) for problem in problems[:PROBLEMS_SHOWN]],
        more_problems=max(0, len(problems) - PROBLEMS_SHOWN),
        trouble=trouble,
        places=visit.places(tank.public_id),
    )


def _columns(data: bytes) -> tuple[str, ...]:
    try:
        return parse_rows(data).columns if data else ()
    except InputError:
        return ()


def _rows(parsed: ParsedReadings, zone: ZoneInfo) -> list[tuple[str, str]]:
    readings = parsed.readings
    return [
        (
            moment_text(to_datetime(readings.at[i]), zone),
            _SHOWN[Quantity(readings.quantity[i])].format(readings.value[i]),
        )
        for i in range(min(ROWS_SHOWN, len(readings)))
    ]
