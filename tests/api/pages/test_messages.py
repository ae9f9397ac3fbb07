"""The page of a sensor's own messages: a sample shows what would be stored, and only then is it kept."""

from html import unescape
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.store.mappings import list_mappings
from api.store.readings import count_readings
from api.store.tanks import load_tank
from api.wiring import Services

SAMPLE = '{"data": [{"dist": 61.5}], "note": "<b>", "ts": 1768024800}'
READ = {
    "sample": SAMPLE,
    "level": "/data/0/dist",
    "quantity": "ullage",
    "unit": "cm",
    "time": "/ts",
    "time_form": "epoch_s",
    "temperature_unit": "celsius",
}


def _post(client: TestClient, tank: str, **fields: str) -> Any:
    return client.post(f"/tanks/{tank}/messages", data=fields, follow_redirects=False)


def _kept(services: Services, tank: str) -> list[str | None]:
    with services.store.read() as session:
        return [m.topic for m in list_mappings(session, load_tank(session, tank).id)]


def test_a_sample_is_looked_at_without_a_trace(client: TestClient, services: Services, tank_id: str) -> None:
    """First the places of the sample are offered; then what it would be stored as is said in words."""
    first = _post(client, tank_id, sample=SAMPLE, do="look")
    assert first.status_code == 200
    assert '<option value="/data/0/dist">/data/0/dist</option>' in first.text
    assert "Read it like this" not in first.text
    shown = _post(client, tank_id, **READ, do="look")
    assert "615 mm from the sensor down to the oil, Sat 10 January 06:00" in unescape(shown.text)
    assert "Read it like this from now on" in shown.text
    assert _kept(services, tank_id) == []
    with services.store.read() as session:
        assert count_readings(session, load_tank(session, tank_id).id) == 0


def test_it_is_kept_when_the_person_says_so_and_forgotten_again(
    client: TestClient, services: Services, tank_id: str
) -> None:
    """The list then shows the topic; forgetting takes it away."""
    assert _post(client, tank_id, **READ, topic="oil/level", do="store").status_code == 303
    assert _kept(services, tank_id) == ["oil/level"]
    page = client.get(f"/tanks/{tank_id}/messages").text
    assert "MQTT topic oil/level" in page
    there = page.split('action="')[1].split('"')[0]
    assert client.post(there, data={}, follow_redirects=False).status_code == 303
    assert _kept(services, tank_id) == []


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"sample": "level 61"}, "This is not JSON"),
        ({"sample": ""}, "This is not JSON"),
        ({"sample": '{"d": NaN}'}, "Give a finite number"),
        ({**READ, "level": "/data/0"}, "Point at a number"),
        ({**READ, "unit": "l"}, "Give one of mm"),
        ({**READ, "time_form": "epoch_ms"}, "Check time_form"),
        ({**READ, "topic": "oil/#"}, "Give one topic"),
    ],
    ids=["text", "empty", "nan", "an-object", "unit", "time", "topic"],
)
def test_what_is_wrong_is_said_beside_its_field(
    client: TestClient, services: Services, tank_id: str, fields: dict[str, str], said: str
) -> None:
    """Nothing is kept, what was typed stays, and it is shown as text."""
    answer = _post(client, tank_id, **fields, do="store")
    assert answer.status_code == 422
    assert said in answer.text
    assert "<b>" not in answer.text
    assert _kept(services, tank_id) == []


def test_a_bare_number_is_a_message(client: TestClient, services: Services, tank_id: str) -> None:
    """A sensor may send nothing but its level."""
    fields = {"level": "*", "quantity": "volume", "unit": "l", "do": "store", "topic": "oil/litres"}
    assert _post(client, tank_id, sample="812", **fields).status_code == 303
    assert _kept(services, tank_id) == ["oil/litres"]
