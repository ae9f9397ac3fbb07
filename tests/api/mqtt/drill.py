"""The subscriber as a process of its own, to be killed; and the same with a seeded fault."""

import threading
import time
from typing import Any

from api.mqtt import Message, Subscriber, Taken, take_in
from api.mqtt import subscriber as module
from api.settings import Settings
from api.store import Store, make_engine
from api.wiring import Services
from tests.api.conftest import StandingClock
from tests.api.mqtt.broker import PASSWORD, SERVICE

SLOW_S = 0.03
"""Each commit waits a little, so that a kill meets a batch on its way. [s]"""


def settings_of(url: str, port: int) -> Settings:
    """The settings of a subscriber at a broker of the tests."""
    return Settings(
        database=url,
        mqtt_host="127.0.0.1",
        mqtt_port=port,
        mqtt_user=SERVICE,
        mqtt_password=PASSWORD,  # type: ignore[arg-type]
    )


def listen(url: str, port: int, early: bool) -> None:
    """Listen until killed."""
    services = Services(settings_of(url, port), Store(make_engine(url)), StandingClock())
    held = Subscriber(services, look_s=60.0)
    if early:
        acknowledge_early(held)
    module.take_in = slowly  # type: ignore[attr-defined]
    held.run(threading.Event())


def slowly(services: Services, messages: list[Message], mappings: Any) -> Taken:
    """Store as ever, after a moment."""
    time.sleep(SLOW_S)
    return take_in(services, messages, mappings)


def acknowledge_early(held: Subscriber) -> None:
    """Seed the fault: acknowledge a message when it comes, before it is stored."""
    plain = held._on_message

    def on_message(client: Any, userdata: Any, message: Any) -> None:
        client.ack(message.mid, message.qos)
        plain(client, userdata, message)

    held._on_message = on_message  # type: ignore[method-assign]
