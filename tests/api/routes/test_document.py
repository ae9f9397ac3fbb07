"""The service keeps to its own description, whatever schemathesis makes of it."""

from datetime import UTC, datetime
from typing import Any

import pytest
import schemathesis
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given
from hypothesis import settings as how
from schemathesis import Case, GenerationMode
from schemathesis.specs.openapi.checks import negative_data_rejection, positive_data_acceptance

from api.access.policy import reach
from api.app import create_app
from api.schemas.told import KINDS
from api.settings import Settings
from api.wiring import make_services
from tests.api.conftest import LYING_CYLINDER, StandingClock

LATE = datetime(2099, 12, 31, 23, 59, tzinfo=UTC)
"""No time that the description allows lies ahead of it."""
TIME = "^20[0-9]{2}-(0[1-9]|1[0-2])-(0[1-9]|1[0-9]|2[0-8])T([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9]Z$"
"""A part of the allowed times that is quick to draw from."""
READINGS = "/api/tanks/{tank}/readings"
SENML = "/api/tanks/{tank}/senml"
MAPPINGS = "/api/tanks/{tank}/mappings"
MESSAGES = MAPPINGS + "/{mapping}/messages"
"""Takes whatever a sensor sends: no message is against its description."""
REACH = [(row.method, row.path) for row in reach.ROWS if row.path.startswith("/api/")]
"""Orders, reminders and what goes out."""
BODILESS = [
    (method, path)
    for method, path in REACH
    if method == "POST" and path.endswith(("/answer", "/secret", "/calendar"))
]
"""Take no message: none is against their description."""
OPERATIONS = [
    ("GET", "/health/live"),
    ("GET", "/health/ready"),
    ("POST", "/api/tanks"),
    ("POST", READINGS),
    ("POST", SENML),
    ("POST", f"{MAPPINGS}/preview"),
    ("POST", MAPPINGS),
    ("GET", MAPPINGS),
    ("DELETE", MAPPINGS + "/{mapping}"),
    ("POST", MESSAGES),
    ("GET", "/api/tanks/{tank}/letters"),
    ("GET", "/api/tanks/{tank}/sensors/{sensor}/last"),
    *(("POST", f"/api/tanks/{{tank}}/{kind}") for kind in KINDS),
    ("GET", "/api/tanks/{tank}/forecast"),
    ("GET", "/api/tanks/{tank}/why"),
    ("GET", "/api/tanks/{tank}/ordering"),
    ("PUT", "/api/tanks/{tank}/ordering"),
    *REACH,
]
# What no schema of single members can say: which tanks are possible, which sensors are there; that of a
# batch the good readings are taken and the bad ones named; what base values make of a record.
UNCHECKED: dict[str, list[Any]] = {
    "/api/tanks": [positive_data_acceptance],
    READINGS: [negative_data_rejection],
    SENML: [negative_data_rejection, positive_data_acceptance],
    **{f"/api/tanks/{{tank}}/{kind}": [positive_data_acceptance] for kind in KINDS},
    f"{MAPPINGS}/preview": [positive_data_acceptance],
    MAPPINGS: [positive_data_acceptance],
    "/api/tanks/{tank}/ordering": [positive_data_acceptance],  # a budget needs a price
    **{path: [positive_data_acceptance] for method, path in REACH if method == "POST"},
    MESSAGES: [negative_data_rejection, positive_data_acceptance],
}


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> tuple[Any, str]:
    """The service's description of its operations, and a tank."""
    url = f"sqlite:///{tmp_path_factory.mktemp('document') / 'dipcast.db'}"
    settings = Settings(database=url, requests_burst=10**6, hosts=("localhost", "testserver"))
    app = create_app(make_services(settings, clock=StandingClock(LATE)))
    client = TestClient(app)
    tank = client.post("/api/tanks", json={"tank": LYING_CYLINDER, "survey": {"place": "East Anglia"}})
    description = client.get("/openapi.json").json()
    body = description["paths"][READINGS]["post"]["requestBody"]["content"]["application/json"]["schema"]
    single, batch = body["anyOf"]
    for schema in (single, batch["properties"]["readings"]["items"]):
        schema["properties"]["at"] = {"type": "string", "pattern": TIME}
    loaded = schemathesis.openapi.from_dict(description)
    loaded.app = app
    return loaded, tank.json()["id"]


def test_every_operation_is_tried(service: tuple[Any, str]) -> None:
    """The operations tried are all that the description names."""
    described = {
        (method.upper(), path) for path, item in service[0].raw_schema["paths"].items() for method in item
    }
    assert described == set(OPERATIONS)


@pytest.mark.parametrize(
    ("method", "path", "mode"),
    [
        *((*operation, GenerationMode.POSITIVE) for operation in OPERATIONS),
        *(
            (*o, GenerationMode.NEGATIVE)
            for o in OPERATIONS
            if o[0] == "POST" and o[1] != MESSAGES and o not in BODILESS
        ),
    ],
)
def test_answers_are_as_described(
    service: tuple[Any, str], method: str, path: str, mode: GenerationMode
) -> None:
    """Every answer has a described status, content type and shape; good messages are taken, bad ones not."""
    schema, tank = service

    @how(
        max_examples=15,
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(case=schema[path][method].as_strategy(generation_mode=mode))
    def try_out(case: Case) -> None:
        if case.path_parameters:
            case.path_parameters["tank"] = tank
        case.call_and_validate(excluded_checks=UNCHECKED.get(path, []))

    try_out()
