"""Prices and how oil is ordered, by form and by program: kept for each tank, and in the answer at once."""

from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.store.tanks import load_tank
from api.usecases.order_settings import settings_of_tank
from api.wiring import Services
from forecaster.reorder import OrderSettings
from tests.api.conftest import LYING_CYLINDER, NOW
from tests.api.pages.sights import words_of

PRICED = {
    "lead_from": "2", "lead_to": "5", "min_drop_l": "400", "quotes": "500: 0.62\n1000: 0,60", "quoted": "2026-01-09",
    "delivery_cost": "25", "drift_percent": "2", "budget": "", "holidays": "gb-eng", "closed": "2026-01-16",
    "look_every_days": "7", "holding_percent": "5", "risk_one_in": "500",
}  # fmt: skip
AS_JSON = {
    "lead_from": 2, "lead_to": 5, "min_drop_l": 400, "quoted": "2026-01-09", "delivery_cost": 25, "drift_percent": 2,
    "quotes": [{"from_litres": 500, "price_per_l": 0.62}, {"from_litres": 1000, "price_per_l": 0.60}],
    "holidays": "GB-ENG", "closed": ["2026-01-16"], "look_every_days": 7, "holding_percent": 5, "risk_one_in": 500,
}  # fmt: skip


def settings_now(services: Services, tank_id: str) -> OrderSettings:
    """What the answer reckons with."""
    with services.store.read() as session:
        return settings_of_tank(session, load_tank(session, tank_id).id, today=NOW.date())


def fill(client: TestClient, tank_id: str, *, ullage_mm: int = 850) -> None:
    """Two levels of the tank, so that there is an answer."""
    for day in (9, 10):
        sent = {"at": f"2026-01-{day:02d}T06:00:00Z", "ullage_mm": ullage_mm}
        assert client.post(f"/api/tanks/{tank_id}/readings", json=sent).status_code == 201


def test_form_and_program_keep_the_same(client: TestClient, services: Services, tank_id: str) -> None:
    """What is typed and what is sent become the same settings, and both doors show it again."""
    assert settings_now(services, tank_id) == OrderSettings()
    assert "Kept." in client.post(f"/tanks/{tank_id}/ordering", data=PRICED).text
    by_form = settings_now(services, tank_id)
    assert client.put(f"/api/tanks/{tank_id}/ordering", json={}).status_code == 200
    assert settings_now(services, tank_id) == OrderSettings()
    sent = client.put(f"/api/tanks/{tank_id}/ordering", json=AS_JSON)
    assert sent.status_code == 200, sent.text
    assert settings_now(services, tank_id) == by_form
    assert (by_form.lead_days, by_form.min_drop_l, by_form.risk) == ((2, 5), 400.0, 0.002)
    assert by_form.spending is not None
    assert by_form.spending.quotes.steps == ((500.0, 0.62), (1000.0, 0.60))
    assert client.get(f"/api/tanks/{tank_id}/ordering").json() == {**AS_JSON, "budget": None}
    page = client.get(f"/tanks/{tank_id}/ordering").text
    assert "500: 0.62\n1000: 0.6</textarea>" in page
    assert 'name="lead_to" type="text" inputmode="decimal" value="5"' in page


def test_the_answer_says_what_it_costs_and_how_long_it_is_safe_to_wait(
    client: TestClient, tank_id: str
) -> None:
    """With prices the answer, page and object alike, has the cost, the last safe day and what waiting costs."""
    fill(client, tank_id)
    assert "By the quotes of" not in words_of(client.get(f"/tanks/{tank_id}").text)
    client.post(f"/tanks/{tank_id}/ordering", data={**PRICED, "closed": ""})
    words = words_of(client.get(f"/tanks/{tank_id}").text)
    assert "By the quotes of Fri 9 January that costs about" in words
    assert "It is safe to wait for a better price until" in words
    assert "if prices rise by 2 % a month, that costs about" in words
    money = client.get(f"/api/tanks/{tank_id}/forecast").json()["order"]["money"]
    assert (money["drift_per_month"], money["waiting_cost"] > 0) == (0.02, True)


def test_a_budget_limits_the_order_and_says_whom_to_ask_when_it_is_too_small(
    client: TestClient, tank_id: str
) -> None:
    """What can be spent is in the answer; where no delivery can be paid, it says so, by when, and whom to ask."""
    fill(client, tank_id)
    client.post(f"/tanks/{tank_id}/ordering", data={**PRICED, "budget": "400"})
    assert "It is the most that 400 pays for." in words_of(client.get(f"/tanks/{tank_id}").text)
    client.post(f"/tanks/{tank_id}/ordering", data={**PRICED, "budget": "100"})
    words = words_of(client.get(f"/tanks/{tank_id}").text)
    assert "that is too little for any delivery" in words
    assert "To be safe, oil has to be ordered by" in words
    assert "council" in words


@pytest.mark.parametrize(
    ("form", "at"),
    [
        ({"quotes": "500 at 0.62 each"}, "quotes"),
        ({"quotes": "500: 0.62\n500: 0.61"}, "quotes"),
        ({"quotes": "500: -1"}, "quotes"),
        ({"budget": "300"}, "quotes"),
        ({"lead_from": "9", "lead_to": "2"}, "lead_to"),
        ({"lead_from": "1.5"}, "lead_from"),
        ({"holidays": "XX"}, "holidays"),
        ({"closed": "Christmas"}, "closed"),
        ({"risk_one_in": "1"}, "risk_one_in"),
        ({"quoted": "2026-01-11", "quotes": "500: 0.62"}, "quoted"),
    ],
)
def test_what_cannot_be_is_said_at_its_field_and_changes_nothing(
    client: TestClient, services: Services, tank_id: str, form: dict[str, str], at: str
) -> None:
    """A wrong field is named in the list and beside it, what was typed stays, and nothing was changed."""
    answer = client.post(f"/tanks/{tank_id}/ordering", data=form)
    assert answer.status_code == 422
    assert f'<a href="#{at}">' in answer.text
    assert f'id="{at}-mend"' in answer.text
    assert settings_now(services, tank_id) == OrderSettings()


@pytest.mark.parametrize(
    "sent",
    [
        {"quotes": "500: 0.62"},
        {"quotes": [{"from_litres": 500}]},
        {"quotes": [{"from_litres": True, "price_per_l": 0.6}]},
        {"closed": ["soon"]},
        {"lead_from": "2"},
        {"owner_id": 1},
        [],
    ],
)
def test_a_wrong_object_is_refused_with_its_pointer(client: TestClient, tank_id: str, sent: Any) -> None:
    """An object of another form is a problem with a pointer, and the same object is never half kept."""
    answer = client.put(f"/api/tanks/{tank_id}/ordering", json=sent)
    assert answer.status_code == 422, answer.text
    assert answer.json()["errors"]
    assert client.get(f"/api/tanks/{tank_id}/ordering").json()["quotes"] == []


def test_a_home_at_special_risk_is_careful_unless_it_says_otherwise(
    client: TestClient, services: Services
) -> None:
    """Where the survey says that somebody is at special risk, the usual risk is the smaller one."""
    survey = {"place": "East Anglia", "vulnerable": True}
    tank_id = client.post("/api/tanks", json={"tank": LYING_CYLINDER, "survey": survey}).json()["id"]
    assert settings_now(services, tank_id).risk == 0.002
    client.put(f"/api/tanks/{tank_id}/ordering", json={"risk_one_in": 100})
    assert settings_now(services, tank_id).risk == 0.01
