"""Readings over MQTT: what comes on mapped topics is stored, then acknowledged.

The broker's acknowledgement to a sensor is not ours: it says that the broker has the message. What the
broker loses before we have it is lost; what it hands over is stored, or kept as a letter with the
reason, before it is told so. A message handed over twice is stored once.

Flow     broker -> `subscriber` -> `inbox` -> record_readings -> commit -> **acknowledgement**
Source   OASIS MQTT 5.0: 3.1.2.11 (session expiry, receive maximum), 3.8.3.1 (retain handling), 4.3.2 (QoS 1)

============  ============================================================
`subscriber`  the connection: session, subscriptions, batches, acknowledgement
`inbox`       a batch of messages in one transaction
`options`     how the broker is reached
============  ============================================================
"""

from api.mqtt.inbox import Message, Taken, take_in
from api.mqtt.subscriber import Subscriber

__all__ = ["Message", "Subscriber", "Taken", "take_in"]
