"""The outbox: nothing due is lost, a copy is known by its id, and what has become untrue does not leave."""

from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import timedelta

import pytest

from api.notify.letter import Down, Gone, Later, Letter, Outcome, Sent
from api.store import Store
from api.store.contacts import Channel, Contact, list_contacts, load_contact, save_contact
from api.store.forecasts import StoredForecast, save_forecast
from api.store.outbox import count_messages, put_out
from api.store.reminders import acknowledge, list_reminders
from api.store.tanks import StoredTank
from api.usecases.orders import Placement, place_order
from api.usecases.register_tank import register_tank
from api.usecases.remind import Told, remind_tank, remind_tanks
from api.usecases.send_messages import RETRIES, Sender, wait_after
from forecaster.confidence import Forecast
from tests.api.conftest import NOW, StandingClock
from tests.api.reminders.made import told, withheld
from tests.api.worker.test_worker import TANK

POINTS = ("claim", "send", "response", "mark", "commit")
BODY = {"kind": "notice", "title": "t", "paragraphs": ["p"], "at": NOW.isoformat(), "told": False}


class PowerCut(BaseException):
    """Everything ends here, without a chance to tidy up."""


@dataclass
class Receiver:
    """Stands for the other side: notes what reached it, and answers as it is told."""

    answer: Callable[[Letter], Outcome] = lambda letter: Sent()
    got: list[Letter] = field(default_factory=list)

    def __call__(self, letter: Letter) -> Outcome:
        outcome = self.answer(letter)
        if isinstance(outcome, Sent):
            self.got.append(letter)
        return outcome

    @property
    def ids(self) -> Counter[str]:
        return Counter(letter.message_id for letter in self.got)


def make_sender(store: Store, clock: StandingClock, receiver: Receiver, *, owner: str = "one") -> Sender:
    """Make a sender whose every way leads to one receiver."""
    return Sender(store, clock, dict.fromkeys(Channel, receiver), owner)


@pytest.fixture
def tank(store: Store, clock: StandingClock) -> StoredTank:
    """A tank in London."""
    with store.write() as session:
        return register_tank(session, clock, tank_toml=f'{TANK}timezone = "Europe/London"\n')


@pytest.fixture
def mail(store: Store, tank: StoredTank) -> Contact:
    """A confirmed mail address."""
    return add_mail(store, tank, "ann@example.org")


def add_mail(store: Store, tank: StoredTank, address: str, *, second: bool = False) -> Contact:
    """Add a confirmed mail address."""
    with store.write() as session:
        return save_contact(
            session, tank.id, Channel.MAIL, address, second=second, secret=None, token=None, now=NOW
        )


def keep(store: Store, tank: StoredTank, forecast: Forecast) -> None:
    """Keep a forecast as if it had been made."""
    with store.write() as session:
        save_forecast(session, tank.id, StoredForecast(forecast, forecast.as_of, 0))


def put(store: Store, contact: Contact, number: int = 1) -> list[str]:
    """Write messages to be sent; their ids."""
    with store.write() as session:
        return [
            put_out(
                session, contact.channel, contact.address, BODY, now=NOW,
                not_after=NOW + timedelta(days=4), contact=contact,
            )
            for _ in range(number)
        ]  # fmt: skip


def crash_at(point: str) -> Callable[[str], None]:
    """Make a failpoint: the power goes at that step, once."""
    armed = [True]

    def at(name: str) -> None:
        if name == point and armed:
            armed.clear()
            raise PowerCut

    return at


def check_none_is_lost(store: Store, clock: StandingClock, ids: list[str]) -> None:
    """Cut the power at every step of sending; each message arrives, at most one extra copy a cut."""
    receiver, cuts = Receiver(), 0
    for number, point in enumerate(POINTS * 3):
        sender = make_sender(store, clock, receiver, owner=f"worker {number}")
        sender.at = crash_at(point)
        try:
            sender.send_all()
        except PowerCut:
            cuts += 1
        clock.move(minutes=4)
    make_sender(store, clock, receiver, owner="last").send_all()
    assert set(receiver.ids) == set(ids)
    assert sum(receiver.ids.values()) - len(ids) <= cuts


def test_no_message_is_lost_at_any_step_P13(store: Store, clock: StandingClock, mail: Contact) -> None:  # noqa: N802
    """P13: the power goes before and after claim, send, response, mark and commit; nothing is lost."""
    check_none_is_lost(store, clock, put(store, mail, 20))


