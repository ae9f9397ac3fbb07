"""A real broker, a real subscriber: stored before acknowledged, through kills, restarts and refusals."""

import json
import multiprocessing
import random
import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from api.mqtt import Subscriber
from api.settings import Settings
from api.store import Store, make_engine, migrate
from api.store.mappings import delete_mapping, save_mapping
from api.store.readings import count_readings, newest_reading
from api.store.tanks import SensorKind, StoredTank
from api.usecases.register_tank import register_tank
from api.wiring import Services
from tests.api.conftest import NOW, StandingClock
from tests.api.mqtt.broker import SENSOR, STRANGER, Broker, Publisher, running_broker
from tests.api.mqtt.drill import listen, settings_of

pytestmark = pytest.mark.broker

TANK = 'shape = "moulded"\nproduct = "kerosene"\ncapacity_l = 1300\nheight_mm = 1200\n'
TOPIC = "oil/level"
DRAFT = {"level": "/d", "quantity": "ullage", "unit": "mm", "time": "/t", "time_form": "epoch_s"}
T0 = int(NOW.timestamp()) - 10_000_000
WAIT_S = 20.0
BACKLOG = 3_000
"""Messages that may wait with the broker in a drill."""


@pytest.fixture
def broker() -> Iterator[Broker]:
    """A broker of this test alone."""
    with running_broker() as running:
        yield running


@pytest.fixture
def publisher(broker: Broker) -> Iterator[Publisher]:
    """A sensor."""
    sensor = Publisher(broker)
    yield sensor
    sensor.close()


def _add_tank(store: Store, topic: str = TOPIC, draft: dict[str, str] = DRAFT) -> StoredTank:
    with store.write() as session:
        tank = register_tank(session, StandingClock(), tank_toml=TANK)
        sensor = next(s for s in tank.sensors if s.kind is SensorKind.LEVEL_SENSOR)
        save_mapping(session, sensor_id=sensor.id, topic=topic, body=json.dumps(draft), created_at=NOW)
    return tank


def _services(store: Store, settings: Settings) -> Services:
    return Services(settings, store, StandingClock())


@contextmanager
def _listening(services: Services) -> Iterator[Subscriber]:
    subscriber, stop = Subscriber(services, look_s=0.1), threading.Event()
    thread = threading.Thread(target=subscriber.run, args=(stop,))
    thread.start()
    try:
        yield subscriber
    finally:
        stop.set()
        thread.join(WAIT_S)
        assert not thread.is_alive()


def _wait(until: object, what: str = "nothing came") -> None:
    deadline = time.monotonic() + WAIT_S
    while not until():  # type: ignore[operator]
        assert time.monotonic() < deadline, what
        time.sleep(0.01)


def _count(store: Store, tank: StoredTank) -> int:
    with store.read() as session:
        return count_readings(session, tank.id)


def _payload(i: int) -> bytes:
    return json.dumps({"d": i % 1000, "t": T0 + i}).encode()


def test_what_is_published_is_stored(store: Store, broker: Broker, publisher: Publisher) -> None:
    """Messages of a mapped topic become readings, in batches; of QoS 0 too (C3); twice is once (C4)."""
    tank = _add_tank(store)
    with _listening(_services(store, settings_of("", broker.port))) as subscriber:
        _wait(lambda: subscriber._subscribed)
        publisher.publish_all(TOPIC, [_payload(i) for i in range(300)])
        publisher.publish_all(TOPIC, [_payload(i) for i in range(50)])
        publisher.publish(TOPIC, _payload(300), qos=0)
        _wait(lambda: subscriber.taken.new == 301)
        _wait(lambda: subscriber.taken.known == 50)
    assert _count(store, tank) == 301


def test_a_poison_message_is_not_handed_over_for_ever_c6(
    store: Store, broker: Broker, publisher: Publisher
) -> None:
    """A message that cannot be read is acknowledged once it is kept: after a restart it does not come again."""
    _add_tank(store)
    services = _services(store, settings_of("", broker.port))
    with _listening(services) as subscriber:
        _wait(lambda: subscriber._subscribed)
        publisher.publish(TOPIC, b"not json")
        _wait(lambda: subscriber.taken.letters == 1)
    with _listening(services) as again:
        _wait(lambda: again._subscribed)
        publisher.publish(TOPIC, _payload(1))
        _wait(lambda: again.taken.new == 1)
        assert again.taken.letters == 0


def test_what_came_while_we_were_away_is_kept_by_the_broker(
    store: Store, broker: Broker, publisher: Publisher
) -> None:
    """The session outlives the connection: messages of the time between come on return."""
    tank = _add_tank(store)
    services = _services(store, settings_of("", broker.port))
    with _listening(services) as subscriber:
        _wait(lambda: subscriber._subscribed)
    publisher.publish_all(TOPIC, [_payload(i) for i in range(100)])
    with _listening(services):
        _wait(lambda: _count(store, tank) == 100)


