"""Readings as sent are stored, and what became of each is said; whatever form they were sent in.

Flow     readings as sent -> record_readings -> commit -> judge_readings -> **answer**
"""

from collections import Counter
from collections.abc import Sequence
from http import HTTPStatus

from fastapi import Response

from api.problems import Fault, ProblemError, faults_of
from api.schemas.readings import STATUS, FaultOut, ReadingOut, ReadingsOut, Sent
from api.store.tanks import load_tank
from api.usecases.record_readings import Recorded, judge_readings, record_readings
from api.wiring import Services

MAX_FAULTS = 100
"""At most so many faults of a batch are named where none of it can be used."""
CONFLICT = Fault("", "conflict", "another value is kept under this sensor and time; the first stays")
FAR_FUTURE = Fault("/at", "far_future", "set the clock: the time is more than 24 hours ahead")


def require_one_usable(sent: Sequence[Sent]) -> None:
    """Refuse a batch of which nothing can be stored.

    Raises
    ------
    ProblemError
        422, with what is wrong with each.
    """
    if all(one.measurement is None for one in sent):
        faults = [fault for one in sent for fault in faults_of(one.faults)][:MAX_FAULTS]
        raise ProblemError(HTTPStatus.UNPROCESSABLE_ENTITY, "not_usable", faults=faults)


def store_sent(
    services: Services, public_id: str, sent: Sequence[Sent], *, sensor: str | None, source: str
) -> list[ReadingOut]:
    """Store what can be stored; after the commit, say what became of each.

    Parameters
    ----------
    public_id
        Of the tank.
    sensor
        Public id of the sensor that took them all; None where the quantity tells.
    source
        The door they came through.
    """
    measurements = [s.measurement for s in sent if s.measurement is not None]
    with services.store.write() as session:
        tank = load_tank(session, public_id)
        recorded = record_readings(session, services.clock, tank, measurements, sensor=sensor, source=source)
    with services.store.read() as session:
        flags = judge_readings(session, tank, recorded)
    stored = iter(zip(recorded, flags, strict=True))
    return [_refused(one) if one.measurement is None else _answer(one, *next(stored)) for one in sent]


def sum_up(response: Response, results: list[ReadingOut], *, is_batch: bool) -> ReadingsOut:
    """Count what became of a message, and set the answer's status: 200 known, 201 stored, 207 in part."""
    counts = Counter(result.status for result in results)
    refused = is_batch and (counts["conflict"] or counts["refused"])
    response.status_code = 207 if refused else 201 if counts["new"] else 200
    return ReadingsOut(
        new=counts["new"],
        known=counts["known"],
        conflict=counts["conflict"],
        refused=counts["refused"],
        results=results,
    )


def _refused(one: Sent) -> ReadingOut:
    return ReadingOut(status="refused", at=None, clock=False, flags=[], errors=_out(faults_of(one.faults)))


def _answer(one: Sent, recorded: Recorded, flags: tuple[str, ...]) -> ReadingOut:
    status = STATUS[recorded.outcome]
    faults = faults_of(one.faults)
    if status == "conflict":
        faults = [Fault(one.pointer, CONFLICT.code, CONFLICT.mend)]
    elif status == "refused":
        faults = [Fault(one.pointer + FAR_FUTURE.pointer, FAR_FUTURE.code, FAR_FUTURE.mend)]
    return ReadingOut(
        status=status,
        at=recorded.reading.at if status in ("new", "known") else None,
        clock=recorded.clock_was_ahead,
        flags=list(flags),
        errors=_out(faults),
    )


def _out(faults: list[Fault]) -> list[FaultOut]:
    return [FaultOut(pointer=f.pointer, code=f.code, mend=f.mend) for f in faults]
