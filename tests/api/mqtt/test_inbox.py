"""A batch of messages is stored, kept as letters or counted; nothing in it stops the rest."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.mqtt import Message, Taken, inbox, take_in
from api.store import StoreUnavailableError
from api.store.letters import dropped_of, list_letters
from api.store.mappings import StoredMapping, mappings_by_topic, save_mapping
from api.store.readings import count_readings
from api.store.tanks import SensorKind, StoredTank
from api.usecases.register_tank import register_tank
from api.wiring import Services
from tests.api.conftest import NOW, StandingClock

TANK = 'shape = "moulded"\nproduct = "kerosene"\ncapacity_l = 1300\nheight_mm = 1200\n'
TOPIC = "oil/level"
DRAFT = {"level": "/d", "quantity": "ullage", "unit": "mm", "time": "/t", "time_form": "epoch_s"}
T0 = int(NOW.timestamp()) - 86_400


@pytest.fixture
def tank(services: Services) -> StoredTank:
    """A tank whose level sensor publishes on a topic."""
    with services.store.write() as session:
        tank = register_tank(session, services.clock, tank_toml=TANK)
        sensor = next(s for s in tank.sensors if s.kind is SensorKind.LEVEL_SENSOR)
        save_mapping(session, sensor_id=sensor.id, topic=TOPIC, body=json.dumps(DRAFT), created_at=NOW)
    return tank


def _mappings(services: Services) -> dict[str, StoredMapping]:
    with services.store.read() as session:
        return mappings_by_topic(session)


def _take(services: Services, *messages: Message) -> Taken:
    return take_in(services, messages, _mappings(services))


def _message(d: Any, t: int | None = T0, **more: Any) -> Message:
    return Message(TOPIC, json.dumps({"d": d} if t is None else {"d": d, "t": t}).encode(), **more)


def _codes(services: Services, tank: StoredTank) -> list[str]:
    with services.store.read() as session:
        return [letter.code for letter in list_letters(session, tank.id, newest=100)]


def test_messages_are_stored_once_c4(services: Services, tank: StoredTank) -> None:
    """The same message twice in a batch, and again later, is one reading."""
    assert _take(services, _message(600), _message(600)) == Taken(new=1, known=1)
    assert _take(services, _message(600)) == Taken(known=1)
    with services.store.read() as session:
        assert count_readings(session, tank.id) == 1


def test_another_value_of_the_same_time_is_put_aside(services: Services, tank: StoredTank) -> None:
    """The first value stays; the conflict is recorded, and the message is done with (B10)."""
    assert _take(services, _message(600), _message(601)) == Taken(new=1, aside=1)


def test_a_message_without_a_time_is_of_its_arrival(
    services: Services, tank: StoredTank, clock: StandingClock
) -> None:
    """Two equal messages a minute apart are two readings."""
    _take(services, _message(600, None))
    clock.move(minutes=1)
    assert _take(services, _message(600, None)) == Taken(new=1)


def test_a_retained_message_without_a_time_is_only_counted_c2(services: Services, tank: StoredTank) -> None:
    """Nobody knows of when it is; one with a time is a reading like any other."""
    assert _take(services, *[_message(600, None, is_retained=True)] * 3) == Taken(dropped=3)
    assert _take(services, _message(600, is_retained=True)) == Taken(new=1)
    with services.store.read() as session:
        assert dropped_of(session, TOPIC) == {"retained_without_time": 3}
    assert _codes(services, tank) == []


def test_a_message_that_was_kept_for_long_is_of_no_known_time(services: Services, tank: StoredTank) -> None:
    """What the broker kept while we were away is only counted, unless it tells its time itself."""
    assert _take(services, _message(600, None, is_late=True)) == Taken(dropped=1)
    assert _take(services, _message(600, is_late=True)) == Taken(new=1)
    with services.store.read() as session:
        assert dropped_of(session, TOPIC) == {"queued_without_time": 1}


POISON = [
    ("C6-not-json", b"level: 600", "not_json"),
    ("C6-truncated", b'{"d": 6', "not_json"),
    ("C6-empty", b"", "not_json"),
    ("C8-last-will", b'{"state": "offline"}', "nothing_there"),
    ("A12-key-twice", b'{"d": 1, "d": 2}', "key_twice"),
    ("A14-nested", b"[" * 60_000, "too_deep"),
    ("A17-utf-16", '{"d": 1}'.encode("utf-16"), "not_utf8"),
    ("A17-byte-order-mark", b'\xef\xbb\xbf{"d": 1}', "byte_order_mark"),
    ("A1-nan", b'{"d": NaN}', "not_finite"),
    ("A9-5000-digits", b'{"d": ' + b"9" * 5000 + b"}", "long_number"),
    ("A10-lone-surrogate", b'{"d": 1, "x": "\\ud800"}', "lone_surrogate"),
    ("A11-nul", b'{"d": 1, "x": "\\u0000"}', "nul"),
    ("A4-true", b'{"d": true}', "not_a_number"),
    ("A7-missing", b"{}", "nothing_there"),
    ("B11-negative", b'{"d": -1}', "out_of_range"),
    ("B3-1970", b'{"d": 1, "t": 0}', "out_of_window"),
    ("binary", bytes(range(256)), "not_utf8"),
]


@pytest.mark.parametrize(("payload", "code"), [pytest.param(p, c, id=i) for i, p, c in POISON])
def test_a_poison_message_becomes_a_letter_and_stops_nothing(
    services: Services, tank: StoredTank, payload: bytes, code: str
) -> None:
    """What cannot be read is kept with its reason, once; the good message beside it is stored."""
    assert _take(services, Message(TOPIC, payload), _message(600)) == Taken(new=1, letters=1)
    with services.store.read() as session:
        (letter,) = list_letters(session, tank.id, newest=10)
    assert (letter.code, letter.payload, letter.topic) == (code, payload[: 64 * 1024], TOPIC)


def test_a_topic_without_a_mapping_becomes_a_letter(services: Services, tank: StoredTank) -> None:
    """A message on a topic whose mapping was just removed is kept, too."""
    assert _take(services, Message("oil/gone", b"1")) == Taken(letters=1)


def test_one_message_that_breaks_the_program_costs_only_itself(
    services: Services, tank: StoredTank, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fault nobody foresaw puts its message among the letters; the others are stored."""
    plain: Callable[..., Any] = inbox._read

    def fail(message: Message, *more: Any) -> Any:
        if b"666" in message.payload:
            raise ZeroDivisionError
        return plain(message, *more)

    monkeypatch.setattr(inbox, "_read", fail)
    messages = [_message(600 + i, T0 + 60 * i) for i in range(100)]
    assert _take(services, *messages) == Taken(new=99, letters=1)
    with services.store.read() as session:
        assert count_readings(session, tank.id) == 99


def test_a_database_that_is_away_keeps_the_batch_unacknowledged(
    services: Services, tank: StoredTank, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The batch is neither stored nor turned into letters: it may not be acknowledged."""
    mappings = _mappings(services)

    def away(*args: Any, **more: Any) -> Any:
        raise StoreUnavailableError("OperationalError")

    monkeypatch.setattr(inbox, "record_readings", away)
    with pytest.raises(StoreUnavailableError):
        take_in(services, [_message(600)], mappings)
    monkeypatch.undo()
    assert _codes(services, tank) == []
    assert take_in(services, [_message(600)], mappings) == Taken(new=1)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
@given(st.lists(st.binary(max_size=40) | st.builds(lambda n: b'{"d": %d}' % n, st.integers()), max_size=5))
def test_any_bytes_are_done_with(services: Services, tank: StoredTank, payloads: list[bytes]) -> None:
    """Every message of whatever bytes is stored, known, aside or a letter: none is left over."""
    taken = _take(services, *[Message(TOPIC, payload) for payload in payloads])
    assert taken.new + taken.known + taken.aside + taken.letters == len(payloads)
