"""Tanks come in by their file's keys; the catalogue of bad tanks, each named by its short id."""

import json
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.app import create_app
from api.schemas.tanks import SURVEY_NAMES, TANK_NAMES
from api.settings import Settings
from api.store import Store
from api.store.tanks import BEGINNING, TextKind, list_tanks, load_tank, load_tank_version, load_text
from api.usecases.toml_text import to_toml
from api.wiring import Services, make_services
from forecaster.tanks import parse_tank
from tests.api.conftest import LYING_CYLINDER, NOW, StandingClock


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[TestClient, Store]]:
    """One service for all refusals; nothing gets in."""
    url = f"sqlite:///{tmp_path_factory.mktemp('desk') / 'dipcast.db'}"
    made = make_services(Settings(database=url), clock=StandingClock())
    with TestClient(create_app(made), base_url="http://localhost", raise_server_exceptions=False) as client:
        yield client, made.store


def _with(**members: Any) -> dict[str, Any]:
    return {"tank": {**LYING_CYLINDER, **members}}


def _surveyed(**members: Any) -> dict[str, Any]:
    return {"tank": LYING_CYLINDER, "survey": members}


_TABLE = {"shape": "table", "product": "kerosene"}
BAD = [
    ("D1-zero", {"tank": {**_TABLE, "rows": [[0, 0], [1000, 0]]}}, "/tank/rows"),
    ("D1-capacity-zero", _with(capacity_l=0), "/tank/capacity_l"),
    ("D1-capacity-negative", _with(capacity_l=-1), "/tank/capacity_l"),
    ("D1-capacity-1e9", _with(capacity_l=1e9), "/tank/capacity_l"),
    ("D2-capacity-disagrees", _with(capacity_l=2500), "/tank/capacity_l"),
    ("D3-diameter-in-cm", _with(diameter_mm=120), "/tank/diameter_mm"),
    ("D4-not-rising", {"tank": {**_TABLE, "rows": [[0, 0], [500, 800], [400, 900]]}}, "/tank/rows"),
    ("D4-one-row", {"tank": {**_TABLE, "rows": [[0, 0]]}}, "/tank/rows"),
    ("D4-not-numbers", {"tank": {**_TABLE, "rows": [[0, "0"], [500, True]]}}, "/tank/rows"),
    ("D5-heel-above-capacity", _with(heel_l=3000), "/tank/heel_l"),
    ("D5-safe-fill-above-capacity", _with(safe_fill_l=3000), "/tank/safe_fill_l"),
    ("D5-safe-fill-fraction-above-1", _with(safe_fill_fraction=1.01), "/tank/safe_fill_fraction"),
    ("D6-sensor-below-top", _with(sensor_height_mm=600), "/tank/sensor_height_mm"),
    ("D7-shape-unknown", _with(shape="cigar"), "/tank/shape"),
    ("D7-other-without-table", {"tank": {"shape": "table", "product": "kerosene"}}, "/tank/rows"),
    ("D11-name-too-long", _with(name="x" * 10_000), "/tank/name"),
    ("D11-name-only-spaces", _with(name="   "), "/tank/name"),
    ("D11-name-nul", _with(name="a\0b"), "/tank/name"),
    ("D13-latitude-91", _surveyed(latitude=91, longitude=0), "/survey/latitude"),
    ("D13-longitude-minus-181", _surveyed(latitude=52, longitude=-181), "/survey/longitude"),
    ("A4-true", _with(diameter_mm=True), "/tank/diameter_mm"),
    ("A5-text", _with(diameter_mm="1200"), "/tank/diameter_mm"),
    ("A8-two-to-63", _with(diameter_mm=2**63), "/tank/diameter_mm"),
    ("A7-null", _with(diameter_mm=None), "/tank"),
    ("A13-unknown", _with(owner_id=7), "/tank"),
    ("A13-unknown-outside", {"tank": LYING_CYLINDER, "owner_id": 7}, ""),
    ("A7-no-tank", {}, "/tank"),
    ("A7-tank-a-list", {"tank": []}, "/tank"),
    ("A7-a-list", [], ""),
    ("B20-petrol", _with(product="petrol"), "/tank/product"),
    ("zone-unknown", _with(timezone="Europe/Nowhere"), "/tank/timezone"),
    ("zone-path", _with(timezone="../../etc/passwd"), "/tank/timezone"),
    ("survey-section", _surveyed(stove={"rated_kw": -1}), "/survey/stove/rated_kw"),
]


@pytest.mark.parametrize(("body", "pointer"), [pytest.param(b, p, id=i) for i, b, p in BAD])
def test_bad_tank_is_refused(desk: tuple[TestClient, Store], body: Any, pointer: str) -> None:
    """A bad tank or survey is answered 422 with a pointer to what is wrong, and nothing is stored."""
    client, store = desk
    answer = client.post("/api/tanks", json=body)
    assert answer.status_code == 422, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert pointer in [e["pointer"] for e in answer.json()["errors"]], answer.text
    with store.read() as session:
        assert list_tanks(session) == ()


