"""The worker put together from the settings: which jobs it has, and which ways messages take.

Flow     services -> **worker**
"""

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from api.notify.broker import AnswerBoard, Broker, BrokerError
from api.notify.further import is_available, send_further
from api.notify.heartbeat import beat
from api.notify.letter import Way
from api.notify.mail import MailServer
from api.notify.targets import parse_networks
from api.notify.webhook import Webhooks
from api.settings import Settings
from api.sources.open_meteo import OpenMeteo
from api.store import Session
from api.store.contacts import Channel
from api.store.forecasts import load_forecast
from api.store.outbox import put_out
from api.store.refits import load_refit
from api.store.tanks import StoredTank, list_tanks, load_tank_version
from api.usecases.answers import answer_of
from api.usecases.fetch_weather import fetch_weather
from api.usecases.fitness import troubles
from api.usecases.record_readings import describe
from api.usecases.refit_tanks import Refresh, refit_tanks
from api.usecases.refresh_forecast import refresh_forecast
from api.usecases.remind import Told, remind_tanks
from api.usecases.send_messages import Draw, Sender
from api.usecases.watch_clock import ClockWatch
from api.wiring import Services
from api.worker.jobs import Backups, Heartbeats, Job, Looks, Nights, Weather
from api.worker.worker import Worker, new_owner
from forecaster.civil import zone_of
from forecaster.confidence import ToldForecast

_log = logging.getLogger(__name__)

TOLD_WITHIN = timedelta(days=3)
"""A notice to the person who runs the service that could not be sent within that is not sent any more."""
AGAIN = timedelta(minutes=50)
"""A tank whose readings have come is forecast anew no more often than about once an hour."""


def make_worker(services: Services, *, refresh: Refresh = refresh_forecast) -> Worker:
    """Put the worker together.

    Parameters
    ----------
    refresh
        Makes one tank's forecast.
    """
    settings, store, clock = services.settings, services.store, services.clock
    owner = new_owner()
    jobs: list[Job] = [Nights(store, clock, refresh, settings.processes)]
    if settings.weather_url:
        jobs.insert(0, Weather(_weather(services)))
    jobs += [
        Looks(_Look(services, refresh, _board(settings))),
        Backups(store, clock, settings.backup_folder, settings.backups_kept),
    ]
    if settings.heartbeat_url:
        makes_backups = settings.backups_kept > 0 and store.engine.dialect.name == "sqlite"
        jobs.append(
            Heartbeats(
                lambda: troubles(store, clock, makes_backups=makes_backups),
                lambda: beat(settings.heartbeat_url),
            )
        )
    sender = Sender(store, clock, ways_of(settings), owner, draw=_draw(services))
    watch = ClockWatch(store, clock, monotonic=time.monotonic)
    return Worker(store, clock, jobs, watch, send=sender.send_all, tell=_tell(services), owner=owner)


def ways_of(settings: Settings) -> dict[Channel, Way]:
    """Say which way carries each channel; one that is not set up is missing, and its messages wait."""
    ways: dict[Channel, Way] = {Channel.WEBHOOK: Webhooks(parse_networks(settings.webhook_networks)).send}
    if settings.mail_host and settings.mail_sender:
        ways[Channel.MAIL] = MailServer(
            settings.mail_host, settings.mail_port, settings.mail_sender, settings.mail_user or None,
            settings.mail_password.get_secret_value() or None, settings.mail_starttls,
            str(settings.mail_ca_file) if settings.mail_ca_file else None,
        ).send  # fmt: skip
    if is_available():
        ways[Channel.FURTHER] = send_further
    return ways


@dataclass(slots=True)
class _Look:
    """Look at every tank: forecast those with news, decide what is to be said, put the answers up."""

    services: Services
    refresh: Refresh
    board: AnswerBoard | None

    def __call__(self) -> None:
        store, clock, settings = self.services.store, self.services.clock, self.services.settings
        with store.read() as session:
            tanks = list_tanks(session)
            news = [tank for tank in tanks if self._has_news(session, tank)]
        refit_tanks(store, clock, news, refresh=self.refresh)
        told = Told(settings.public_url, settings.pollution_line)
        remind_tanks(store, clock, tanks, told)
        if self.board is not None:
            self._put_up(self.board, tanks)

    def _has_news(self, session: Session, tank: StoredTank) -> bool:
        now = self.services.clock.now()
        refit = load_refit(session, tank.id)
        if refit is not None and refit.failed_at is not None and now - refit.failed_at < AGAIN:
            return False
        kept = load_forecast(session, tank.id, as_of=now)
        return kept is None or (kept.tank_revision != tank.revision and now - kept.made_at >= AGAIN)

    def _put_up(self, board: AnswerBoard, tanks: tuple[StoredTank, ...]) -> None:
        now = self.services.clock.now()
        with self.services.store.read() as session:
            answers = {tank.public_id: answer_of(session, tank, now=now) for tank in tanks}
        try:
            board.put_up(answers)
        except BrokerError as bad:
            _log.warning("answers could not be put up at the broker: %s", bad)


def _weather(services: Services) -> Callable[[], None]:
    def fetch() -> None:
        fetch_weather(
            services.store, services.clock, OpenMeteo(services.settings.weather_url),
            rng=np.random.default_rng(), pause=time.sleep,
        )  # fmt: skip

    return fetch


def _board(settings: Settings) -> AnswerBoard | None:
    if not settings.mqtt_host or not settings.answers_topic:
        return None
    ca_file = str(settings.mqtt_ca_file) if settings.mqtt_ca_file else None
    broker = Broker(
        settings.mqtt_host, settings.mqtt_port, settings.mqtt_user or None,
        settings.mqtt_password.get_secret_value() or None, settings.mqtt_tls, ca_file,
    )  # fmt: skip
    return AnswerBoard(broker, settings.answers_topic)


def _tell(services: Services) -> Callable[[Session, str], None] | None:
    """Write to the person who runs the service, once for each trouble while it lasts."""
    address = services.settings.operator_mail
    if not address:
        return None

    def tell(session: Session, words: str) -> None:
        now = services.clock.now()
        body = {
            "kind": "notice",
            "title": "Trouble with the service",
            "paragraphs": [words, "You are told once while it lasts.", "Sent by Dipcast."],
            "at": now.isoformat(),
        }
        put_out(session, Channel.MAIL, address, body, now=now, not_after=now + TOLD_WITHIN)

    return tell


def _draw(services: Services) -> Draw:
    def draw(forecast: ToldForecast, tank_id: int) -> bytes | None:
        from api.pages.charts.fan import draw_fan_png

        with services.store.read() as session:
            tank = next((tank for tank in list_tanks(session) if tank.id == tank_id), None)
            if tank is None:
                return None
            toml = load_tank_version(session, tank.id, as_of=forecast.as_of).toml
        try:
            return draw_fan_png(forecast, describe(toml), zone=zone_of(tank.zone))
        except Exception as bad:  # a mail without its picture is better than none
            _log.warning("the picture of a mail could not be drawn: %s", type(bad).__name__)
            return None

    return draw
