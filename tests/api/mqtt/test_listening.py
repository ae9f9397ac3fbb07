"""`dipcast listen` is a process that starts, stores and ends like any other."""

import json
import os
import signal
import subprocess
import sys
import time

import pytest

from api.store import Store, make_engine
from api.store.mappings import save_mapping
from api.store.readings import count_readings
from api.usecases.register_tank import register_tank
from tests.api.conftest import NOW, StandingClock
from tests.api.mqtt.broker import PASSWORD, SERVICE, Publisher, running_broker
from tests.api.mqtt.test_subscriber import DRAFT, TANK, TOPIC

LISTEN = (sys.executable, "-c", "from api.cli import main; main()", "listen", "--database")


def test_a_broker_must_be_named(sqlite_url: str) -> None:
    """Without one it ends at once, with what to do."""
    done = subprocess.run((*LISTEN, sqlite_url), capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (2, "")
    assert "DIPCAST_MQTT_HOST" in done.stderr


@pytest.mark.broker
def test_the_process_listens_and_ends_when_told(sqlite_url: str) -> None:
    """It stores what is published, and a friendly signal ends it with a count of what it did."""
    engine = make_engine(sqlite_url)
    store = Store(engine)
    with store.write() as session:
        tank = register_tank(session, StandingClock(), tank_toml=TANK)
        body = json.dumps({**DRAFT, "time": "/t", "time_form": "epoch_s"})
        save_mapping(session, sensor_id=tank.sensors[0].id, topic=TOPIC, body=body, created_at=NOW)
    with running_broker() as broker:
        environment = {
            **os.environ,
            "DIPCAST_MQTT_HOST": "127.0.0.1",
            "DIPCAST_MQTT_PORT": str(broker.port),
            "DIPCAST_MQTT_USER": SERVICE,
            "DIPCAST_MQTT_PASSWORD": PASSWORD,
        }
        process = subprocess.Popen((*LISTEN, sqlite_url), env=environment, stdout=subprocess.PIPE, text=True)
        publisher = Publisher(broker)
        deadline = time.monotonic() + 30
        count = 0
        while not count:
            assert time.monotonic() < deadline
            publisher.publish(TOPIC, b'{"d": 600, "t": 1767000000}')
            time.sleep(0.1)
            with store.read() as session:
                count = count_readings(session, tank.id)
        publisher.close()
        process.send_signal(signal.SIGTERM)
        said, _ = process.communicate(timeout=10)
    engine.dispose()
    assert process.returncode == 0
    assert "Stopped. 1 new readings" in said
    assert PASSWORD not in said