def test_a_long_strapping_table_is_too_large_D4(desk: tuple[TestClient, Store]) -> None:  # noqa: N802
    """D4: a table of a million rows is refused before it is read."""
    body = _TABLE | {"rows": [[i, i] for i in range(100_000)]}
    assert desk[0].post("/api/tanks", json={"tank": body}).status_code == 413


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", "=cmd()", "🛢 Öl-Tank", "'; DROP TABLE tank"])
def test_odd_names_are_stored_as_text_I1(client: TestClient, services: Services, name: str) -> None:  # noqa: N802
    """I1, D11, D12: a name is kept as it was given, on both databases."""
    answer = client.post("/api/tanks", json=_with(name=name))
    assert answer.status_code == 201, answer.text
    assert answer.json()["name"] == name
    with services.store.read() as session:
        assert load_tank(session, answer.json()["id"]).name == name


def test_a_tank_is_answered_as_understood(client: TestClient, services: Services) -> None:
    """A registered tank is answered with its litres, zone and sensors, and kept as tank.toml."""
    body = {"tank": LYING_CYLINDER, "survey": {"timezone": "Europe/Dublin", "stove": {"rated_kw": 5}}}
    answer = client.post("/api/tanks", json=body)
    assert answer.status_code == 201
    told = answer.json()
    assert answer.headers["location"] == f"/api/tanks/{told['id']}/forecast"
    tank = parse_tank(to_toml(LYING_CYLINDER))
    assert (told["capacity_l"], told["zone"]) == (round(tank.capacity_l, 1), "Europe/Dublin")
    assert [s["kind"] for s in told["sensors"]] == ["level_sensor", "dip_stick", "gauge"]
    ids = [told["id"], *(s["id"] for s in told["sensors"])]
    assert len(set(ids)) == 4
    assert all(len(i) >= 22 for i in ids)  # 22 letters of 64 are 132 bits
    with services.store.read() as session:
        stored = load_tank(session, told["id"])
        assert parse_tank(load_tank_version(session, stored.id, as_of=BEGINNING).toml) == tank
        survey = load_text(session, stored.id, TextKind.SURVEY, as_of=NOW)
    assert survey == 'timezone = "Europe/Dublin"\nstove = {rated_kw = 5}\n'


def test_a_confirmed_tank_is_stored_D2_D6(desk: tuple[TestClient, Store]) -> None:  # noqa: N802
    """D2, D6: what does not agree is stored once its owner has confirmed it."""
    body = _with(capacity_l=2500, sensor_height_mm=600, confirmed=["capacity_l", "sensor_height_mm"])
    assert desk[0].post("/api/tanks", json=body).status_code == 201


_names = st.sampled_from(sorted(TANK_NAMES | SURVEY_NAMES)) | st.just("CANARY9f3")
_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=6) | st.just("CANARY9f3"),
    lambda v: st.lists(v, max_size=3) | st.dictionaries(_names, v, max_size=3),
    max_leaves=5,
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow], database=None)
@given(tank=st.dictionaries(_names, _values, max_size=4), survey=st.dictionaries(_names, _values, max_size=4))
def test_no_tank_is_echoed_or_fails(
    desk: tuple[TestClient, Store], tank: dict[str, Any], survey: dict[str, Any]
) -> None:
    """Whatever is sent for a tank, the answer is no failure and holds nothing of a text sent."""
    body = {"tank": {**LYING_CYLINDER, **tank, "diameter_mm": 1}, "survey": survey}
    answer = desk[0].post(
        "/api/tanks", content=json.dumps(body), headers={"Content-Type": "application/json"}
    )
    assert answer.status_code in (400, 422), answer.text
    assert "CANARY9f3" not in answer.text


@settings(max_examples=200, deadline=None, database=None)
@given(
    table=st.dictionaries(
        st.text(st.characters(codec="utf-8"), max_size=5),
        st.recursive(
            st.booleans()
            | st.integers(-(2**63), 2**63 - 1)
            | st.floats(allow_nan=False, allow_infinity=False)
            | st.text(st.characters(codec="utf-8"), max_size=8),
            lambda v: (
                st.lists(v, max_size=3)
                | st.dictionaries(st.text(st.characters(codec="utf-8"), max_size=4), v, max_size=3)
            ),
            max_leaves=6,
        ),
        max_size=4,
    )
)
def test_toml_says_what_the_json_said(table: dict[str, Any]) -> None:
    """The TOML written from an object reads back, by Python's own reader, as that object."""
    assert tomllib.loads(to_toml(table)) == table
