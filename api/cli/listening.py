"""The subscriber as a process: it listens to the broker until it is stopped.

Flow     settings -> services -> **subscriber** -> words at the end
"""

import logging
import signal
import threading
from collections.abc import Callable

import typer

from api.settings import Settings
from api.wiring import Services
from forecaster.errors import InputError, Problem


def listen_until_stopped(settings: Settings, open_services: Callable[[], Services]) -> None:
    """Store what comes over MQTT until Ctrl-C or the system's own end, both of them ordinary.

    Raises
    ------
    InputError
        When no broker is named.
    """
    if not settings.mqtt_host:
        mend = "name the broker, such as DIPCAST_MQTT_HOST=broker.home"
        raise InputError(Problem("no_broker", "DIPCAST_MQTT_HOST", mend))
    from api.mqtt import Subscriber

    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(message)s")
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    subscriber = Subscriber(open_services())
    typer.echo(
        f"Listening to the broker {settings.mqtt_host}:{settings.mqtt_port} until you stop this with Ctrl-C."
    )
    subscriber.run(stop)
    taken = subscriber.taken
    typer.echo(
        f"Stopped. {taken.new:,} new readings, {taken.known:,} known before, {taken.aside:,} put aside, "
        f"{taken.letters:,} that could not be read, {taken.dropped:,} retained without a time."
    )
