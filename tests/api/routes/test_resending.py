"""A sensor learns until when we have its readings; a key of one sensor speaks for that one alone."""

import json
from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.settings import Mode, Settings
from api.store.accounts.keys import KeyKind, save_key
from api.store.mappings import save_mapping
from api.store.tanks import Sensor, SensorKind, StoredTank
from api.usecases.register_tank import register_tank
from api.wiring import make_services
from tests.api.conftest import NOW, StandingClock

TANK = (
    'shape = "moulded"\nproduct = "kerosene"\ncapacity_l = 1300\nheight_mm = 1200\nsensor_height_mm = 1250\n'
)
DRAFT = {"level": "/d", "quantity": "ullage", "unit": "mm"}


class Desk:
    """A server with accounts, a tank of it, and a key bound to the tank's level sensor."""

    def __init__(self, url: str) -> None:
        settings = Settings(database=url, mode=Mode.SERVER, public_url="http://localhost")
        self.services = make_services(settings, clock=StandingClock())
        self.client = TestClient(create_app(self.services), base_url="http://localhost")
        with self.services.store.write() as session:
            self.tank: StoredTank = register_tank(session, self.services.clock, tank_toml=TANK)
            self.level = self.sensor(SensorKind.LEVEL_SENSOR)
            key = save_key(
                session,
                kind=KeyKind.DEVICE,
                tank_id=self.tank.id,
                sensor_id=self.level.id,
                label="s",
                created_at=NOW,
            )
        self.headers = {"Authorization": f"Bearer {key}"}

    def sensor(self, kind: SensorKind) -> Sensor:
        return next(s for s in self.tank.sensors if s.kind is kind)

    def ask(self, method: str, path: str, body: Any = None, kind: str = "application/json") -> Any:
        content = None if body is None else json.dumps(body)
        headers = {**self.headers, "Content-Type": kind} if body is not None else self.headers
        there = f"/api/tanks/{self.tank.public_id}/{path}"
        return self.client.request(method, there, content=content, headers=headers)


@pytest.fixture
def desk(database_url: str) -> Desk:
    """A server with a key of one sensor, on each of the two databases."""
    return Desk(database_url)


def test_a_sensor_learns_until_when_we_have_its_readings(desk: Desk) -> None:
    """Nothing at first, then the newest time as the sensor itself told it, and no value."""
    last = f"sensors/{desk.level.public_id}/last"
    assert desk.ask("GET", last).json() == {"at": None}
    ahead = NOW + timedelta(hours=2)
    for at in (NOW - timedelta(hours=3), ahead):
        assert desk.ask("POST", "readings", {"at": at.isoformat(), "ullage_mm": 600}).status_code == 201
    assert desk.ask("GET", last).json() == {"at": "2026-01-10T14:00:00Z"}


def test_a_key_of_one_sensor_speaks_for_that_one_alone(desk: Desk) -> None:
    """Of another sensor it learns nothing, and by another sensor's mapping it brings nothing (C1, B18)."""
    stick = desk.sensor(SensorKind.DIP_STICK)
    assert desk.ask("GET", f"sensors/{stick.public_id}/last").status_code == 404
    assert desk.ask("GET", "sensors/nobody/last").status_code == 404
    with desk.services.store.write() as session:
        ids = [
            save_mapping(
                session, sensor_id=one.id, topic=None, body=json.dumps(DRAFT), created_at=NOW
            ).public_id
            for one in (desk.level, stick)
        ]
    own, other = (desk.ask("POST", f"mappings/{one}/messages", {"d": 600}) for one in ids)
    assert (own.status_code, other.status_code) == (201, 404)


def test_a_key_of_one_sensor_brings_its_own_packs(desk: Desk) -> None:
    """A pack's levels are that sensor's, whatever its records are called."""
    pack = [{"n": "ullage", "u": "m", "v": 0.6, "t": NOW.timestamp() - 60}]
    assert desk.ask("POST", "senml", pack, "application/senml+json").status_code == 201
    last = desk.ask("GET", f"sensors/{desk.level.public_id}/last").json()
    assert last == {"at": "2026-01-10T11:59:00Z"}
