"""Seeded faults of the worker, of orders and reminders, and of the ways out."""

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from types import MappingProxyType
from typing import Any

SENDING = "tests/api/usecases/test_send_messages.py"
DECIDING = "tests/api/reminders/test_decide.py"
WORKER = "tests/api/worker/test_worker.py"
SCHEDULE = "tests/api/worker/test_schedule.py"
WEBHOOK = "tests/api/notify/test_webhook.py"
EVERY_WAY = "tests/api/usecases/test_every_way_out.py"


def _mark_then_send() -> None:
    """A message is marked as sent before it is sent."""
    from api.store.outbox import claim_next, mark
    from api.usecases.send_messages import Sender

    def send_all(self: Any) -> int:
        sent = 0
        while True:
            self.at("claim")
            with self.store.write() as session:
                outgoing = claim_next(session, owner=self.owner, now=self.clock.now())
                if outgoing is None:
                    return sent
                mark(session, outgoing, "sent", owner=self.owner, now=self.clock.now())
            self.at("send")
            self._send(outgoing)
            self.at("response")
            sent += 1

    Sender.send_all = send_all  # type: ignore[method-assign]


def _decide_without_messages() -> None:
    """The decision is committed by itself, its messages afterwards."""
    import api.usecases.remind as module

    usual = module.save_reminder

    def save_reminder(session: Any, *given: Any, **more: Any) -> Any:
        made = usual(session, *given, **more)
        session.commit()
        return made

    module.save_reminder = save_reminder


def _new_id_each_time() -> None:
    """Every attempt has an id of its own."""
    import secrets
    from dataclasses import replace

    from api.usecases.send_messages import Sender

    usual = Sender._send

    def send(self: Any, outgoing: Any) -> Any:
        return usual(self, replace(outgoing, message_id=secrets.token_hex(8)))

    Sender._send = send  # type: ignore[method-assign]


def _no_memory() -> None:
    """What was said before is not looked at."""
    import api.reminders.decide as module

    module._last = lambda known, cause, subject: None


def _no_weekly_limit() -> None:
    """Any number of reminders a week."""
    import api.reminders.decide as module

    module.MOST_A_WEEK = dict.fromkeys(module.Cause, 1000)


def _send_stale_text() -> None:
    """What was written leaves, whatever has happened since."""
    import api.usecases.send_messages as module

    module.drop_stale = lambda session, *, now: None


def _drop_after_three() -> None:
    """A message is given up after three attempts."""
    import api.usecases.send_messages as module

    module.RETRIES = module.RETRIES[:2]


def _try_refused_again() -> None:
    """An address that does not exist is tried like any other."""
    import api.usecases.send_messages as module

    module.end_contact = lambda session, contact_id, why, *, now: None


def _sign_body_only() -> None:
    """Id and time are not signed."""
    import api.notify.webhook as module

    usual = module.sign

    def sign(message_id: str, at: datetime, payload: str, keys: Any) -> dict[str, str]:
        headers = usual("", datetime(2026, 1, 1, tzinfo=at.tzinfo), payload, keys)
        return {**usual(message_id, at, payload, keys), "webhook-signature": headers["webhook-signature"]}

    module.sign = sign


def _connect_by_name() -> None:
    """A webhook's address was looked at when it was given; it is connected to without another look."""
    from urllib.parse import urlsplit

    import api.notify.webhook as module
    from api.notify.targets import Target

    def check_target(url: str, **more: Any) -> Target:
        parts = urlsplit(url)
        return Target(parts.scheme, parts.hostname or "", parts.port or 443, parts.path or "/", "127.0.0.1")

    module.check_target = check_target


def _uid_from_the_date() -> None:
    """An event is known by the day to order by."""
    from dataclasses import replace

    import api.usecases.calendars as module

    usual = module._event

    def event(stored: Any, page: str) -> Any:
        return usual(replace(stored, uid=f"{stored.refill.latest}@dipcast"), page)

    module._event = event


def _beat_whatever() -> None:
    """A trouble of the service is told anew at each failure."""
    import api.worker.worker as module

    usual = module.begin_notice

    def begin_notice(session: Any, cause: str, words: str, *, now: datetime) -> bool:
        module.end_notice(session, cause, now=now)
        return usual(session, cause, words, now=now)

    module.begin_notice = begin_notice