def test_what_was_kept_without_a_time_is_not_taken_for_new(
    store: Store, broker: Broker, publisher: Publisher
) -> None:
    """After a start nobody knows how long a message without a time lay with the broker; a fresh one is of now."""
    tank = _add_tank(store)
    services = _services(store, settings_of("", broker.port))
    with _listening(services) as subscriber:
        _wait(lambda: subscriber._subscribed)
    publisher.publish_all(TOPIC, [b'{"d": 600}', b'{"d": 601}', _payload(1)])
    with _listening(services) as again:
        _wait(lambda: again.taken.new == 1)
        assert again.taken.dropped == 2
        time.sleep(1.1)
        publisher.publish(TOPIC, b'{"d": 602}')
        _wait(lambda: again.taken.new == 2)
    assert _count(store, tank) == 2


def test_topics_are_followed_as_mappings_come_and_go(
    store: Store, broker: Broker, publisher: Publisher
) -> None:
    """A mapping made while we listen is heard; one that is removed is not any more."""
    with _listening(_services(store, settings_of("", broker.port))) as subscriber:
        _wait(lambda: subscriber.is_connected)
        tank = _add_tank(store, "oil/new")
        _wait(lambda: subscriber._subscribed == {"oil/new"})
        publisher.publish("oil/new", _payload(1))
        _wait(lambda: subscriber.taken.new == 1)
        with store.write() as session:
            mapping = subscriber._mappings["oil/new"]
            delete_mapping(session, tank.id, mapping.public_id)
        _wait(lambda: not subscriber._subscribed)
        publisher.publish("oil/new", _payload(2))
        publisher.publish("oil/new", _payload(3))
        time.sleep(0.3)
        assert subscriber.taken.new == 1


def test_a_retained_message_is_counted_at_each_new_subscription_only_c2(
    store: Store, broker: Broker, publisher: Publisher
) -> None:
    """A retained message without a time is no reading; a new connection does not bring it again."""
    tank = _add_tank(store)
    publisher.publish(TOPIC, b'{"d": 600}', retain=True)
    services = _services(store, settings_of("", broker.port))
    for dropped in (1, 0):
        with _listening(services) as subscriber:
            _wait(lambda s=subscriber: s._subscribed)  # type: ignore[misc]
            publisher.publish("oil/other", b"x")
            time.sleep(0.3)
            assert subscriber.taken.dropped == dropped
    assert _count(store, tank) == 0


def test_who_may_not_publish_is_not_heard_c1(store: Store, broker: Broker) -> None:
    """A stranger's message on our topic is refused by the broker; a wrong password is not let in."""
    tank = _add_tank(store)
    with _listening(_services(store, settings_of("", broker.port))) as subscriber:
        _wait(lambda: subscriber._subscribed)
        stranger = Publisher(broker, user=STRANGER)
        stranger.client.publish(TOPIC, _payload(1), qos=1).wait_for_publish(5)
        stranger.close()
        nobody = Publisher(broker, user=SENSOR, password="wrong")
        assert nobody.refused.wait(5)
        nobody.close()
        time.sleep(0.2)
    assert _count(store, tank) == 0


def test_without_a_broker_it_waits_and_ends_when_told(store: Store) -> None:
    """A broker that is not there is tried again; the end is prompt."""
    started = time.monotonic()
    with _listening(_services(store, settings_of("", 9))) as subscriber:
        time.sleep(0.2)
        assert not subscriber.is_connected
    assert time.monotonic() - started < 5.0


def test_a_broker_that_ends_is_found_again(store: Store, broker: Broker) -> None:
    """After a restart of the broker what is published is stored as before, without a word from us."""
    tank = _add_tank(store)
    with _listening(_services(store, settings_of("", broker.port))) as subscriber:
        _wait(lambda: subscriber._subscribed)
        broker.end()
        _wait(lambda: not subscriber.is_connected)
        broker.start()
        later = Publisher(broker)
        later.publish(TOPIC, _payload(1))
        later.close()
        _wait(lambda: _count(store, tank) == 1)