@pytest.mark.parametrize("step", ["reminder", "outbox", "commit"])
def test_a_decision_and_its_message_are_written_together_P13(  # noqa: N802
    store: Store,
    clock: StandingClock,
    tank: StoredTank,
    mail: Contact,
    step: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """P13: where the power goes while a decision is written, there is neither, and it is made again."""
    import api.usecases.remind as module

    keep(store, tank, told(latest=5))
    with monkeypatch.context() as patch:
        if step != "commit":
            name = "save_reminder" if step == "reminder" else "put_out"
            real = getattr(module, name)

            def cut(*args: object, **more: object) -> None:
                real(*args, **more)
                raise PowerCut

            patch.setattr(module, name, cut)
        with suppress(PowerCut), store.write() as session:
            remind_tank(session, clock, tank, Told())
            raise PowerCut
    with store.read() as session:
        assert list_reminders(session, tank.id) == ()
        assert count_messages(session) == {}
    assert remind_tanks(store, clock, [tank], Told()) == 1
    with store.read() as session:
        assert count_messages(session) == {"waiting": 1}


def test_every_attempt_carries_the_same_id_P14(store: Store, clock: StandingClock, mail: Contact) -> None:  # noqa: N802
    """P14: five refused attempts and the sixth are one message to whoever looks at ids."""
    seen: list[str] = []

    def refuse(letter: Letter) -> Outcome:
        seen.append(letter.message_id)
        return Later("greylisted (450)") if len(seen) < 6 else Sent()

    ids = put(store, mail)
    receiver = Receiver(refuse)
    for _ in range(6):
        make_sender(store, clock, receiver).send_all()
        clock.move(hours=6)
    assert seen == ids * 6


def test_two_senders_share_the_work(store: Store, clock: StandingClock, mail: Contact) -> None:
    """Two senders at once send each message once."""
    from concurrent.futures import ThreadPoolExecutor

    ids, receiver = put(store, mail, 30), Receiver()
    with ThreadPoolExecutor(2) as pool:
        senders = [make_sender(store, clock, receiver, owner=name) for name in "ab"]
        assert sum(pool.map(lambda sender: sender.send_all(), senders)) == 30
    assert receiver.ids == Counter(ids)


def test_mail_down_for_two_days_P16(store: Store, clock: StandingClock, mail: Contact) -> None:  # noqa: N802
    """P16: back after 48 hours, all that waited is sent within 15 minutes, the oldest first."""
    ids = put(store, mail, 40)
    receiver = Receiver(lambda letter: Down("connection refused", whole=True))
    for _ in range(48 * 4):
        make_sender(store, clock, receiver).send_all()
        clock.move(minutes=15)
    receiver.answer = lambda letter: Sent()
    back = clock.now()
    while clock.now() - back < timedelta(minutes=15) and len(receiver.got) < 40:
        make_sender(store, clock, receiver).send_all()
        clock.move(minutes=1)
    assert [letter.message_id for letter in receiver.got] == ids


def test_a_reminder_overtaken_by_a_delivery_is_not_sent_P16(  # noqa: N802
    store: Store, clock: StandingClock, tank: StoredTank, mail: Contact
) -> None:
    """P16: while mail is down an order is placed; when mail is back, nobody is told to order."""
    keep(store, tank, told(latest=5))
    remind_tanks(store, clock, [tank], Told())
    receiver = Receiver(lambda letter: Down("refused", whole=True))
    make_sender(store, clock, receiver).send_all()
    clock.move(hours=1)
    with store.write() as session:
        place_order(
            session, clock, tank, Placement(litres=400.0, promised_for=NOW.date() + timedelta(days=20))
        )
    remind_tanks(store, clock, [tank], Told())
    receiver.answer = lambda letter: Sent()
    clock.move(hours=1)
    make_sender(store, clock, receiver).send_all()
    assert [letter.body["cause"] for letter in receiver.got if letter.body["cause"] == "order"] == []


def test_a_date_does_not_leave_once_the_tank_is_out_of_sight(
    store: Store, clock: StandingClock, tank: StoredTank, mail: Contact
) -> None:
    """Told while mail was down, withheld when it is back: the message without a date leaves instead."""
    keep(store, tank, told(latest=5))
    remind_tanks(store, clock, [tank], Told())
    clock.move(hours=6)
    keep(store, tank, withheld(clock.now(), order_by=5))
    remind_tanks(store, clock, [tank], Told())
    receiver = Receiver()
    make_sender(store, clock, receiver).send_all()
    assert [letter.body["title"] for letter in receiver.got] == ["Read the gauge today (Tank)"]


def test_retried_for_three_days_then_said_elsewhere_P17(  # noqa: N802
    store: Store, clock: StandingClock, tank: StoredTank, mail: Contact
) -> None:
    """P17: ten attempts within 75 hours, give or take a tenth; then it is noted since when."""
    put(store, mail)
    tries: list[timedelta] = []

    def refuse(letter: Letter) -> Outcome:
        tries.append(clock.now() - NOW)
        return Later("busy (451)")

    sender = make_sender(store, clock, Receiver(refuse))
    while clock.now() - NOW < timedelta(hours=95):
        sender.send_all()
        clock.move(minutes=1 if clock.now() - NOW < timedelta(hours=1) else 20)
    assert len(tries) == len(RETRIES) + 1
    assert timedelta(hours=66) < tries[-1] < timedelta(hours=86)
    with store.read() as session:
        assert list_contacts(session, tank.id)[0].failing_since == NOW
        assert count_messages(session) == {"failed": 1}
    total = sum((wait_after(n, "x") or timedelta() for n in range(1, 10)), timedelta())
    assert timedelta(hours=68) < total < timedelta(hours=84)


def test_a_refused_address_is_not_tried_again_P17(  # noqa: N802
    store: Store, clock: StandingClock, tank: StoredTank, mail: Contact
) -> None:
    """P17: an address that does not exist gets nothing more, and says why."""
    put(store, mail, 3)
    receiver = Receiver(lambda letter: Gone("refused (550)"))
    for _ in range(3):
        make_sender(store, clock, receiver).send_all()
        clock.move(hours=1)
    with store.read() as session:
        contact = load_contact(session, tank.id, mail.public_id)
        assert count_messages(session) == {"failed": 1, "replaced": 2}
    assert not contact.is_used
    assert contact.ended_why == "refused (550)"


def test_one_slow_receiver_does_not_hold_up_the_others(
    store: Store, clock: StandingClock, tank: StoredTank, mail: Contact
) -> None:
    """A way that is down for one address is left out for the rest of the round, not for the others."""
    other = add_mail(store, tank, "bob@example.org")
    put(store, mail, 5)
    put(store, other, 5)
    calls: list[str] = []

    def answer(letter: Letter) -> Outcome:
        calls.append(letter.address)
        return Down("timeout", whole=False) if letter.address == mail.address else Sent()

    assert make_sender(store, clock, Receiver(answer)).send_all() == 5
    assert Counter(calls) == {"ann@example.org": 1, "bob@example.org": 5}


def test_the_second_person_hears_what_the_first_did_not_answer(
    store: Store, clock: StandingClock, tank: StoredTank, mail: Contact
) -> None:
    """The second person is told after 72 hours without an answer, and not at all where there was one."""
    add_mail(store, tank, "carer@example.org", second=True)
    receiver = Receiver()
    keep(store, tank, told(latest=9))
    remind_tanks(store, clock, [tank], Told())
    make_sender(store, clock, receiver).send_all()
    assert [letter.address for letter in receiver.got] == ["ann@example.org"]
    clock.move(hours=72)
    keep(store, tank, told(clock.now(), latest=6))
    remind_tanks(store, clock, [tank], Told())
    make_sender(store, clock, receiver).send_all()
    assert [letter.address for letter in receiver.got[1:]] == ["ann@example.org", "carer@example.org"]
    with store.write() as session:
        acknowledge(session, list_reminders(session, tank.id)[0], now=clock.now())
    clock.move(hours=73)
    keep(store, tank, told(clock.now(), latest=3))
    assert remind_tanks(store, clock, [tank], Told()) == 0


def test_workers_decide_once(store: Store, clock: StandingClock, tank: StoredTank, mail: Contact) -> None:
    """Two workers that decide at the same time decide once between them."""
    from concurrent.futures import ThreadPoolExecutor

    keep(store, tank, told(latest=5))
    with ThreadPoolExecutor(4) as pool:
        decided = list(pool.map(lambda _: remind_tanks(store, clock, [tank], Told()), range(4)))
    assert sum(decided) == 1
    with store.read() as session:
        assert count_messages(session) == {"waiting": 1}
