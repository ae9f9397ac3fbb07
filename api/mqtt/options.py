"""How the broker is reached: address, session, password, encryption.

Flow     settings -> **a client, not yet connected** -> subscriber
"""

import ssl
from pathlib import Path
from typing import TYPE_CHECKING

from api.settings import Settings
from forecaster.errors import InputError, Problem

if TYPE_CHECKING:
    from paho.mqtt.client import Client
    from paho.mqtt.properties import Properties

SESSION_S = 7 * 86_400
"""So long the broker keeps what came while we were away. [s]"""
KEEPALIVE_S = 30
"""A connection silent for longer is taken for dead. [s]"""
CONNECT_S = 5.0
"""Longest wait for a connection. [s]"""
MOST_BYTES = 256 * 1024
"""Larger messages are not sent to us. [bytes]"""


def make_client(settings: Settings) -> "Client":
    """Make a client that acknowledges by hand only.

    Raises
    ------
    InputError
        When the file of certificates cannot be used.
    """
    from paho.mqtt.client import Client
    from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=settings.mqtt_client_id,
        protocol=MQTTProtocolVersion.MQTTv5,
        manual_ack=True,
        reconnect_on_failure=False,
    )
    client.connect_timeout = CONNECT_S
    if settings.mqtt_user:
        client.username_pw_set(settings.mqtt_user, settings.mqtt_password.get_secret_value() or None)
    if settings.mqtt_tls:
        _encrypt(client, settings.mqtt_ca_file)
    return client


def _encrypt(client: "Client", ca_file: Path | None) -> None:
    """Encrypt, and believe only a broker whose certificate is right and is for its name."""
    try:
        client.tls_set(
            ca_certs=None if ca_file is None else str(ca_file),
            cert_reqs=ssl.CERT_REQUIRED,
            tls_version=ssl.PROTOCOL_TLS_CLIENT,
        )
    except (OSError, ssl.SSLError) as bad:
        mend = f"give a file of certificates in PEM form ({type(bad).__name__})"
        raise InputError(Problem("ca_file", "DIPCAST_MQTT_CA_FILE", mend)) from None


def session_properties(receive_maximum: int) -> "Properties":
    """Ask for a session that outlives the connection, and for no more at once than a batch."""
    from paho.mqtt.packettypes import PacketTypes
    from paho.mqtt.properties import Properties

    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = SESSION_S
    properties.ReceiveMaximum = receive_maximum
    properties.MaximumPacketSize = MOST_BYTES
    return properties
