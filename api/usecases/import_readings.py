"""Bring in a file of readings: every good row stored once, every bad row named.

Flow     file -> forecaster.readings -> **import** -> store
"""

from collections import Counter
from dataclasses import dataclass

import numpy as np

from api.ports import Clock
from api.store import Session
from api.store.readings import Outcome
from api.store.tanks import StoredTank
from api.usecases.record_readings import Measurement, record_readings
from forecaster.civil import to_datetime
from forecaster.errors import Problem
from forecaster.readings import ParsedReadings, Quantity, parse_readings


@dataclass(frozen=True, slots=True)
class Imported:
    """What became of a file: how many rows were new, known, in conflict or far ahead; what was wrong."""

    new: int
    known: int
    conflict: int
    far_future: int
    problems: tuple[Problem, ...]
    parsed: ParsedReadings


def import_readings(
    session: Session,
    clock: Clock,
    tank: StoredTank,
    data: bytes | str,
    *,
    decimal: str = ".",
    time_column: str | None = None,
    level_column: str | None = None,
    unit: str | None = None,
    tz: str | None = None,
) -> Imported:
    """Store a file's readings, each once; the options are those of `parse_readings`.

    Raises
    ------
    ReadingsError
        When no use can be made of the file.
    """
    parsed = parse_readings(
        data, decimal=decimal, time_column=time_column, level_column=level_column, unit=unit, tz=tz
    )
    readings = parsed.readings
    measurements = [
        Measurement(
            at=to_datetime(readings.at[i]),
            quantity=Quantity(readings.quantity[i]),
            value=float(readings.value[i]),
            air_c=_known(readings.air_c[i]),
            oil_c=_known(readings.oil_c[i]),
        )
        for i in range(len(readings))
    ]
    counts = Counter(r.outcome for r in record_readings(session, clock, tank, measurements, source="csv"))
    return Imported(
        new=counts[Outcome.NEW],
        known=counts[Outcome.KNOWN] + parsed.duplicates,
        conflict=counts[Outcome.CONFLICT],
        far_future=counts[Outcome.FAR_FUTURE],
        problems=parsed.problems,
        parsed=parsed,
    )


def readings_words(found: Imported) -> str:
    """Say what became of a file's rows, as a part of a sentence."""
    counts = (
        (found.new, "new reading", "new readings"),
        (found.known, "reading known before", "readings known before"),
        (found.conflict, *(f"{what} against another value of its time" for what in ("reading", "readings"))),
        (found.far_future, *(f"{what} put aside, more than a day ahead" for what in ("reading", "readings"))),
    )
    said = [f"{count:,} {one if count == 1 else many}" for count, one, many in counts if count]
    return ", ".join(said) or "no readings"


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
