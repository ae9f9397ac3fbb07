"""A tank's forecast by HTTP: of now, kept while nothing changes, and silent when it must be."""

from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.schemas.forecasts import ForecastOut
from api.store.tanks import load_tank
from api.usecases import refresh_forecast as module
from api.usecases.register_tank import redescribe_tank
from api.wiring import Services
from forecaster.confidence import Forecast
from tests.api.conftest import LYING_CYLINDER, NOW, StandingClock


def _send_history(client: TestClient, tank: str, *, days: int = 60, start_mm: float = 700.0) -> None:
    readings = [
        {
            "at": (NOW - timedelta(days=days - d, hours=6)).isoformat(),
            "ullage_mm": round(start_mm + 3.0 * d, -1),
        }
        for d in range(days)
    ]
    assert client.post(f"/api/tanks/{tank}/readings", json={"readings": readings}).status_code == 201


def _forecast(client: TestClient, tank: str) -> dict[str, Any]:
    answer = client.get(f"/api/tanks/{tank}/forecast")
    assert answer.status_code == 200, answer.text
    assert ForecastOut.model_validate_json(answer.content)
    body: dict[str, Any] = answer.json()
    return body


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """The inputs that the engine was handed, as they come."""
    seen: list[Any] = []
    engine = module.decide

    def decide(inputs: Any) -> Forecast:
        seen.append(inputs)
        return engine(inputs)

    monkeypatch.setattr(module, "decide", decide)
    return seen


def test_readings_become_a_told_forecast(client: TestClient, tank_id: str) -> None:
    """Two months of readings give litres, dates and an order, as of now."""
    _send_history(client, tank_id)
    told = _forecast(client, tank_id)
    assert told["as_of"] == "2026-01-10T12:00:00Z"
    assert told["state"] in ("OK", "WIDE")
    assert told["litres"]["p10"] <= told["litres"]["p50"] <= told["litres"]["p90"]
    assert told["daily"][0]["date"] == "2026-01-10"
    assert told["order"]["note"]


def test_a_tank_never_read_is_blind(client: TestClient, tank_id: str) -> None:
    """Without any level no number leaves."""
    told = _forecast(client, tank_id)
    assert told["state"] == "BLIND"
    assert [told[name] for name in ("litres", "run_dry", "order")] == [None, None, None]
    assert told["daily"] == []


def test_kept_while_nothing_changes(
    client: TestClient, clock: StandingClock, tank_id: str, calls: list[Any]
) -> None:
    """A forecast is made once, made anew after a reading, and made anew after ten minutes."""
    _send_history(client, tank_id)
    first = _forecast(client, tank_id)
    assert _forecast(client, tank_id) == first
    assert len(calls) == 1
    reading = {"at": "2026-01-10T11:00:00Z", "ullage_mm": 880}
    assert client.post(f"/api/tanks/{tank_id}/readings", json=reading).status_code == 201
    assert client.post(f"/api/tanks/{tank_id}/readings", json=reading).status_code == 200
    _forecast(client, tank_id)
    _forecast(client, tank_id)
    assert len(calls) == 2
    assert len(calls[1].readings) == 61
    clock.move(minutes=10)
    assert _forecast(client, tank_id)["as_of"] == "2026-01-10T12:10:00Z"
    assert len(calls) == 3


def test_history_sent_late_does_not_move_the_forecast_back_B7(  # noqa: N802
    client: TestClient, tank_id: str, calls: list[Any]
) -> None:
    """B7: a reading 400 days older than the newest is history; the forecast stays as of now."""
    _send_history(client, tank_id)
    old = {"at": (NOW - timedelta(days=400)).isoformat(), "ullage_mm": 400}
    assert client.post(f"/api/tanks/{tank_id}/readings", json=old).status_code == 201
    assert _forecast(client, tank_id)["as_of"] == "2026-01-10T12:00:00Z"
    assert calls[0].readings.at[0].astype(str) == "2024-12-06T12:00:00"


def test_order_of_arrival_does_not_matter(client: TestClient, tank_id: str) -> None:
    """The same readings in another order and in other batches give the same forecast, byte for byte."""
    other = client.post("/api/tanks", json={"tank": LYING_CYLINDER, "survey": {"place": "East Anglia"}})
    other_id = other.json()["id"]
    readings = [
        {"at": (NOW - timedelta(days=40 - d)).isoformat(), "ullage_mm": 700.0 + 3.0 * d} for d in range(40)
    ]
    client.post(f"/api/tanks/{tank_id}/readings", json={"readings": readings})
    for part in (readings[25:], readings[:5], readings[3:30][::-1]):
        client.post(f"/api/tanks/{other_id}/readings", json={"readings": part})
    assert (
        client.get(f"/api/tanks/{tank_id}/forecast").content
        == client.get(f"/api/tanks/{other_id}/forecast").content
    )


def test_the_appointment_goes_along(
    client: TestClient, clock: StandingClock, tank_id: str, calls: list[Any]
) -> None:
    """The date promised by a told forecast is handed to the next, which keeps it when it is withheld."""
    _send_history(client, tank_id, start_mm=850.0)
    told = _forecast(client, tank_id)
    assert told["appointment"] is not None
    clock.move(days=60)
    later = _forecast(client, tank_id)
    assert calls[1].appointment is not None
    assert calls[1].appointment.order_by.isoformat() == told["appointment"]["order_by"]
    assert later["state"] != "OK"
    assert later["litres"] is None
    assert later["appointment"] is None  # kept, and told in words only
    clock.move(days=1)
    _forecast(client, tank_id)
    assert calls[2].appointment is not None
    assert calls[2].appointment.order_by.isoformat() <= told["appointment"]["order_by"]


def test_a_tank_without_place_is_not_enough_known(client: TestClient) -> None:
    """Without a place or a record of weather there is a plain answer, not a failure."""
    tank = client.post("/api/tanks", json={"tank": LYING_CYLINDER}).json()["id"]
    _send_history(client, tank, days=20)
    answer = client.get(f"/api/tanks/{tank}/forecast")
    assert answer.status_code == 409
    assert answer.json()["code"] == "not_enough_known"


def test_readings_under_an_older_description_are_left_out_D9(  # noqa: N802
    client: TestClient, services: Services, tank_id: str, calls: list[Any]
) -> None:
    """D9: after a tank was described anew, only readings from then on are looked at."""
    _send_history(client, tank_id)
    with services.store.write() as session:
        redescribe_tank(
            session,
            services.clock,
            load_tank(session, tank_id),
            tank_toml='shape = "vertical_cylinder"\nproduct = "kerosene"\ndiameter_mm = 1200\n'
            "height_mm = 1300\nsensor_height_mm = 1350\n",
            valid_from=NOW - timedelta(days=30),
        )
    _forecast(client, tank_id)
    assert len(calls[0].readings) == 29
    assert calls[0].tank.capacity_l == pytest.approx(1470.3, abs=0.1)
