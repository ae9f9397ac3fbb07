"""Answers for home hubs: each tank's answer as a retained message at an MQTT broker.

A hub that connects later finds the newest answer at once. The broker drops it by itself when it is too
old to be told, so that nobody reads an old date there.

Flow     answers -> **retained messages** -> broker
Source   OASIS MQTT 5.0, sections 3.3.1.3 (RETAIN) and 3.3.2.3.3 (Message Expiry Interval)
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from paho.mqtt.client import Client

EXPIRY_S = 36 * 3600
"""So long an answer stays at the broker. [s]"""
WAIT_S = 10.0
KEEPALIVE_S = 30


class BrokerError(Exception):
    """The broker does not take the answers now."""


@dataclass(frozen=True, slots=True)
class Broker:
    """How a broker is reached; with ``tls`` encrypted, against ``ca_file`` or the system's list."""

    host: str
    port: int
    user: str | None = None
    password: str | None = None
    tls: bool = False
    ca_file: str | None = None

    def connect(self) -> "Client":
        """Connect, under a name that the broker gives: nothing is kept for us.

        Raises
        ------
        OSError, ValueError
            When it cannot be reached, or the certificate is none.
        """
        from paho.mqtt.client import Client
        from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

        client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        client.connect_timeout = WAIT_S
        if self.user is not None:
            client.username_pw_set(self.user, self.password)
        if self.tls:
            client.tls_set(ca_certs=self.ca_file)
        client.connect(self.host, self.port, keepalive=KEEPALIVE_S)
        return client


@dataclass(slots=True)
class AnswerBoard:
    """Puts answers up at a broker, those that changed only.

    Attributes
    ----------
    topic
        Above the tanks' own: ``topic/tank/answer``.
    """

    broker: Broker
    topic: str
    _up: dict[str, str] = field(default_factory=dict, init=False)

    def put_up(self, answers: Mapping[str, Mapping[str, Any]]) -> int:
        """Put up what has changed since this process did so last; how many.

        Parameters
        ----------
        answers
            By the tank's public id.

        Raises
        ------
        BrokerError
            When the broker cannot be reached, or does not take them all; they are put up next time.
        """
        texts = {
            f"{self.topic}/{tank}/answer": json.dumps(told, allow_nan=False, separators=(",", ":"))
            for tank, told in answers.items()
        }
        new = {topic: text for topic, text in texts.items() if self._up.get(topic) != text}
        if not new:
            return 0
        try:
            self._publish(new)
        except (OSError, ValueError, RuntimeError) as bad:
            raise BrokerError(type(bad).__name__) from bad
        self._up |= new
        return len(new)

    def _publish(self, texts: Mapping[str, str]) -> None:
        from paho.mqtt.packettypes import PacketTypes
        from paho.mqtt.properties import Properties

        client = self.broker.connect()
        client.loop_start()
        try:
            properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
            properties.MessageExpiryInterval = EXPIRY_S
            properties.ContentType = "application/json"
            sent = [
                client.publish(topic, text.encode(), qos=1, retain=True, properties=properties)
                for topic, text in texts.items()
            ]
            for one in sent:
                one.wait_for_publish(WAIT_S)
                if not one.is_published():
                    raise OSError("not taken in time")
        finally:
            client.disconnect()
            client.loop_stop()
