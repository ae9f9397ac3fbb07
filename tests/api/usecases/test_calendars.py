"""A tank's calendar over many forecasts: one event a refill, and called off when no date may be told."""

import numpy as np
from icalendar import Calendar

from api.store import Store
from api.store.calendars import has_feed, tank_of_feed
from api.store.tanks import StoredTank
from api.usecases.calendars import close_feed, open_feed, read_feed
from api.usecases.import_house import import_deliveries
from api.usecases.orders import Placement, place_order
from api.usecases.register_tank import register_tank
from api.usecases.remind import Told
from tests.api.conftest import NOW, StandingClock
from tests.api.reminders.days import dates_ahead
from tests.api.reminders.made import told, withheld
from tests.api.usecases.test_send_messages import keep
from tests.api.worker.test_worker import TANK

Events = list[tuple[str, int, str]]


def _tank(store: Store, clock: StandingClock) -> StoredTank:
    with store.write() as session:
        return register_tank(session, clock, tank_toml=TANK)


def _events(store: Store, clock: StandingClock, tank: StoredTank) -> Events:
    with store.write() as session:
        read = Calendar.from_ical(read_feed(session, clock, tank, Told()))
    return [(str(e["UID"]), int(e["SEQUENCE"]), str(e["STATUS"])) for e in read.events]


def test_a_hundred_forecasts_are_one_event_P19(store: Store, clock: StandingClock) -> None:  # noqa: N802
    """P19: a hundred forecasts of one refill are one event, its uid the same, its sequence only rising."""
    tank = _tank(store, clock)
    rng, seen = np.random.default_rng(19), []
    for day in range(100):
        latest = 120 - day + int(rng.integers(-2, 3))
        keep(store, tank, told(clock.now(), latest=latest, earliest=latest - 12))
        seen.append(_events(store, clock, tank))
        clock.move(days=1)
    check_one_event(seen)


def check_one_event(seen: list[Events]) -> None:
    """One event at each look, one uid in all, and a sequence that never falls."""
    assert {len(events) for events in seen} == {1}
    assert len({events[0][0] for events in seen}) == 1
    sequences = [events[0][1] for events in seen]
    assert sequences == sorted(sequences)
    assert sequences[-1] > 10


def test_no_date_to_tell_calls_the_event_off(store: Store, clock: StandingClock) -> None:
    """Withheld: cancelled; told again: confirmed under the same uid; not renewed for two days: cancelled."""
    tank = _tank(store, clock)
    seen = []
    for forecast in (told(NOW, latest=20), withheld(NOW, order_by=20), told(NOW, latest=19)):
        keep(store, tank, forecast)
        seen += _events(store, clock, tank)
    clock.move(hours=37)
    seen += _events(store, clock, tank)
    assert [status for _, _, status in seen] == ["CONFIRMED", "CANCELLED", "CONFIRMED", "CANCELLED"]
    assert [sequence for _, sequence, _ in seen] == [1, 2, 3, 4]
    assert len({uid for uid, _, _ in seen}) == 1


def test_a_called_off_event_tells_no_litres(store: Store, clock: StandingClock) -> None:
    """The calendar holds no litres, and a called-off event says no date but its own old days."""
    tank = _tank(store, clock)
    keep(store, tank, told(NOW, latest=20))
    _events(store, clock, tank)
    keep(store, tank, withheld(NOW, order_by=20))
    with store.write() as session:
        text = read_feed(session, clock, tank, Told()).decode()
    assert "litre" not in text
    words = "\n".join(line for line in text.splitlines() if not line.startswith(("DTSTART", "DTEND")))
    assert dates_ahead(words, today=NOW.date()) == []


def test_a_delivery_begins_a_new_event(store: Store, clock: StandingClock) -> None:
    """After order and delivery the old event is off, and the next refill has an event of its own."""
    tank = _tank(store, clock)
    keep(store, tank, told(NOW, latest=8))
    first = _events(store, clock, tank)
    with store.write() as session:
        place_order(session, clock, tank, Placement(litres=400.0))
    assert [status for _, _, status in _events(store, clock, tank)] == ["CANCELLED"]
    clock.move(days=5)
    with store.write() as session:
        import_deliveries(session, clock, tank, "at,litres\n2026-01-15T09:00:00Z,400\n")
        from api.usecases.orders import close_delivered_orders

        close_delivered_orders(session, tank, now=clock.now())
    keep(store, tank, told(clock.now(), latest=70, earliest=50))
    events = _events(store, clock, tank)
    assert [status for _, _, status in events] == ["CANCELLED", "CONFIRMED"]
    assert events[0][0] == first[0][0] != events[1][0]


def test_a_feeds_key_opens_its_tank_until_it_is_changed(store: Store, clock: StandingClock) -> None:
    """A key opens one tank's feed; a new key, or closing it, ends that at once."""
    tank = _tank(store, clock)
    with store.write() as session:
        first = open_feed(session, clock, tank)
        assert tank_of_feed(session, first) == tank.public_id
        second = open_feed(session, clock, tank)
        assert (tank_of_feed(session, first), tank_of_feed(session, second)) == (None, tank.public_id)
        close_feed(session, tank)
        assert tank_of_feed(session, second) is None
        assert not has_feed(session, tank.id)
