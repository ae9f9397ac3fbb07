"""The policy table and the served operations are the same list, in both directions."""

from collections.abc import Iterator

import pytest
from fastapi import FastAPI

from api.access.policy import POLICY, Grain
from api.app import create_app
from api.schemas.relation import Relation
from api.settings import Settings
from api.wiring import make_services
from tests.api.access.served import Operation, operations_of


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """The application on an empty database."""
    services = make_services(Settings(database=f"sqlite:///{tmp_path_factory.mktemp('policy') / 'p.db'}"))
    yield create_app(services)
    services.store.engine.dispose()


@pytest.fixture(scope="module")
def operations(app: FastAPI) -> dict[tuple[str, str], Operation]:
    """Everything the application serves."""
    return {(o.method, o.path): o for o in operations_of(app.routes)}


def test_every_operation_has_a_row_and_every_row_an_operation(
    operations: dict[tuple[str, str], Operation],
) -> None:
    """Neither can a new operation be forgotten in the policy, nor a row outlive its operation."""
    assert sorted(set(operations) - set(POLICY)) == []
    assert sorted(set(POLICY) - set(operations)) == []


def test_what_is_declared_beside_an_operation_is_what_the_policy_says(
    operations: dict[tuple[str, str], Operation],
) -> None:
    """The relations beside the code and those of the table are the same, so that neither changes alone."""
    differing = {
        key: (sorted(found.declared), sorted(POLICY[key].allowed))
        for key, found in operations.items()
        if key in POLICY and found.declared != set(POLICY[key].allowed)
    }
    assert differing == {}


def test_the_document_names_every_json_operation(
    app: FastAPI, operations: dict[tuple[str, str], Operation]
) -> None:
    """The description names exactly the operations that are served to programs; the rest is for people."""
    described = {(method.upper(), path) for path, item in app.openapi()["paths"].items() for method in item}
    for_programs = {key for key in operations if key[1].startswith(("/api/", "/health/"))}
    assert described == for_programs
    others = {key for key in operations if key not in for_programs and not POLICY[key].is_page}
    files = {("GET", "/openapi.json"), ("GET", "/static/{named}/{path:path}"), ("GET", "/calendar/{feed}")}
    assert others == files


def test_only_an_owner_sees_what_is_burned_as_it_came() -> None:
    """No row gives anybody but an owner a finer grain than a day, and no device or operator any at all."""
    for row in POLICY.values():
        for relation, grain in row.allowed.items():
            if relation is not Relation.OWNER:
                assert grain <= Grain.DAY, row
            if relation in (Relation.DEVICE, Relation.OPERATOR, Relation.ANYONE):
                assert grain is Grain.NONE, row


def test_what_concerns_a_tank_names_it_in_its_path() -> None:
    """A relation to a tank can be computed wherever it is asked for: the path names the tank, or is a feed's key."""
    of_tanks = {Relation.HOUSEHOLD, Relation.OWNER, Relation.INSTALLER, Relation.DISTRIBUTOR, Relation.DEVICE}
    for row in POLICY.values():
        if of_tanks & row.allowed.keys():
            assert "{tank}" in row.path, row
        if Relation.FEED in row.allowed:
            assert "{tank}" in row.path or "{feed" in row.path, row
