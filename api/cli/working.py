"""The worker as a process, or beside the pages in one.

Flow     settings -> services -> **worker**, subscriber -> until it is stopped
"""

import logging
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import typer

from api.wiring import Services

_log = logging.getLogger(__name__)


def work_until_stopped(services: Services) -> None:
    """Do the work until Ctrl-C or the system's own end, both of them ordinary."""
    from api.worker.assemble import make_worker

    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(message)s")
    logging.getLogger("apscheduler").setLevel(logging.WARNING)
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    typer.echo(
        "Forecasts each night, weather each hour, reminders and backups, until you stop this with Ctrl-C."
    )
    make_worker(services).run(stop)
    typer.echo("Stopped.")


def does_the_work(services: Services) -> bool:
    """Tell whether the process that serves the pages does the work too."""
    wanted = services.settings.worker
    return wanted == "yes" or (wanted == "auto" and services.store.engine.dialect.name == "sqlite")


@contextmanager
def working_beside(services: Services) -> Iterator[None]:
    """Run worker and subscriber in threads of this process while it serves; nothing where others do."""
    if not does_the_work(services):
        yield
        return
    from api.worker.assemble import make_worker

    logging.getLogger("apscheduler").setLevel(logging.WARNING)
    stop = threading.Event()
    threads = [threading.Thread(target=make_worker(services).run, args=(stop,), name="worker")]
    if services.settings.mqtt_host:
        from api.mqtt import Subscriber

        threads.append(threading.Thread(target=Subscriber(services).run, args=(stop,), name="subscriber"))
    for thread in threads:
        thread.start()
    try:
        yield
    finally:
        stop.set()
        for thread in threads:
            thread.join(30)
