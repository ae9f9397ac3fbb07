"""Answers at a real broker: retained, found by whoever comes later, dropped when they are too old."""

import json
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Iterator

import pytest

from api.notify.broker import EXPIRY_S, AnswerBoard, Broker, BrokerError
from tests.conftest import find_broker

pytestmark = pytest.mark.broker


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """A broker of this test's own."""
    program = find_broker()
    assert program is not None
    folder = tmp_path_factory.mktemp("broker")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        number: int = probe.getsockname()[1]
    settings = folder / "broker.conf"
    settings.write_text(f"listener {number} 127.0.0.1\nallow_anonymous true\npersistence false\n")
    process = subprocess.Popen([program, "-c", settings], stderr=subprocess.DEVNULL)
    for _ in range(100):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", number)) == 0:
                break
        time.sleep(0.05)
    yield number
    process.kill()
    process.wait()
    shutil.rmtree(folder, ignore_errors=True)


def listen(port: int, topic: str) -> list[tuple[str, bytes, bool, int]]:
    """Come later and read what is kept: topic, text, retained, seconds left."""
    got: list[tuple[str, bytes, bool, int]] = []
    came = threading.Event()
    client = Broker("127.0.0.1", port).connect()

    def on_message(_client: object, _data: object, message: object) -> None:
        left = message.properties.MessageExpiryInterval  # type: ignore[attr-defined]
        got.append((message.topic, message.payload, message.retain, left))  # type: ignore[attr-defined]
        came.set()

    client.on_message = on_message  # type: ignore[assignment]
    client.loop_start()
    client.subscribe(topic, qos=1)
    came.wait(5)
    time.sleep(0.1)
    client.disconnect()
    client.loop_stop()
    return got


def test_an_answer_is_kept_for_whoever_comes_later(port: int) -> None:
    """The newest answer of each tank is found by a client that connects afterwards, with its expiry."""
    board = AnswerBoard(Broker("127.0.0.1", port), "oil")
    assert board.put_up({"t1": {"litres": 300}, "t2": {"litres": None}}) == 2
    assert board.put_up({"t1": {"litres": 300}, "t2": {"litres": None}}) == 0
    assert board.put_up({"t1": {"litres": 290}, "t2": {"litres": None}}) == 1
    kept = listen(port, "oil/t1/answer")
    assert [(topic, json.loads(text), retained) for topic, text, retained, _ in kept] == [
        ("oil/t1/answer", {"litres": 290}, True)
    ]
    assert EXPIRY_S - 60 < kept[0][3] <= EXPIRY_S


def test_a_broker_that_is_away_is_said_and_tried_again(port: int) -> None:
    """Nothing counts as put up while nobody takes it."""
    board = AnswerBoard(Broker("127.0.0.1", 1), "oil")
    with pytest.raises(BrokerError):
        board.put_up({"t3": {"litres": 1}})
    board.broker = Broker("127.0.0.1", port)
    assert board.put_up({"t3": {"litres": 1}}) == 1
