"""A broker for the tests: mosquitto with a password file, rights by topic, and its queue kept."""

import os
import shutil
import socket
import subprocess
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from tests.conftest import find_broker

SENSOR, SERVICE, STRANGER = "sensor", "service", "stranger"
PASSWORD = "correct horse battery staple"
CONFIG = """
listener {port} 127.0.0.1
allow_anonymous false
password_file {folder}/passwords
acl_file {folder}/rights
persistence true
persistence_location {folder}/
max_queued_messages 100000
max_inflight_messages 500
log_type error
"""
ENCRYPTED = "certfile {folder}/own.pem\nkeyfile {folder}/own.pem\n"
RIGHTS = f"""
user {SENSOR}
topic write oil/#
user {SERVICE}
topic read oil/#
user {STRANGER}
topic write other/#
"""


@dataclass
class Broker:
    """Where the broker listens, its folder, and its process while it runs."""

    port: int
    folder: Path
    process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        program = find_broker()
        assert program is not None
        self.process = subprocess.Popen([program, "-c", str(self.folder / "broker.conf")])
        deadline = time.monotonic() + 15
        while time.monotonic() < deadline:
            assert self.process.poll() is None, "the broker ended"
            try:
                socket.create_connection(("127.0.0.1", self.port), 0.5).close()
            except OSError:
                time.sleep(0.02)
            else:
                return
        raise AssertionError("the broker did not start")

    def end(self) -> None:
        """End it in an ordinary way: it writes down its sessions and queues."""
        if self.process is not None:
            self.process.terminate()
            self.process.wait(10)


def free_port() -> int:
    """Find a port of this machine that nobody uses."""
    with socket.create_server(("127.0.0.1", 0)) as place:
        return int(place.getsockname()[1])


@contextmanager
def running_broker(*, certificate: Path | None = None) -> Iterator[Broker]:
    """Run a broker in a folder of its own; with a certificate and its key in one file, encrypted."""
    folder = Path(tempfile.mkdtemp(prefix="dcb", dir="/tmp"))
    broker = Broker(free_port(), folder)
    for name in (SENSOR, SERVICE, STRANGER):
        create = [] if (folder / "passwords").exists() else ["-c"]
        words = ["mosquitto_passwd", *create, "-b", str(folder / "passwords"), name, PASSWORD]
        subprocess.run(words, check=True, capture_output=True)
    (folder / "rights").write_text(RIGHTS, encoding="utf-8")
    config = CONFIG.format(port=broker.port, folder=folder)
    if certificate is not None:
        shutil.copy(certificate, folder / "own.pem")
        config = config.replace("persistence true", ENCRYPTED.format(folder=folder) + "persistence true")
    (folder / "broker.conf").write_text(config, encoding="utf-8")
    if os.geteuid() == 0:  # the broker gives up the rights of root
        shutil.chown(folder, "mosquitto", "mosquitto")
        for file in folder.iterdir():
            shutil.chown(file, "mosquitto", "mosquitto")
            file.chmod(0o600)
    broker.start()
    try:
        yield broker
    finally:
        broker.end()
        shutil.rmtree(folder, ignore_errors=True)


class Publisher:
    """A sensor that publishes with QoS 1 and knows what the broker has acknowledged."""

    def __init__(self, broker: Broker, *, user: str = SENSOR, password: str = PASSWORD) -> None:
        self.client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self.client.username_pw_set(user, password)
        self.refused = threading.Event()
        self.connected = threading.Event()
        self.client.on_connect = lambda c, u, f, reason, p: (
            self.refused if reason.is_failure else self.connected
        ).set()
        self.client.max_inflight_messages_set(500)
        self.client.connect("127.0.0.1", broker.port)
        self.client.loop_start()

    def publish(self, topic: str, payload: bytes, *, qos: int = 1, retain: bool = False) -> None:
        """Publish, and wait until the broker has it."""
        self.client.publish(topic, payload, qos=qos, retain=retain).wait_for_publish(10)

    def publish_all(self, topic: str, payloads: list[bytes]) -> None:
        """Publish many, and wait until the broker has them all."""
        for sent in [self.client.publish(topic, payload, qos=1) for payload in payloads]:
            sent.wait_for_publish(30)

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()
