"""A batch of messages: stored in one transaction, or kept as letters with the reason.

Nothing here raises for what a message holds: whatever it is, it is done with after the commit and can
be acknowledged. Only where the database does not answer does a batch stay where it is.

Flow     messages, mappings -> **readings, letters, counts** -> commit
"""

import logging
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

from api.problems import ProblemError
from api.problems.body import parse_json
from api.schemas.mapping import Mapping as Reader
from api.schemas.mapping import apply_mapping, stored_mapping
from api.schemas.values import find_foul_values
from api.store import Session, StoreUnavailableError
from api.store.letters import Letter, count_dropped, save_letters
from api.store.mappings import StoredMapping
from api.store.readings import Outcome
from api.store.tanks import load_tank
from api.usecases.record_readings import Measurement, record_readings
from api.wiring import Services
from forecaster.errors import Problem

_log = logging.getLogger(__name__)

SOURCE = "mqtt"
"""The door, as it stands beside a reading."""
RETAINED, QUEUED = "retained_without_time", "queued_without_time"
"""Why a message was only counted: the broker repeats it, or kept it while we were away; nobody knows since when."""


@dataclass(frozen=True, slots=True)
class Message:
    """A message as the broker handed it over: retained, or kept for long while we were away."""

    topic: str
    payload: bytes
    is_retained: bool = False
    is_late: bool = False

    @property
    def is_undated(self) -> str | None:
        """Why its arrival says nothing of its time; None where it does."""
        return RETAINED if self.is_retained else QUEUED if self.is_late else None


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of messages: readings new and known, in conflict or far ahead, letters, only counted."""

    new: int = 0
    known: int = 0
    aside: int = 0
    letters: int = 0
    dropped: int = 0

    def __add__(self, other: "Taken") -> "Taken":
        return Taken(
            self.new + other.new,
            self.known + other.known,
            self.aside + other.aside,
            self.letters + other.letters,
            self.dropped + other.dropped,
        )


def take_in(services: Services, messages: Sequence[Message], mappings: Mapping[str, StoredMapping]) -> Taken:
    """Store what messages hold; when this returns it is committed, and they may be acknowledged.

    Parameters
    ----------
    mappings
        By topic.

    Raises
    ------
    StoreUnavailableError
        When the database does not answer; nothing of the batch may be acknowledged.
    """
    try:
        return _store(services, messages, mappings)
    except StoreUnavailableError:
        raise
    except Exception:  # one of them is worse than foreseen: each by itself
        _log.exception("a batch could not be stored whole")
    return sum((_store_alone(services, one, mappings) for one in messages), Taken())


def _store_alone(services: Services, message: Message, mappings: Mapping[str, StoredMapping]) -> Taken:
    try:
        return _store(services, [message], mappings)
    except StoreUnavailableError:
        raise
    except Exception as failed:
        _log.exception("a message could not be stored")
        mend = f"keep it and tell whoever runs the service ({type(failed).__name__})"
        with services.store.write() as session:
            save_letters(session, [_letter(message, None, "not_stored", mend, services.clock.now())])
    return Taken(letters=1)


def _store(services: Services, messages: Sequence[Message], mappings: Mapping[str, StoredMapping]) -> Taken:
    now = services.clock.now()
    measured: dict[tuple[str, str | None], list[Measurement]] = defaultdict(list)
    letters: list[Letter] = []
    dropped: dict[tuple[str, str], int] = defaultdict(int)
    for message in messages:
        mapping = mappings.get(message.topic)
        if mapping is None:
            letters.append(_letter(message, None, "no_mapping", "make a mapping for this topic", now))
            continue
        found = _read(message, mapping, now)
        if isinstance(found, Problem):
            letters.append(_letter(message, mapping, found.code, f"{found.field}: {found.mend}", now))
        elif not found:
            dropped[message.topic, message.is_undated or RETAINED] += 1
        else:
            sensor = None if _reader(mapping.body).form == "senml" else mapping.sensor
            measured[mapping.tank, sensor] += found
    with services.store.write() as session:
        taken = _record(session, services, measured)
        save_letters(session, letters)
        for (topic, code), count in sorted(dropped.items()):
            count_dropped(session, topic, code, at=now, count=count)
    return taken + Taken(letters=len(letters), dropped=sum(dropped.values()))


def _record(
    session: Session, services: Services, measured: Mapping[tuple[str, str | None], list[Measurement]]
) -> Taken:
    outcomes = [
        recorded.outcome
        for (public_id, sensor), measurements in sorted(
            measured.items(), key=lambda m: (m[0][0], m[0][1] or "")
        )
        for recorded in record_readings(
            session,
            services.clock,
            load_tank(session, public_id),
            measurements,
            sensor=sensor,
            source=SOURCE,
        )
    ]
    return Taken(
        new=outcomes.count(Outcome.NEW),
        known=outcomes.count(Outcome.KNOWN),
        aside=outcomes.count(Outcome.CONFLICT) + outcomes.count(Outcome.FAR_FUTURE),
    )


def _read(message: Message, mapping: StoredMapping, now: datetime) -> list[Measurement] | Problem:
    """Take the measurements out of a message; none where nobody knows of when they are."""
    try:
        value = parse_json(message.payload)
    except ProblemError as bad:
        mend = bad.faults[0].mend if bad.faults else "send one JSON value"
        return Problem(bad.code if bad.code != "bad_request" else "not_json", "message", mend)
    foul = find_foul_values(value, known=frozenset())
    if foul:
        return Problem(foul[0].code, "message", foul[0].mend)
    applied = apply_mapping(_reader(mapping.body), value, arrived=now)
    measurements = [one.measurement for one in applied.sent if one.measurement is not None]
    if measurements:
        return [] if message.is_undated and not applied.has_time else measurements
    faults = [fault for one in applied.sent for fault in one.faults]
    return faults[0] if faults else Problem("no_level", "message", "send a level")


@lru_cache(maxsize=10_000)
def _reader(body: str) -> Reader:
    return stored_mapping(body)


def _letter(message: Message, mapping: StoredMapping | None, code: str, mend: str, now: datetime) -> Letter:
    topic = message.topic.replace("\0", "\N{REPLACEMENT CHARACTER}")
    return Letter(topic, message.payload, code, mend, now, None if mapping is None else mapping.id)
