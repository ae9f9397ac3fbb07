"""Orders, reminders, silences, ways to be reached and the calendar, by HTTP."""

from typing import Any

import pytest
from fastapi.testclient import TestClient
from icalendar import Calendar

from api.store.contacts import list_contacts
from api.store.tanks import load_tank
from api.usecases.remind import Told, remind_tanks
from api.usecases.send_messages import Sender
from api.wiring import Services
from tests.api.conftest import NOW, StandingClock
from tests.api.reminders.made import told, withheld
from tests.api.usecases.test_send_messages import Receiver, keep

TODAY = NOW.date().isoformat()


def _post(client: TestClient, path: str, body: dict[str, Any], *, status: int = 201) -> dict[str, Any]:
    answer = client.post(path, json=body)
    assert answer.status_code == status, answer.text
    found: dict[str, Any] = answer.json()
    return found


def test_an_order_is_placed_promised_and_delivered(client: TestClient, tank_id: str) -> None:
    """Three messages, and the history tells them."""
    path = f"/api/tanks/{tank_id}/orders"
    order = _post(client, path, {"litres": 500, "supplier": "Dale Fuels", "form_key": "k"})
    assert (order["state"], order["placed_on"]) == ("placed", TODAY)
    assert _post(client, path, {"litres": 500, "form_key": "k"}, status=200)["id"] == order["id"]
    one = f"{path}/{order['id']}"
    promised = _post(client, one, {"act": "promise", "version": 1, "promised_for": "2026-01-14"}, status=200)
    assert promised["state"] == "promised"
    stale = client.post(one, json={"act": "cancel", "version": 1})
    assert (stale.status_code, stale.json()["code"]) == (409, "stale")
    done = _post(client, one, {"act": "deliver", "version": 2, "litres": 480}, status=200)
    assert (done["state"], done["delivered_l"]) == ("delivered", 480.0)
    orders = client.get(path).json()["orders"]
    assert [c["state"] for c in orders[0]["changes"]] == ["placed", "promised", "delivered"]


@pytest.mark.parametrize(
    "body",
    [
        {}, {"litres": -1}, {"litres": 5e9}, {"litres": "many"}, {"litres": True}, {"fill": "yes"},
        {"litres": 500, "fill": True}, {"litres": 500, "promised_for": "soon"}, {"litres": 500, "x": 1},
        {"litres": 500, "placed_on": "2027-01-01"}, {"litres": 1990}, [], {"litres": 500, "supplier": "x" * 200},
    ],
)  # fmt: skip
def test_bad_orders_are_refused(client: TestClient, tank_id: str, body: Any) -> None:
    """Nothing of a bad order is kept, and each is answered with what to mend."""
    answer = client.post(f"/api/tanks/{tank_id}/orders", json=body)
    assert (answer.status_code, answer.headers["content-type"]) == (422, "application/problem+json")
    assert answer.json()["errors"][0]["mend"]
    assert client.get(f"/api/tanks/{tank_id}/orders").json() == {"orders": []}


def test_an_order_that_is_not_there(client: TestClient, tank_id: str) -> None:
    """An unknown order is not found, whatever is to be done with it."""
    answer = client.post(f"/api/tanks/{tank_id}/orders/nothing", json={"act": "cancel", "version": 1})
    assert answer.status_code == 404


def test_a_reminder_is_read_and_answered(client: TestClient, services: Services, tank_id: str) -> None:
    """A reminder stands in the list with its words, and counts as answered once somebody said so."""
    with services.store.read() as session:
        tank = load_tank(session, tank_id)
    keep(services.store, tank, told(NOW, latest=9))
    assert remind_tanks(services.store, services.clock, [tank], Told()) == 1
    path = f"/api/tanks/{tank_id}/reminders"
    found = client.get(path).json()
    assert found["unreached_since"] is None
    (reminder,) = found["reminders"]
    assert (reminder["cause"], reminder["answered_at"]) == ("order", None)
    assert "If you hear nothing from us by" in reminder["text"]
    assert client.post(f"{path}/{reminder['id']}/answer").status_code == 204
    assert client.get(path).json()["reminders"][0]["answered_at"] is not None
    assert client.post(f"{path}/nothing/answer").status_code == 404


@pytest.mark.parametrize("until", ["2026-01-09", "2026-03-12", "never", ""])
def test_a_silence_needs_an_end_within_60_days_G6(client: TestClient, tank_id: str, until: str) -> None:  # noqa: N802
    """G6: no end, an end that has been, or one more than 60 days ahead is refused."""
    for body in ({"until": until}, {}):
        assert client.post(f"/api/tanks/{tank_id}/silences", json=body).status_code == 422


def test_a_silence_is_kept_and_lifted(client: TestClient, tank_id: str) -> None:
    """A silence lasts to the end of its last civil day, and can be ended before."""
    path = f"/api/tanks/{tank_id}/silences"
    made = _post(client, path, {"until": "2026-01-20"})
    assert made["ends_at"] == "2026-01-21T00:00:00Z"
    assert client.delete(f"{path}/{made['id']}").status_code == 204
    assert client.delete(f"{path}/{made['id']}").status_code == 404
    assert client.get(path).json()["silences"][0]["lifted_at"] is not None


