"""The worker put together: from readings to a mail with its chart at a real mail server."""

import email
import email.policy
from datetime import timedelta
from pathlib import Path

from pydantic import SecretStr

from api.settings import Settings
from api.store.contacts import Channel, save_contact
from api.store.outbox import count_messages
from api.store.readings import NewReading, save_readings
from api.store.tanks import mark_changed
from api.usecases.register_tank import register_tank
from api.wiring import make_services
from api.worker.assemble import make_worker, ways_of
from tests.api.conftest import NOW, StandingClock
from tests.api.notify.receivers import CERTIFICATE, serve_mail
from tests.api.worker.test_worker import TANK


def test_from_readings_to_a_mail_with_its_chart(sqlite_url: str, tmp_path: Path) -> None:
    """A tank that runs low is forecast, its household is told by mail, and the picture is in it."""
    with serve_mail() as box:
        settings = Settings(
            database=sqlite_url, weather_url="", backup_folder=tmp_path, mail_host="localhost", mail_port=box.port,
            mail_user="dipcast", mail_password=SecretStr("secret"), mail_sender="dipcast@home.test",
            mail_ca_file=CERTIFICATE, public_url="http://oil.home",
        )  # fmt: skip
        services = make_services(settings, clock=StandingClock())
        with services.store.write() as session:
            tank = register_tank(
                session, services.clock, tank_toml=TANK, survey_toml='place = "East Anglia"\n'
            )
            rows = [
                NewReading(
                    tank.sensors[0].id, NOW - timedelta(days=40 - d), "ullage_mm", round(300 + 9.5 * d, -1)
                )
                for d in range(40)
            ]
            save_readings(session, rows, received_at=NOW, source="http")
            mark_changed(session, tank.id)
            save_contact(
                session,
                tank.id,
                Channel.MAIL,
                "ann@example.org",
                second=False,
                secret=None,
                token=None,
                now=NOW,
            )
        make_worker(services).tick()
        with services.store.read() as session:
            assert count_messages(session) == {"sent": 1}
        services.store.engine.dispose()
    ((_, receivers, raw),) = box.mails
    mail = email.message_from_bytes(raw, policy=email.policy.default)
    assert receivers == ["ann@example.org"]
    assert mail["Subject"] == "Time to order heating oil (Tank)"
    parts = {part.get_content_type(): part for part in mail.walk()}
    text = parts["text/plain"].get_content()
    assert "It is time to order heating oil." in text
    assert f"http://oil.home/tanks/{tank.public_id}" in text
    picture = parts["image/png"].get_content()
    assert picture.startswith(b"\x89PNG")
    assert len(picture) > 5_000
    assert list(tmp_path.glob("dipcast-*.db"))


def test_ways_that_are_not_set_up_are_missing() -> None:
    """Without a mail server mail waits; webhooks need nothing."""
    assert Channel.MAIL not in ways_of(Settings(weather_url=""))
    assert Channel.WEBHOOK in ways_of(Settings(weather_url=""))
