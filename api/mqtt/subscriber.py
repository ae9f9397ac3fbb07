"""The connection to the broker: one thread, which reads, stores, and only then acknowledges.

All of it runs in one thread, so that an acknowledgement can never meet another session than the one
its message came in: after a new connection the broker hands over again what was not acknowledged.

Flow     broker -> batches of up to 500 messages or 50 ms -> inbox -> **acknowledgement**
"""

import logging
import threading
import time
from collections import deque
from typing import TYPE_CHECKING, Any

from api.mqtt.inbox import Message, Taken, take_in
from api.mqtt.options import KEEPALIVE_S, make_client, session_properties
from api.store import StoreUnavailableError
from api.store.mappings import StoredMapping, mappings_by_topic
from api.wiring import Services

if TYPE_CHECKING:
    from paho.mqtt.client import Client, MQTTMessage

_log = logging.getLogger(__name__)

BATCH = 500
"""Messages stored in one transaction, and handed over before one is acknowledged. [messages]"""
BATCH_S = 0.05
"""So long a batch waits for more. [s]"""
LOOK_S = 5.0
"""So often the mappings are looked at for new topics. [s]"""
WAITS_S = (1.0, 2.0, 5.0, 10.0, 30.0, 60.0)
"""Waits between tries to connect, and while the database does not answer. [s]"""
LATE_S = 600.0
"""After a longer absence the arrival of what the broker kept says nothing of its time. [s]"""
IDLE_S = 1.0
"""So long a silence ends what the broker kept. [s]"""
SWAPS = 10
"""So often in an hour another client may take our session before it is said aloud."""
_TAKEN_OVER = 0x8E


class Subscriber:
    """Stores what comes on mapped topics.

    Attributes
    ----------
    taken
        What became of messages since the start.
    is_connected
        Whether the broker has us.
    """

    def __init__(self, services: Services, *, look_s: float = LOOK_S) -> None:
        self._services, self._look_s = services, look_s
        self._client = make_client(services.settings)  # told at once where a setting cannot be used
        self._waiting: deque[tuple[MQTTMessage, bool]] = deque()
        self._left_at = float("-inf")  # how long we were away before the start nobody knows
        self._late_until = float("-inf")
        self._mappings: dict[str, StoredMapping] = {}
        self._subscribed: set[str] = set()
        self._looked_at = float("-inf")
        self._swaps: deque[float] = deque(maxlen=SWAPS)
        self.taken = Taken()
        self.is_connected = False

    def run(self, stop: threading.Event) -> None:
        """Listen until told to stop; what is at hand is stored and acknowledged first.

        Neither a broker nor a database that is away ends it: it tries again, ever more rarely.
        """
        settings, client = self._services.settings, self._client
        client.on_connect, client.on_message = self._on_connect, self._on_message
        client.on_disconnect = self._on_disconnect
        failures = 0
        while not stop.is_set():
            try:
                client.connect(
                    settings.mqtt_host,
                    settings.mqtt_port,
                    keepalive=KEEPALIVE_S,
                    clean_start=False,
                    properties=session_properties(BATCH),
                )
                failures = 0 if self._listen(client, stop) else failures + 1
            except StoreUnavailableError:
                _log.warning("the database does not answer; messages stay with the broker")
                failures += 1
            except (OSError, ValueError) as away:  # refused, unreachable, no such certificate
                _log.warning("the broker cannot be reached (%s)", type(away).__name__)
                failures += 1
            finally:
                self._leave(client)
            if failures:
                stop.wait(WAITS_S[min(failures, len(WAITS_S)) - 1])

    def _listen(self, client: "Client", stop: threading.Event) -> bool:
        """Read and store until the connection ends; whether there was one."""
        had_connection = False
        while not stop.is_set():
            if client.loop(timeout=BATCH_S) != 0:
                break
            had_connection = had_connection or self.is_connected
            if self.is_connected:
                self._look_at_mappings(client)
            if self._waiting:
                self._fill(client)
                self._take(client)
        else:
            if self._waiting:
                self._take(client)
        return had_connection

    def _fill(self, client: "Client") -> None:
        """Wait a little for more, up to a batch."""
        until = time.monotonic() + BATCH_S
        while len(self._waiting) < BATCH and (left := until - time.monotonic()) > 0:
            before = len(self._waiting)
            if client.loop(timeout=min(left, BATCH_S / 10)) != 0 or len(self._waiting) == before:
                break

    def _take(self, client: "Client") -> None:
        batch = [self._waiting.popleft() for _ in range(min(BATCH, len(self._waiting)))]
        messages = [
            Message(one.topic, bytes(one.payload), bool(one.retain), is_late) for one, is_late in batch
        ]
        self.taken += take_in(self._services, messages, self._mappings)
        for one, _ in batch:  # committed: only now
            if one.qos:
                client.ack(one.mid, one.qos)

    def _look_at_mappings(self, client: "Client") -> None:
        now = time.monotonic()
        if now - self._looked_at < self._look_s:
            return
        self._looked_at = now
        with self._services.store.read() as session:
            self._mappings = mappings_by_topic(session)
        wanted = set(self._mappings)
        for topic in sorted(wanted - self._subscribed):
            client.subscribe(topic, options=_at_least_once())
        for topic in sorted(self._subscribed - wanted):
            client.unsubscribe(topic)
        self._subscribed = wanted

    def _leave(self, client: "Client") -> None:
        """Give up what is not stored; the broker keeps it, since it was not acknowledged."""
        self._waiting.clear()
        self._subscribed.clear()
        if self.is_connected:
            self._left_at = time.monotonic()
        self._looked_at = float("-inf")
        client.disconnect()
        if self.is_connected:
            client.loop(timeout=BATCH_S)
        self.is_connected = False

    def _on_connect(self, client: "Client", userdata: Any, flags: Any, reason: Any, properties: Any) -> None:
        self.is_connected = not reason.is_failure
        now = time.monotonic()
        if flags.session_present and now - self._left_at > LATE_S:
            self._late_until = now + IDLE_S
        if reason.is_failure:
            _log.error("the broker does not let us in: %s", reason)

    def _on_disconnect(
        self, client: "Client", userdata: Any, flags: Any, reason: Any, properties: Any
    ) -> None:
        if self.is_connected:
            self._left_at = time.monotonic()
        self.is_connected = False
        if reason.value == _TAKEN_OVER:
            now = time.monotonic()
            self._swaps.append(now)
            if len(self._swaps) == SWAPS and now - self._swaps[0] < 3600.0:
                _log.error("another client uses the id of our session: give each database its own")

    def _on_message(self, client: "Client", userdata: Any, message: "MQTTMessage") -> None:
        now = time.monotonic()
        is_late = now < self._late_until
        if is_late:  # what was kept comes without a break
            self._late_until = now + IDLE_S
        self._waiting.append((message, is_late))


def _at_least_once() -> Any:
    """QoS 1; a retained message comes with a new subscription only, not with each connection."""
    from paho.mqtt.subscribeoptions import SubscribeOptions

    return SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB)
