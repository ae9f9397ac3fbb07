"""Mappings over HTTP: tried out without a trace, stored once a topic, used for what a sensor sends."""

import json
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.store.letters import Letter, count_dropped, save_letters
from api.store.mappings import list_mappings
from api.store.readings import count_readings
from api.store.tanks import load_tank
from api.wiring import Services
from tests.api.conftest import NOW

DRAFT = {"level": "/data/0/dist", "quantity": "ullage", "unit": "cm", "time": "/ts", "time_form": "epoch_s"}
MESSAGE = {"ts": int(NOW.timestamp()) - 60, "data": [{"dist": 61.5}]}


def _stored(services: Services, tank_id: str) -> int:
    with services.store.read() as session:
        return count_readings(session, load_tank(session, tank_id).id)


def _add(client: TestClient, tank: str, **more: Any) -> Any:
    return client.post(f"/api/tanks/{tank}/mappings", json={"mapping": DRAFT, **more})


def test_a_preview_leaves_no_trace(client: TestClient, services: Services, tank_id: str) -> None:
    """A sample is shown as it would be stored; no reading, no mapping and no letter comes of it."""
    body = {"mapping": DRAFT, "message": MESSAGE}
    shown = client.post(f"/api/tanks/{tank_id}/mappings/preview", json=body)
    assert shown.status_code == 200
    assert shown.json()["would_store"][0]["value"] == 615.0
    assert shown.json()["time_from"] == "message"
    assert _stored(services, tank_id) == 0
    assert client.get(f"/api/tanks/{tank_id}/mappings").json() == {"mappings": []}


def test_a_preview_of_a_wrong_draft_says_what_is_wrong_where(client: TestClient, tank_id: str) -> None:
    """A draft with mistakes is refused with pointers into it."""
    body = {"mapping": {**DRAFT, "unit": "furlong"}, "message": MESSAGE}
    answer = client.post(f"/api/tanks/{tank_id}/mappings/preview", json=body)
    assert answer.status_code == 422
    assert [e["pointer"] for e in answer.json()["errors"]] == ["/mapping/unit"]


def test_a_sensors_own_message_is_stored_once(client: TestClient, services: Services, tank_id: str) -> None:
    """The address in Location takes what the sensor sends; the same again is known."""
    made = _add(client, tank_id)
    assert made.status_code == 201
    there = made.headers["location"]
    first, again = client.post(there, json=MESSAGE), client.post(there, json=MESSAGE)
    assert (first.status_code, again.status_code) == (201, 200)
    other = client.post(there, json={**MESSAGE, "data": [{"dist": 60}]})
    assert (other.status_code, other.json()["conflict"]) == (207, 1)
    assert _stored(services, tank_id) == 1


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b'{"ts": 1}', 422),
        (b'{"data": [{"dist": NaN}]}', 422),
        (b'{"data": [{"dist": "\\ud800"}]}', 422),
        (b"not json", 400),
        (b"[" * 50_000, 400),
        (b'"' + b"x" * 70_000 + b'"', 413),
    ],
)
def test_what_cannot_be_read_is_refused(
    client: TestClient, services: Services, tank_id: str, body: bytes, status: int
) -> None:
    """A message without the level is answered with problem details, and nothing is stored."""
    there = _add(client, tank_id).headers["location"]
    answer = client.post(there, content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert _stored(services, tank_id) == 0


def test_a_topic_has_one_mapping(client: TestClient, tank_id: str) -> None:
    """The second mapping of a topic is refused; once the first is gone there is room again."""
    first = _add(client, tank_id, topic="oil/level")
    assert first.status_code == 201
    assert _add(client, tank_id, topic="oil/level").status_code == 409
    gone = client.delete(f"/api/tanks/{tank_id}/mappings/{first.json()['id']}")
    assert gone.status_code == 204
    assert _add(client, tank_id, topic="oil/level").status_code == 201


@pytest.mark.parametrize("topic", ["", "oil/+", "#", "$SYS/uptime", "a\u0000", "x" * 513, 7, "a\nb"])
def test_odd_topics_are_refused(client: TestClient, tank_id: str, topic: Any) -> None:
    """Wildcards, the broker's own topics, NUL and endless names are no topics of a sensor (C5)."""
    answer = _add(client, tank_id, topic=topic)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/topic"


def test_what_is_not_this_tanks_is_not_found(client: TestClient, tank_id: str) -> None:
    """Another tank's mapping, an unknown sensor and an unknown tank are alike not found (B18)."""
    other = client.post("/api/tanks", json={"tank": {**_PLAIN}}).json()["id"]
    mapping = _add(client, tank_id).json()["id"]
    assert client.delete(f"/api/tanks/{other}/mappings/{mapping}").status_code == 404
    assert client.post(f"/api/tanks/{other}/mappings/{mapping}/messages", json=MESSAGE).status_code == 404
    assert _add(client, tank_id, sensor="nobody").status_code == 404
    assert _add(client, "nobody").status_code == 404


_PLAIN = {"shape": "moulded", "product": "kerosene", "capacity_l": 1300, "height_mm": 1200}


def test_letters_are_shown_to_the_owner(client: TestClient, services: Services, tank_id: str) -> None:
    """What could not be read stands there with its reason; what was dropped is counted beside the topic."""
    _add(client, tank_id, topic="oil/level")
    with services.store.write() as session:
        mapping = list_mappings(session, load_tank(session, tank_id).id)[0]
        save_letters(
            session,
            [
                Letter("oil/level", b"<b>\xff", "not_json", "send JSON", NOW, mapping.id),
                Letter("elsewhere", b"1", "no_mapping", "make one", NOW),
            ],
        )
        count_dropped(session, "oil/level", "retained", at=NOW)
        count_dropped(session, "oil/level", "retained", at=NOW, count=2)
    letters = client.get(f"/api/tanks/{tank_id}/letters").json()["letters"]
    assert [(one["code"], one["text"]) for one in letters] == [("not_json", "<b>\N{REPLACEMENT CHARACTER}")]
    assert client.get(f"/api/tanks/{tank_id}/mappings").json()["mappings"][0]["dropped"] == {"retained": 3}


def test_only_the_newest_letters_are_kept(services: Services) -> None:
    """A sensor that sends nothing but nonsense fills no disk."""
    many = [Letter("t", json.dumps(i).encode(), "c", "m", NOW) for i in range(1_003)]
    with services.store.write() as session:
        save_letters(session, many)
        save_letters(session, many[:2])
        count = session.connection().exec_driver_sql("SELECT count(*) FROM letter").scalar()
    assert count == 1_000