def _silence_without_end() -> None:
    """In a silence nothing breaks through, and it never ends."""
    import api.reminders.decide as module
    from api.reminders.known import Silence

    Silence.holds = lambda self, now: self.begins_at <= now  # type: ignore[method-assign]
    module.is_last_day = lambda known: False


def _alarm_by_the_local_clock() -> None:
    """The night's work starts whenever the local clock says half past one."""
    from zoneinfo import ZoneInfo

    import api.worker.schedule as module

    def night_slot(zone: str, now: datetime) -> str | None:
        local = now.astimezone(ZoneInfo(zone))
        return f"{local.date()} {now:%H}" if local.hour == 1 else None

    module.night_slot = night_slot


def _no_claims() -> None:
    """Every worker does what is due without asking whether another has it."""
    import api.worker.worker as module

    module.claim_slot = lambda *given, **more: True
    module.is_taken = lambda *given, **more: False


def _drop_late_runs() -> None:
    """A run that is late is not made up."""
    import api.worker.jobs as jobs
    from api.worker.schedule import AFTER_MIDNIGHT, due_night
    from forecaster.civil import midnights, to_datetime, zone_of

    def night_slot(zone: str, now: datetime) -> str | None:
        day = due_night(zone, now)
        if day is None:
            return None
        begun = to_datetime(midnights(day, 0, zone_of(zone))[0])
        return f"{day} {zone}" if now - begun < AFTER_MIDNIGHT + timedelta(hours=1) else None

    jobs.night_slot = night_slot


def _trust_the_clock() -> None:
    """The clock is believed whatever it says."""
    from api.usecases.watch_clock import ClockWatch

    ClockWatch.trouble = lambda self: None  # type: ignore[method-assign]


def _one_bad_tank_ends_it() -> None:
    """An error of one tank ends the night of all."""
    import api.usecases.refit_tanks as module

    def renew(store: Any, clock: Any, tank: Any, refresh: Any) -> None:
        refresh(store, clock, tank.public_id)

    module._renew = renew


def _tell_old_forecasts() -> None:
    """A forecast that was told once is told for ever."""
    from api.reminders.known import Known

    Known.is_fresh = property(lambda self: self.forecast is not None)  # type: ignore[assignment]


PLANTS: Mapping[str, tuple[str, Callable[[], None], tuple[str, ...], str]] = MappingProxyType(
    {
        "marked before it is sent": ("P13", _mark_then_send, (SENDING,), "any_step"),
        "decision without its message": ("P13", _decide_without_messages, (SENDING,), "written_together"),
        "new id each time": ("P14", _new_id_each_time, (SENDING,), "P14"),
        "no memory of what was said": ("P15", _no_memory, (DECIDING,), "P15"),
        "no weekly limit": ("P15", _no_weekly_limit, (DECIDING,), "week_P15"),
        "stale text leaves": ("P16", _send_stale_text, (SENDING,), "overtaken or sight"),
        "given up after three": ("P17", _drop_after_three, (SENDING,), "three_days"),
        "refused address tried again": ("P17", _try_refused_again, (SENDING,), "refused"),
        "body signed alone": ("P18", _sign_body_only, (WEBHOOK,), "read or altered"),
        "looked up once": ("P18", _connect_by_name, (WEBHOOK,), "private"),
        "event known by its day": (
            "P19",
            _uid_from_the_date,
            ("tests/api/usecases/test_calendars.py",),
            "P19",
        ),
        "told at each failure": ("P21", _beat_whatever, (WORKER,), "P21"),
        "silence without end": ("P22", _silence_without_end, (DECIDING,), "P22"),
        "alarm by the local clock": ("P23", _alarm_by_the_local_clock, (SCHEDULE,), "P23"),
        "no claims": ("P23", _no_claims, (WORKER,), "P24 or P23"),
        "late runs dropped": ("P24", _drop_late_runs, (WORKER,), "P24"),
        "clock believed": ("P25", _trust_the_clock, (WORKER,), "P25"),
        "old forecasts told": ("P27", _tell_old_forecasts, (EVERY_WAY,), "P27"),
        "one bad tank ends the night": ("P31", _one_bad_tank_ends_it, (WORKER,), "P31"),
    }
)
"""By name: the promise, what plants the fault, and which tests must see it."""
