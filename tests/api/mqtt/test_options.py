"""How the broker is reached: nothing is believed that is not proved, and nothing secret is shown."""

import ssl
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from pydantic import SecretStr

from api.mqtt import Subscriber
from api.mqtt.options import make_client, session_properties
from api.settings import Settings
from api.store import Store, make_engine
from api.wiring import Services
from forecaster.errors import InputError
from tests.api.conftest import StandingClock
from tests.api.mqtt.broker import running_broker
from tests.api.mqtt.drill import settings_of

CERTIFICATE = Path(__file__).parents[1] / "notify" / "localhost.pem"
"""A certificate of this machine's name, and its key, made for tests."""


def _settings(**given: Any) -> Settings:
    return Settings(mqtt_host="127.0.0.1", **given)


def test_encryption_checks_the_brokers_certificate_and_name() -> None:
    """With encryption a broker must show a certificate for its own name, and old protocols are off."""
    context = make_client(_settings(mqtt_tls=True))._ssl_context
    assert context is not None
    assert context.verify_mode is ssl.CERT_REQUIRED
    assert context.check_hostname
    assert context.minimum_version >= ssl.TLSVersion.TLSv1_2


@pytest.mark.parametrize("content", [None, "no certificate"])
def test_a_wrong_file_of_certificates_is_told_at_once(tmp_path: Path, content: str | None) -> None:
    """A file that is not there or holds none is named with its setting, before anything is tried."""
    file = tmp_path / "ca.pem"
    if content is not None:
        file.write_text(content, encoding="utf-8")
    with pytest.raises(InputError, match="DIPCAST_MQTT_CA_FILE"):
        make_client(_settings(mqtt_tls=True, mqtt_ca_file=file))


def test_the_session_outlives_the_connection() -> None:
    """The broker is asked to keep the session a week, and to hand over no more than a batch."""
    properties = session_properties(500)
    assert (properties.SessionExpiryInterval, properties.ReceiveMaximum) == (7 * 86_400, 500)


def test_the_password_is_not_shown() -> None:
    """The broker's password is not in what the settings print of themselves."""
    assert "correct horse" not in repr(_settings(mqtt_password="correct horse"))


# the client's library leaves the socket of a failed greeting to the collector
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.broker
def test_encryption_is_never_given_up(sqlite_url: str) -> None:
    """A broker that does not encrypt is not talked to when encryption is asked for."""
    engine = make_engine(sqlite_url)
    with running_broker() as broker:
        settings = settings_of(sqlite_url, broker.port).model_copy(update={"mqtt_tls": True})
        subscriber = Subscriber(Services(settings, Store(engine), StandingClock()))
        stop = threading.Event()
        thread = threading.Thread(target=subscriber.run, args=(stop,))
        thread.start()
        time.sleep(0.5)
        assert not subscriber.is_connected
        stop.set()
        thread.join(15)
        assert not thread.is_alive()
    engine.dispose()


def _connects(url: str, port: int, *, wait_s: float = 2.0, **changes: Any) -> bool:
    """Run a subscriber until it is connected, or for a while."""
    engine = make_engine(url)
    settings = settings_of(url, port).model_copy(update={"mqtt_tls": True, **changes})
    subscriber = Subscriber(Services(settings, Store(engine), StandingClock()))
    stop = threading.Event()
    thread = threading.Thread(target=subscriber.run, args=(stop,))
    thread.start()
    deadline = time.monotonic() + wait_s
    while not subscriber.is_connected and time.monotonic() < deadline:
        time.sleep(0.02)
    found = subscriber.is_connected
    stop.set()
    thread.join(15)
    assert not thread.is_alive()
    engine.dispose()
    return found


# the client's library leaves the socket of a failed greeting to the collector
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.broker
def test_an_encrypted_broker_is_believed_by_its_certificate_alone(
    sqlite_url: str, caplog: pytest.LogCaptureFixture
) -> None:
    """Over TLS user and password let us in; a certificate nobody vouches for, or a wrong password, is said aloud."""
    with running_broker(certificate=CERTIFICATE) as broker:
        there = {"mqtt_host": "localhost", "mqtt_ca_file": CERTIFICATE}
        assert _connects(sqlite_url, broker.port, wait_s=10.0, **there)
        assert not _connects(sqlite_url, broker.port, mqtt_host="localhost")
        assert "the broker cannot be reached (SSLCertVerificationError)" in caplog.text
        assert not _connects(sqlite_url, broker.port, **there, mqtt_password=SecretStr("wrong"))
        assert "the broker does not let us in: Not authorized" in caplog.text