def test_mail_is_used_once_it_is_confirmed_H9(  # noqa: N802
    client: TestClient, services: Services, clock: StandingClock, tank_id: str
) -> None:
    """H9: one request to confirm a day, nothing else before, and everything after."""
    path = f"/api/tanks/{tank_id}/contacts"
    body = {"channel": "mail", "address": "ann@example.org"}
    assert _post(client, path, body)["asked"]
    assert not _post(client, path, body)["asked"]
    with services.store.read() as session:
        tank = load_tank(session, tank_id)
    keep(services.store, tank, told(NOW, latest=9))
    remind_tanks(services.store, clock, [tank], Told())
    receiver = Receiver()
    Sender(services.store, clock, dict.fromkeys(_channels(), receiver), "one").send_all()
    (request,) = receiver.got
    assert request.body["kind"] == "confirm"
    token = request.body["page"].rpartition("/")[2]
    from api.usecases.contacts import confirm

    with services.store.write() as session:
        confirm(session, clock, token)
        (contact,) = list_contacts(session, tank.id)
    assert contact.is_used
    clock.move(hours=72)
    keep(services.store, tank, told(clock.now(), latest=6))
    remind_tanks(services.store, clock, [tank], Told())
    Sender(services.store, clock, dict.fromkeys(_channels(), receiver), "one").send_all()
    assert [letter.body["kind"] for letter in receiver.got] == ["confirm", "reminder"]


def test_a_request_to_confirm_is_good_for_a_week_and_once_H10(  # noqa: N802
    client: TestClient, services: Services, clock: StandingClock, tank_id: str
) -> None:
    """H10: used twice, altered, or eight days old, it confirms nothing."""
    from api.store import NotFoundError
    from api.usecases.contacts import confirm

    path, tokens = f"/api/tanks/{tank_id}/contacts", []
    for name in ("ann", "bob"):
        _post(client, path, {"channel": "mail", "address": f"{name}@example.org"})
    receiver = Receiver()
    Sender(services.store, clock, dict.fromkeys(_channels(), receiver), "one").send_all()
    tokens = [letter.body["page"].rpartition("/")[2] for letter in receiver.got]
    with services.store.write() as session:
        confirm(session, clock, tokens[0])
        for wrong in (tokens[0], tokens[1] + "x", ""):
            with pytest.raises(NotFoundError):
                confirm(session, clock, wrong)
        clock.move(days=8)
        with pytest.raises(NotFoundError):
            confirm(session, clock, tokens[1])


def _channels() -> list[Any]:
    from api.store.contacts import Channel

    return list(Channel)


@pytest.mark.parametrize(
    ("channel", "address"),
    [
        ("webhook", "https://127.0.0.1/x"), ("webhook", "http://example.org/"), ("webhook", "ftp://example.org/"),
        ("mail", "a@b"), ("mail", "a@b.cc\r\nBcc: x@y.zz"), ("further", "file:///etc/passwd"), ("smoke", "x"),
    ],
)  # fmt: skip
def test_hostile_ways_are_refused_at_save_H1_H8(  # noqa: N802
    client: TestClient, tank_id: str, channel: str, address: str
) -> None:
    """H1, H5, H8: addresses of the inside, other schemes and broken mail addresses are not kept."""
    path = f"/api/tanks/{tank_id}/contacts"
    assert client.post(path, json={"channel": channel, "address": address}).status_code == 422
    assert client.get(path).json() == {"contacts": []}


def test_a_webhooks_secret_is_shown_once(
    client: TestClient, tank_id: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The secret stands in the answer that made it, and in no other; a new one differs."""
    import api.usecases.contacts as module

    monkeypatch.setattr(module, "check_target", lambda *args, **more: None)
    path = f"/api/tanks/{tank_id}/contacts"
    made = _post(client, path, {"channel": "webhook", "address": "https://example.org/hook"})
    assert made["secret"].startswith("whsec_")
    assert made["secret"] not in client.get(path).text
    renewed = _post(client, f"{path}/{made['id']}/secret", {}, status=200)["secret"]
    assert renewed != made["secret"]
    assert client.delete(f"{path}/{made['id']}").status_code == 204
    assert client.post(f"{path}/{made['id']}/secret").status_code == 404


def test_the_calendar_is_read_by_its_address(client: TestClient, services: Services, tank_id: str) -> None:
    """Whoever knows the address reads the calendar, until it is closed; no other address does."""
    with services.store.read() as session:
        tank = load_tank(session, tank_id)
    keep(services.store, tank, told(NOW, latest=9))
    path = _post(client, f"/api/tanks/{tank_id}/calendar", {})["path"]
    answer = client.get(path)
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    assert len(Calendar.from_ical(answer.content).events) == 1
    assert client.get("/calendar/nothing").status_code in (401, 404)
    assert client.delete(f"/api/tanks/{tank_id}/calendar").status_code == 204
    assert client.get(path).status_code in (401, 404)


def test_the_flat_answer_tells_and_withholds(
    client: TestClient, services: Services, clock: StandingClock, tank_id: str
) -> None:
    """Told: numbers and dates; withheld, or not renewed for 36 hours: none of them."""
    with services.store.read() as session:
        tank = load_tank(session, tank_id)
    path = f"/api/tanks/{tank_id}/answer"
    names = ("litres", "order_from", "order_by", "order_litres", "stops_1_in_10", "stops_1_in_2")
    assert client.get(path).json()["state"] == "STALE"
    keep(services.store, tank, told(NOW, latest=9))
    found = client.get(path).json()
    assert [found[name] for name in names] == [
        300, "2026-01-05", "2026-01-19", 500.0, "2026-02-03", "2026-02-11",
    ]  # fmt: skip
    clock.move(hours=37)
    assert [client.get(path).json()[name] for name in names] == [None] * 6
    keep(services.store, tank, withheld(clock.now(), order_by=9))
    assert [client.get(path).json()[name] for name in names] == [None] * 6
