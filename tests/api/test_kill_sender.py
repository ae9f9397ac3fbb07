"""P13 and P14 with real processes: the sender is killed at random moments, and no message is lost.

A copy that a kill causes has the id of the first, so that a receiver tells it.
"""

import random
import subprocess
import sys
import time
from collections import Counter
from datetime import timedelta
from pathlib import Path

import pytest

from api.ports import SystemClock
from api.store import Store, make_engine
from api.store.contacts import Channel, save_contact
from api.store.outbox import count_messages, put_out
from api.usecases.register_tank import register_tank
from tests.api.notify.receivers import HookServer, serve_hooks
from tests.api.worker.test_worker import TANK

SEND = """
import sys, time
from datetime import UTC, datetime, timedelta
from api.notify.targets import parse_networks
from api.notify.webhook import Webhooks
from api.store import Store, make_engine
from api.store.contacts import Channel
from api.usecases.send_messages import Sender

class Later:  # what a killed process has claimed is free again
    def now(self):
        return datetime.now(UTC) + timedelta(minutes=4 * int(sys.argv[2]))

ways = {Channel.WEBHOOK: Webhooks(parse_networks(["127.0.0.0/8"])).send}
sender = Sender(Store(make_engine(sys.argv[1])), Later(), ways, f"sender {sys.argv[2]}")
print("ready", flush=True)
while True:
    sender.send_all()
    time.sleep(0.01)
"""


def put_messages(store: Store, port: int, number: int) -> set[str]:
    """Write messages for a receiver; their ids."""
    now = SystemClock().now()
    with store.write() as session:
        tank = register_tank(session, SystemClock(), tank_toml=TANK)
        contact = save_contact(
            session, tank.id, Channel.WEBHOOK, f"http://127.0.0.1:{port}/", second=False,
            secret="whsec_" + "A" * 43 + "=", token=None, now=now,
        )  # fmt: skip
        body = {
            "kind": "reminder",
            "cause": "order",
            "title": "t",
            "paragraphs": ["p"],
            "at": now.isoformat(),
        }
        return {
            put_out(
                session, Channel.WEBHOOK, contact.address, body, now=now, not_after=now + timedelta(days=3),
                contact=contact,
            )
            for _ in range(number)
        }  # fmt: skip


def kill_senders(url: str, server: HookServer, *, kills: int, store: Store) -> None:
    """Start a sender and kill it at a random moment, again and again; let the last one finish."""
    moments = random.Random(13)
    for number in range(kills + 1):
        command = [sys.executable, "-c", SEND, url, str(number)]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        try:
            assert process.stdout is not None
            process.stdout.readline()
            if number < kills:
                time.sleep(moments.uniform(0.0, 0.4))
            else:
                wait_until_sent(store)
        finally:
            process.kill()
            process.communicate()


def wait_until_sent(store: Store, *, idle_s: float = 60.0) -> None:
    """Wait until all are sent, or until none more is for a while."""
    sent, since = -1, time.monotonic()
    while time.monotonic() - since < idle_s:
        with store.read() as session:
            counts = count_messages(session)
        if set(counts) == {"sent"}:
            return
        if counts.get("sent", 0) > sent:
            sent, since = counts.get("sent", 0), time.monotonic()
        time.sleep(0.1)


@pytest.mark.parametrize("kills", [2, pytest.param(100, marks=pytest.mark.long)])
def test_no_message_is_lost_to_kills_P13_P14(sqlite_url: str, tmp_path: Path, kills: int) -> None:  # noqa: N802
    """P13, P14: each message arrives, and each kill costs at most one copy, known by its id."""
    engine = make_engine(sqlite_url)
    store = Store(engine)
    with serve_hooks() as server:
        ids = put_messages(store, server.port, 20 * kills)
        kill_senders(sqlite_url, server, kills=kills, store=store)
        arrived = Counter(post.headers["webhook-id"] for post in server.posts)
    engine.dispose()
    assert set(arrived) == ids
    assert sum(arrived.values()) - len(ids) <= kills
