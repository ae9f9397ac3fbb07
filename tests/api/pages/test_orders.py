"""Orders and reminders by form: each does one thing, a double click does it once, opening does nothing."""

import re
from dataclasses import replace
from datetime import date

import pytest
from fastapi.testclient import TestClient

from api.pages.telling.on_order import tell_on_order
from api.store.orders import OrderState, StoredOrder, list_orders
from api.store.tanks import load_tank
from api.usecases.remind import Told, remind_tanks
from api.usecases.send_messages import Sender
from api.wiring import Services
from tests.api.conftest import NOW, StandingClock
from tests.api.reminders.made import told
from tests.api.usecases.test_send_messages import Receiver, keep


def _page(client: TestClient, tank_id: str) -> str:
    answer = client.get(f"/tanks/{tank_id}/orders")
    assert answer.status_code == 200
    return answer.text


def test_an_order_by_form_to_its_delivery(client: TestClient, services: Services, tank_id: str) -> None:
    """Ordered, sent twice by a double click, delivered: one order, one ticket, and the page says so."""
    path = f"/tanks/{tank_id}/orders"
    key = re.findall(r'name="form_key" value="([^"]+)"', _page(client, tank_id))[0]
    form = {"litres": "500", "promised_for": "2026-01-14", "form_key": key, "supplier": ""}
    for _ in range(2):
        answer = client.post(path, data=form)
        assert "Noted that oil is ordered." in answer.text
    with services.store.read() as session:
        tank = load_tank(session, tank_id)
        (order,) = list_orders(session, tank.id)
    assert "500 litres; promised; ordered on Sat 10 January; promised for Wed 14 January" in _page(
        client, tank_id
    )
    shown = client.get(f"/tanks/{tank_id}").text
    assert "On order: about 500 litres, ordered on Sat 10 January, promised for Wed 14 January." in shown
    done = {"act": "deliver", "version": "1", "litres": "480", "on": "", "promised_for": ""}
    assert "480 litres came" in client.post(f"{path}/{order.public_id}", data=done).text
    again = client.post(f"{path}/{order.public_id}", data=done)
    assert (again.status_code, "somebody else has changed" in again.text.lower()) == (409, True)
    assert "On order" not in client.get(f"/tanks/{tank_id}").text


@pytest.mark.parametrize(
    ("due", "state", "said"),
    [
        (None, OrderState.PLACED, "No day is promised yet: ask the supplier for one. Do not order again."),
        (
            date(2026, 1, 9),
            OrderState.LATE,
            "promised for Fri 9 January and not noted as come. Ask the supplier",
        ),
        (date(2026, 1, 9), OrderState.PROMISED, "before you order again; note it if it came."),
        (date(2026, 1, 12), OrderState.PART, "promised for Mon 12 January. Do not order again."),
    ],
)
def test_the_answer_says_what_is_on_order(due: date | None, state: OrderState, said: str) -> None:
    """What is still to come, for when, and that nothing more is to be ordered; a tanker that did not come is chased."""
    order = StoredOrder(
        1, "o", 1, state, 1, None, True, 700.0, None, None, date(2026, 1, 2), due, None, 200.0, NOW
    )  # fmt: skip
    (sentence,) = tell_on_order([order], today=date(2026, 1, 10))
    assert sentence.startswith("On order: about 500 litres, ordered on Fri 2 January")
    assert said in sentence
    assert tell_on_order([replace(order, state=OrderState.DELIVERED)], today=date(2026, 1, 10)) == ()


@pytest.mark.parametrize(
    ("what", "form"),
    [
        ("orders", {"litres": "", "form_key": "k"}),
        ("orders", {"litres": "lots", "form_key": "k"}),
        ("silences", {"until": "2027-01-01"}),
        ("contacts", {"channel": "mail", "address": "nobody"}),
    ],
)
def test_a_form_that_is_wrong_changes_nothing(
    client: TestClient, tank_id: str, what: str, form: dict[str, str]
) -> None:
    """The page says what to mend, and nothing was changed."""
    answer = client.post(f"/tanks/{tank_id}/{what}", data=form)
    assert (answer.status_code, "Nothing was changed:" in answer.text) == (422, True)
    assert "No order is known yet." in answer.text


def test_a_reminder_is_answered_by_form(
    client: TestClient, services: Services, clock: StandingClock, tank_id: str
) -> None:
    """The reminder stands on the page, and is not repeated once somebody has read it."""
    with services.store.read() as session:
        tank = load_tank(session, tank_id)
    keep(services.store, tank, told(NOW, latest=9))
    remind_tanks(services.store, clock, [tank], Told())
    action = re.findall(r'action="([^"]+/answer)"', _page(client, tank_id))[0]
    assert "This one is not repeated." in client.post(action).text
    clock.move(hours=73)
    keep(services.store, tank, told(clock.now(), latest=6))
    assert remind_tanks(services.store, clock, [tank], Told()) == 0


def test_opening_the_address_of_a_request_confirms_nothing_H10_I16(  # noqa: N802
    client: TestClient, services: Services, clock: StandingClock, tank_id: str
) -> None:
    """H10, I16: a program that opens the link confirms nothing; the button does, once."""
    client.post(f"/tanks/{tank_id}/contacts", data={"channel": "mail", "address": "ann@example.org"})
    from api.store.contacts import Channel

    receiver = Receiver()
    Sender(services.store, clock, {Channel.MAIL: receiver}, "one").send_all()
    path = "/confirm/" + receiver.got[0].body["page"].rpartition("/")[2]
    for _ in range(3):
        assert "May we send reminders?" in client.get(path).text
    assert "not confirmed yet" in _page(client, tank_id)
    assert "Confirmed" in client.post(path).text
    assert "not confirmed yet" not in _page(client, tank_id)
    assert client.get(path).status_code == client.post(path).status_code == 404


def test_what_was_typed_is_shown_harmless(client: TestClient, tank_id: str) -> None:
    """I2: a supplier named like a script stays text."""
    form = {"litres": "500", "form_key": "k", "supplier": "<script>alert(1)</script>"}
    assert "<script" not in client.post(f"/tanks/{tank_id}/orders", data=form).text


def test_a_calendar_and_a_silence_by_form(client: TestClient, tank_id: str) -> None:
    """The calendar's address is shown once and opens it; a silence is shown, and ended."""
    shown = client.post(f"/tanks/{tank_id}/calendar").text
    path = re.findall(r"<code>http://localhost(/calendar/[^<]+)</code>", shown)[0]
    assert client.get(path).status_code == 200
    assert path not in _page(client, tank_id)
    assert (
        "No reminders until" in client.post(f"/tanks/{tank_id}/silences", data={"until": "2026-02-01"}).text
    )
    action = re.findall(r'action="([^"]+/end)"', _page(client, tank_id))[0]
    assert "Reminders are on again." in client.post(action).text
