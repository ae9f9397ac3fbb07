"""Take readings in: find the sensor, put right a clock that is ahead, store each once.

Flow     door -> **record** -> store; after the commit, **judge** says what the screens make of them
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache

from api.ports import Clock
from api.store import NotFoundError, Session
from api.store.readings import NewReading, Outcome, load_readings, save_aside, save_readings
from api.store.tanks import Sensor, SensorKind, StoredTank, load_tank_version, mark_changed
from forecaster.civil import instant
from forecaster.errors import TankError
from forecaster.readings import Quantity
from forecaster.screening import Flag, screen_readings
from forecaster.tanks import Tank, parse_tank

CLOCK_SLACK = timedelta(minutes=5)
"""A sender's clock may be so far ahead of ours and is still believed. Assumption."""
FAR_FUTURE = timedelta(hours=24)
"""A time further ahead is no slip of a clock: the reading is put aside. Assumption."""
BEFORE = 60
"""Readings before a new one that its judgement looks at. [readings]"""
_KIND = {
    Quantity.ULLAGE_MM: SensorKind.LEVEL_SENSOR,
    Quantity.DIP_MM: SensorKind.DIP_STICK,
    Quantity.LITRES: SensorKind.GAUGE,
    Quantity.FRACTION: SensorKind.GAUGE,
}


@dataclass(frozen=True, slots=True)
class Measurement:
    """One reading as it was sent: time with offset; mm, litres or a fraction; temperatures. [C]

    ``step`` is how finely a person read it, in the value's unit; None for a sensor.
    """

    at: datetime
    quantity: Quantity
    value: float
    air_c: float | None = None
    oil_c: float | None = None
    step: float | None = None


@dataclass(frozen=True, slots=True)
class Recorded:
    """What became of a reading, and the row kept under its key (itself, where none is)."""

    outcome: Outcome
    reading: NewReading

    @property
    def is_stored(self) -> bool:
        """Whether it is kept, now or since before."""
        return self.outcome in (Outcome.NEW, Outcome.KNOWN)

    @property
    def clock_was_ahead(self) -> bool:
        """Whether it is kept under our time instead of the sender's."""
        return self.reading.device_at is not None


def record_readings(
    session: Session,
    clock: Clock,
    tank: StoredTank,
    measurements: Sequence[Measurement],
    *,
    sensor: str | None = None,
    source: str,
) -> list[Recorded]:
    """Store readings of a tank, each once; say of each what became of it.

    Parameters
    ----------
    measurements
        In any order, repeats allowed; their times are kept to the second.
    sensor
        Public id of the sensor that took them. Without it, an ullage is the level sensor's, a dip
        the dip stick's, litres and fractions the gauge's.
    source
        The door they came through: ``http``, ``csv``.

    Returns
    -------
    list of Recorded
        One for each, in the same order.

    Raises
    ------
    NotFoundError
        When the tank has no such sensor.

    Notes
    -----
    Of readings more than 5 minutes ahead of our clock the newest is given our time, and the others
    keep their distance from it. Those more than 24 hours ahead are put aside.
    """
    now = clock.now().replace(microsecond=0)
    sent = [_to_row(m, find_sensor(tank, m.quantity, sensor)) for m in measurements]
    ahead = [r.at for r in sent if now + CLOCK_SLACK < r.at <= now + FAR_FUTURE]
    shift = max(ahead) - now if ahead else timedelta()
    believed = [_put_right(r, now, shift) for r in sent]
    near = [r for r in believed if r.at <= now + FAR_FUTURE]
    saved = iter(save_readings(session, near, received_at=now, source=source))
    recorded = []
    for row in believed:
        if row.at > now + FAR_FUTURE:
            recorded.append(Recorded(Outcome.FAR_FUTURE, row))
        else:
            one = next(saved)
            recorded.append(Recorded(one.outcome, one.kept))
    far = [r for r in believed if r.at > now + FAR_FUTURE]
    save_aside(session, far, Outcome.FAR_FUTURE, received_at=now, source=source)
    if any(r.outcome is Outcome.NEW for r in recorded):
        mark_changed(session, tank.id)
    return recorded


def judge_readings(session: Session, tank: StoredTank, recorded: Sequence[Recorded]) -> list[tuple[str, ...]]:
    """Say of stored readings what the screens make of them, as far as can be said by now.

    Returns
    -------
    list of tuple of str
        For each the names of its flags, such as ``no_echo``; empty for a reading that is used, and
        for one that was not stored.

    Notes
    -----
    A later reading may change the judgement (a spike shows only then); the forecast judges anew.
    """
    stored = {r.reading for r in recorded if r.is_stored}
    if not stored:
        return [()] * len(recorded)
    until = max(r.at for r in stored)
    version = load_tank_version(session, tank.id, as_of=until)
    readings = load_readings(
        session, tank.id, since=version.valid_from, until=until, newest=BEFORE + len(stored)
    )
    if readings is None:
        return [()] * len(recorded)
    try:
        found = screen_readings(readings, describe(version.toml)).tolist()
    except TankError:
        return [("no_sensor_height",) if r.is_stored else () for r in recorded]
    keys = zip(readings.at, readings.quantity.tolist(), readings.value.tolist(), strict=True)
    flags = dict(zip(keys, found, strict=True))
    return [
        names_of(flags.get((instant(r.reading.at), r.reading.quantity, r.reading.value), 0))
        if r.is_stored
        else ()
        for r in recorded
    ]


def find_sensor(tank: StoredTank, quantity: Quantity, public_id: str | None = None) -> Sensor:
    """Find the sensor that takes a quantity, or the one that is named.

    Raises
    ------
    NotFoundError
        When the tank has no such sensor.
    """
    for sensor in tank.sensors:
        if public_id == sensor.public_id or (public_id is None and sensor.kind is _KIND[quantity]):
            return sensor
    raise NotFoundError


@lru_cache(maxsize=1_024)
def describe(toml: str) -> Tank:
    """Read a tank's stored description; the same text is read once."""
    return parse_tank(toml)


def names_of(flag: int) -> tuple[str, ...]:
    """Name the flags of a reading.

    Examples
    --------
    >>> names_of(Flag.NO_ECHO | Flag.SPIKE)
    ('no_echo', 'spike')
    """
    return tuple(str(member.name).lower() for member in Flag if int(member) & flag) if flag else ()


def _to_row(m: Measurement, sensor: Sensor) -> NewReading:
    return NewReading(
        sensor.id,
        m.at.replace(microsecond=0),
        str(m.quantity),
        m.value + 0.0,
        m.air_c,
        m.oil_c,
        step=m.step,
    )


def _put_right(row: NewReading, now: datetime, shift: timedelta) -> NewReading:
    if not now + CLOCK_SLACK < row.at <= now + FAR_FUTURE:
        return row
    return replace(row, at=row.at - shift, device_at=row.at)