def test_what_a_broker_lost_is_sent_again(store: Store, broker: Broker) -> None:
    """The broker's word to a sensor is not ours: a sensor that asks until when we have it sends the rest again."""
    tank = _add_tank(store)
    services = _services(store, settings_of("", broker.port))
    with _listening(services) as subscriber:
        _wait(lambda: subscriber._subscribed)
        sensor = Publisher(broker)
        sensor.publish_all(TOPIC, [_payload(i) for i in range(20)])
        _wait(lambda: _count(store, tank) == 20)
    sensor.publish_all(TOPIC, [_payload(i) for i in range(20, 60)])  # acknowledged by the broker
    sensor.close()
    assert broker.process is not None
    broker.process.kill()  # with its queue, which it writes down every half hour
    broker.process.wait()
    broker.start()
    with _listening(services) as again:
        _wait(lambda: again._subscribed)
        time.sleep(0.3)
        assert _count(store, tank) < 60
        with store.read() as session:
            last = newest_reading(session, tank.sensors[0].id)
        assert last is not None
        have = int(last.at.timestamp()) - T0
        sensor = Publisher(broker)
        sensor.publish_all(TOPIC, [_payload(i) for i in range(have + 1, 60)])
        sensor.close()
        _wait(lambda: _count(store, tank) == 60)


def test_two_with_one_id_are_said_aloud_c7(store: Store, caplog: pytest.LogCaptureFixture) -> None:
    """After ten swaps in an hour the log says that another client uses our id; not before."""
    subscriber = Subscriber(_services(store, settings_of("", 9)))
    taken_over = ReasonCode(PacketTypes.DISCONNECT, "Session taken over")
    for _ in range(9):
        subscriber._on_disconnect(None, None, None, taken_over, None)  # type: ignore[arg-type]
    assert caplog.text == ""
    subscriber._on_disconnect(None, None, None, taken_over, None)  # type: ignore[arg-type]
    assert "another client uses the id" in caplog.text


def _drill(folder: Path, broker: Broker, *, kills: int, early: bool = False) -> tuple[int, int, int]:
    """Kill the subscriber again and again under load: published, lost, stored more than once."""
    url = f"sqlite:///{folder / 'dipcast.db'}"
    engine = make_engine(url)
    migrate(engine)
    _add_tank(Store(engine))
    engine.dispose()
    # a process in which everything is imported makes each new one at once
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.api.mqtt.drill", "paho.mqtt.client"])
    rng = random.Random(1)
    publisher = Publisher(broker)
    published, reached, stop = [0], [0], threading.Event()

    def publish() -> None:
        while not stop.is_set():
            if published[0] - reached[0] > BACKLOG:  # a broker drops what is too much for its queue
                time.sleep(0.05)
                continue
            many = [_payload(published[0] + i) for i in range(50)]
            publisher.publish_all(TOPIC, many)
            published[0] += 50
            time.sleep(0.02)

    def stored() -> int:
        with closing(sqlite3.connect(folder / "dipcast.db")) as database:
            reached[0] = int(database.execute("SELECT count(*) FROM reading").fetchone()[0])
        return reached[0]

    thread = threading.Thread(target=publish)
    for kill in range(kills):
        before = stored()
        process = context.Process(target=listen, args=(url, broker.port, early), daemon=True)
        process.start()
        if kill == 0:
            _wait_for_session(broker, publisher, stored)
            thread.start()
        _wait(lambda before=before: stored() > before)  # type: ignore[misc]
        time.sleep(rng.uniform(0.0, 0.15))
        process.kill()
        process.join()
    stop.set()
    thread.join()
    process = context.Process(target=listen, args=(url, broker.port, False), daemon=True)
    process.start()
    while (before := stored()) < published[0] + 1:
        time.sleep(3.0)
        if stored() == before:  # nothing more comes
            break
    process.kill()
    process.join()
    publisher.close()
    with closing(sqlite3.connect(folder / "dipcast.db")) as database:
        rows = [at for (at,) in database.execute("SELECT at FROM reading")]
        assert database.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    return published[0], published[0] + 1 - len(set(rows)), len(rows) - len(set(rows))


def _wait_for_session(broker: Broker, publisher: Publisher, stored: object) -> None:
    """Publish a first message until it arrives: from then on the broker keeps the session."""
    deadline = time.monotonic() + WAIT_S
    while not stored():  # type: ignore[operator]
        assert time.monotonic() < deadline, "the subscriber did not start"
        publisher.publish(TOPIC, _payload(-1))
        time.sleep(0.05)


def test_nothing_acknowledged_is_lost_in_twenty_kills(tmp_path: Path, broker: Broker) -> None:
    """After 20 kills under load every message the broker took is stored, once."""
    published, lost, doubled = _drill(tmp_path, broker, kills=20)
    assert published >= 500
    assert (lost, doubled) == (0, 0)


def test_an_early_acknowledgement_is_caught(tmp_path: Path, broker: Broker) -> None:
    """The same drill finds the fault in a subscriber that acknowledges before it stores."""
    assert _drill(tmp_path, broker, kills=6, early=True)[1] > 0


@pytest.mark.long
def test_nothing_acknowledged_is_lost_in_many_kills(tmp_path: Path, broker: Broker) -> None:
    """After 200 kills under load every message the broker took is stored, once."""
    _, lost, doubled = _drill(tmp_path, broker, kills=200)
    assert (lost, doubled) == (0, 0)
