"""How the broker is reached: nothing is believed that is not proved, and nothing secret is shown."""

import ssl
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from api.mqtt import Subscriber
from api.mqtt.options import make_client, session_properties
from api.settings import Settings
from api.store import Store, make_engine
from api.wiring import Services
from forecaster.errors import InputError
from tests.api.conftest import StandingClock
from tests.api.mqtt.broker import running_broker
from tests.api.mqtt.drill import settings_of


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
