"""Orders: what may be done with them when, what they teach, and that nothing is done twice."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.store import Store
from api.store.deliveries import load_deliveries
from api.store.orders import (
    OrderState,
    StaleOrderError,
    StoredOrder,
    list_changes,
    list_orders,
    save_order,
)
from api.store.tanks import StoredTank
from api.usecases.import_house import import_deliveries
from api.usecases.order_settings import learn_lead, settings_of_tank
from api.usecases.orders import (
    ACTS,
    Act,
    Change,
    Placement,
    act_on_order,
    close_delivered_orders,
    note_late_orders,
    place_order,
)
from api.usecases.register_tank import register_tank
from forecaster.errors import OrderError
from forecaster.reorder import OrderSettings
from tests.api.conftest import NOW, StandingClock
from tests.api.worker.test_worker import TANK

TODAY = NOW.date()


@pytest.fixture
def tank(store: Store, clock: StandingClock) -> StoredTank:
    """A tank of 648 litres."""
    with store.write() as session:
        return register_tank(session, clock, tank_toml=TANK)


def _place(store: Store, clock: StandingClock, tank: StoredTank, placement: Placement) -> StoredOrder:
    with store.write() as session:
        return place_order(session, clock, tank, placement)[0]


def _act(
    store: Store, clock: StandingClock, tank: StoredTank, order: StoredOrder, change: Change
) -> StoredOrder:
    with store.write() as session:
        return act_on_order(session, clock, tank, order.public_id, change)


def test_an_order_from_placing_to_delivery(store: Store, clock: StandingClock, tank: StoredTank) -> None:
    """Placed, promised, late, partly and then wholly delivered: each step is kept, each delivery booked."""
    order = _place(store, clock, tank, Placement(litres=500.0, supplier="Dale Fuels"))
    assert (order.state, order.placed_on) == (OrderState.PLACED, TODAY)
    day = TODAY + timedelta(days=5)
    order = _act(store, clock, tank, order, Change(Act.PROMISE, 1, promised_for=day))
    with store.read() as session:
        assert settings_of_tank(session, tank.id, today=TODAY).ordered == {day: 500.0}
    clock.move(days=6)
    with store.write() as session:
        note_late_orders(session, tank, now=clock.now())
        late = list_orders(session, tank.id)[0]
        assert settings_of_tank(session, tank.id, today=TODAY + timedelta(days=6)).ordered == {}
    assert late.state is OrderState.LATE
    part = _act(store, clock, tank, late, Change(Act.PART, 3, litres=200.0))
    assert (part.state, part.to_come_l) == (OrderState.PART, 300.0)
    clock.move(days=1)
    whole = _act(store, clock, tank, part, Change(Act.DELIVER, 4, litres=300.0, note="second tanker"))
    assert (whole.state, whole.delivered_l, whole.delivered_on) == (
        OrderState.DELIVERED,
        500.0,
        TODAY + timedelta(days=7),
    )
    with store.read() as session:
        tickets = load_deliveries(session, tank.id, until=clock.now())
        steps = [change.state.value for change in list_changes(session, whole)]
    assert tickets is not None
    assert tickets.litres.tolist() == [200.0, 300.0]
    assert steps == ["placed", "promised", "late", "part", "delivered"]


def test_only_the_named_steps_are_possible(store: Store, clock: StandingClock, tank: StoredTank) -> None:
    """From each state each act leads where the table says, or is refused and changes nothing."""
    for act in Act:
        sources, target = ACTS[act]
        for state in OrderState:
            with store.write() as session:
                order = save_order(
                    session, tank.id, state=state, litres=500.0, fill=False, placed_on=TODAY, now=NOW
                )
                day = TODAY if act is Act.PROMISE else None
                change = Change(act, 1, promised_for=day, litres=500.0)
                if state in sources:
                    done = act_on_order(session, clock, tank, order.public_id, change)
                    assert done.state is target
                else:
                    with pytest.raises(OrderError):
                        act_on_order(session, clock, tank, order.public_id, change)
                    assert list_orders(session, tank.id)[-1] == order


def test_two_people_at_once_I8(store: Store, clock: StandingClock, tank: StoredTank) -> None:  # noqa: N802
    """I8: of two changes of the same version one is made, the other is told that the order has changed."""
    order = _place(store, clock, tank, Placement(fill=True))
    _act(store, clock, tank, order, Change(Act.PROMISE, 1, promised_for=TODAY))
    with pytest.raises(StaleOrderError):
        _act(store, clock, tank, order, Change(Act.CANCEL, 1))


def test_a_double_click_orders_once_I8(store: Store, clock: StandingClock, tank: StoredTank) -> None:  # noqa: N802
    """I8: the same form sent twice is one order; with another content it is refused."""
    with store.write() as session:
        first = place_order(session, clock, tank, Placement(litres=500.0), form_key="k1")
        again = place_order(session, clock, tank, Placement(litres=500.0), form_key="k1")
        with pytest.raises(OrderError):
            place_order(session, clock, tank, Placement(litres=400.0), form_key="k1")
    assert (first[1], again[1]) == (True, False)
    assert first[0].public_id == again[0].public_id


@pytest.mark.parametrize(
    "placement",
    [
        Placement(),
        Placement(litres=500.0, fill=True),
        Placement(litres=0.5),
        Placement(litres=640.0),
        Placement(litres=500.0, price_per_l=0.0),
        Placement(litres=500.0, placed_on=TODAY + timedelta(days=1)),
        Placement(litres=500.0, promised_for=TODAY - timedelta(days=1)),
        Placement(litres=500.0, promised_for=TODAY + timedelta(days=200)),
        Placement(litres=500.0, supplier="x" * 201),
    ],
)
def test_what_cannot_be_ordered_is_refused(
    store: Store, clock: StandingClock, tank: StoredTank, placement: Placement
) -> None:
    """Nothing, both, more than the tank can safely take, a price of nothing, days that cannot be."""
    with pytest.raises(OrderError):
        _place(store, clock, tank, placement)
    with store.read() as session:
        assert list_orders(session, tank.id) == ()


def test_a_ticket_by_another_door_closes_the_order(
    store: Store, clock: StandingClock, tank: StoredTank
) -> None:
    """A ticket that came as a file closes the open order, once, and is not booked again by hand."""
    order = _place(store, clock, tank, Placement(litres=500.0))
    clock.move(days=4)
    ticket = "at,litres\n2026-01-14T09:00:00Z,480\n"
    with store.write() as session:
        import_deliveries(session, clock, tank, ticket)
        for _ in range(2):
            close_delivered_orders(session, tank, now=clock.now())
        closed = list_orders(session, tank.id)[0]
    assert (closed.state, closed.delivered_l, closed.version) == (OrderState.DELIVERED, 480.0, 2)
    assert closed.delivered_on == date(2026, 1, 14)
    second = _place(store, clock, tank, Placement(litres=500.0, placed_on=date(2026, 1, 14)))
    _act(store, clock, tank, second, Change(Act.DELIVER, 1, litres=480.0))
    with store.read() as session:
        tickets = load_deliveries(session, tank.id, until=clock.now())
    assert tickets is not None
    assert tickets.litres.tolist() == [480.0]
    assert order.public_id != second.public_id


def test_finished_orders_teach_the_lead_time(store: Store, clock: StandingClock, tank: StoredTank) -> None:
    """After three orders of twelve working days a delivery is expected later than before."""
    clock.at = datetime(2026, 1, 5, 9, tzinfo=UTC)
    for _ in range(3):
        order = _place(store, clock, tank, Placement(litres=400.0))
        clock.move(days=16)
        _act(store, clock, tank, order, Change(Act.DELIVER, 1, litres=400.0))
        clock.move(days=5)
    with store.read() as session:
        learnt = settings_of_tank(session, tank.id, today=clock.now().date()).lead_table
    assert learnt is not None
    assert learnt.days[-1] == 12
    assert learnt.chance[-1] == pytest.approx(3.0 / 8.0)
    assert learnt.mean_days > 6.5


@given(observed=st.lists(st.integers(0, 150), max_size=30))
def test_learnt_lead_times_are_chances(observed: list[int]) -> None:
    """Whatever was seen, the chances add up to one, and the mean lies between assumption and experience."""
    assumed = OrderSettings()
    learnt = learn_lead(assumed, observed)
    _, chance = learnt.leads
    assert float(chance.sum()) == pytest.approx(1.0)
    if observed:
        mean = sum(min(o, 120) for o in observed) / len(observed)
        table = learnt.lead_table
        assert table is not None
        assert min(mean, 6.5) - 1e-9 <= table.mean_days <= max(mean, 6.5) + 1e-9


def test_a_promise_changes_the_forecast(store: Store, clock: StandingClock) -> None:
    """Oil promised for next week counts: the tank is less likely to be dry in the weeks after it."""
    from api.store.readings import NewReading, save_readings
    from api.usecases.refresh_forecast import refresh_forecast
    from forecaster.confidence import ToldForecast

    survey = 'place = "East Anglia"\n'
    with store.write() as session:
        tank = register_tank(session, clock, tank_toml=TANK, survey_toml=survey)
        sensor = tank.sensors[0].id
        rows = [
            NewReading(sensor, NOW - timedelta(days=40 - d), "ullage_mm", 300.0 + 10.0 * d) for d in range(40)
        ]
        save_readings(session, rows, received_at=NOW, source="http")
    before = refresh_forecast(store, clock, tank.public_id)
    _place(store, clock, tank, Placement(litres=400.0, promised_for=TODAY + timedelta(days=5)))
    after = refresh_forecast(store, clock, tank.public_id)
    assert isinstance(before, ToldForecast)
    assert isinstance(after, ToldForecast)
    assert after.daily[40].p50 > before.daily[40].p50 + 100.0
    assert replace(before, daily=()) != replace(after, daily=())
