"""The walk: every operation, in every relation, towards the own world and towards a foreign one.

What is expected is read from the policy table alone; what happens comes from real requests.
"""

import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.access.policy import POLICY
from api.access.policy.rows import Row
from api.app import create_app
from api.schemas.relation import Relation
from api.settings import Settings
from api.store.accounts.belongings import rows_of
from api.store.tanks import list_tanks
from api.wiring import Services, make_services
from tests.api.access.worlds import NOBODY, Somebody, World, make_world
from tests.api.conftest import NOW, StandingClock

OF_AN_OBJECT = re.compile(r"\{(\w+)")
NOT_OURS = {"named", "path", "step"}
"""Parts of an address that are nobody's: packaged files, pages of the set-up."""
NEEDS_MORE = {("GET", "/phones"), ("POST", "/phones/code"), ("POST", "/phones/{session}/end")}
"""Pages of another mode of the service: not found by anybody here; they have tests of their own."""
OTHER_MODES = NEEDS_MORE | {("GET", "/pair"), ("POST", "/pair"), ("GET", "/sign-up"), ("POST", "/sign-up")}


@dataclass
class Town:
    """Both worlds, served; and a way to put everything back as it was."""

    client: TestClient
    services: Services
    worlds: dict[str, World]
    put_back: Callable[[], None]

    def ask(self, who: Somebody, method: str, path: str, **more: Any) -> Any:
        """Make one request; no cookie of an earlier answer is kept."""
        self.client.cookies.clear()
        headers = {**who.headers, **more.pop("headers", {})}
        return self.client.request(method, path, headers=headers, follow_redirects=False, **more)


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Town]:
    """Two worlds on one service with accounts."""
    folder = tmp_path_factory.mktemp("town")
    file, kept = folder / "town.db", folder / "kept.db"
    settings = Settings(database=f"sqlite:///{file}", mode="server", requests_burst=10**6)
    services = make_services(settings, clock=StandingClock())
    worlds = {name: make_world(services.store, name, NOW) for name in ("a", "b")}
    services.store.engine.dispose()
    shutil.copy(file, kept)

    def put_back() -> None:
        services.store.engine.dispose()
        for left in folder.glob("town.db*"):
            left.unlink()
        shutil.copy(kept, file)

    with TestClient(
        create_app(services),
        base_url="http://localhost",
        client=("198.51.100.7", 4711),
        raise_server_exceptions=False,
    ) as client:
        yield Town(client, services, worlds, put_back)


FEEDS = [row for row in POLICY.values() if "{feed}" in row.path]
"""Opened by the address itself, whoever asks: walked by a test of their own."""
ROWS = pytest.mark.parametrize(
    "row", [row for row in POLICY.values() if row not in FEEDS], ids=lambda row: f"{row.method} {row.path}"
)


def path_in(row: Row, world: World) -> str:
    """Name a world's objects in an operation's path."""
    return re.sub(r"\{(\w+)(:path)?\}", lambda found: world.samples.get(found[1], f"no-{found[1]}"), row.path)


def is_opened(row: Row, who: Somebody) -> bool:
    """Read from the table whether somebody's relations open an operation; a hub is for reading only."""
    held = who.relations if who.name != "hub" or row.method == "GET" else NOBODY.relations
    return bool(held & row.allowed.keys())


def everybody(world: World) -> list[Somebody]:
    """All who may ask, whoever is let in last, since what they do changes the world."""
    return [NOBODY, *world.people.values()]


def one_of_each(world: World) -> list[Somebody]:
    """One of all who hold the same relations; of the machines each."""
    kinds = {(who.relations, who.key is None): who for who in reversed(everybody(world))}
    return list(kinds.values())[::-1]


@ROWS
def test_no_relation_opens_nothing(town: Town, row: Row) -> None:
    """Whoever has no relation that the table names gets 404, or 401 where nobody knows them; both without a canary."""
    town.put_back()
    own, foreign = town.worlds["a"], town.worlds["b"]
    for who in everybody(own) if "{tank}" in row.path else one_of_each(own):
        if is_opened(row, who):
            continue
        path = path_in(row, own)
        if Relation.FEED in row.allowed:
            path += "x"  # the key in the path is the relation itself: whoever shows another has none
        answer = town.ask(who, row.method, path)
        expected = 401 if who.name in ("nobody", "revoked") else 404
        assert answer.status_code == expected, (who.name, answer.text[:300])
        assert_silent(answer, [*own.secrets(), *foreign.secrets()])


@ROWS
def test_a_foreign_object_is_as_if_it_were_not_there(town: Town, row: Row) -> None:
    """What opens one's own object opens no other's: status, body and headers are those of an object that never was."""
    parts = set(OF_AN_OBJECT.findall(row.path)) - NOT_OURS
    if Relation.FEED in row.allowed:
        assert parts == {"feed"}  # whoever holds the key of a feed is let in, whoever they are
        return
    if not parts or Relation.ANYONE in row.allowed:
        assert not parts & {"tank", "key", "tie", "session"}
        return
    town.put_back()
    own, foreign = town.worlds["a"], town.worlds["b"]
    for who in everybody(own):
        if who is not NOBODY and not is_opened(row, who):
            continue  # tried above, towards their own world
        answer = town.ask(who, row.method, path_in(row, foreign))
        never = re.sub(r"\{(\w+)\}", "AAAAAAAAAAAAAAAAAAAAAAAAAAA", row.path)
        nothing = town.ask(who, row.method, never)
        if row.path.startswith("/invitation/"):
            continue  # whoever holds its address may take it up: it is meant for anybody
        assert answer.status_code in (401, 404), (who.name, answer.text[:300])
        assert (answer.status_code, answer.content) == (nothing.status_code, nothing.content), who.name
        assert_same_headers(answer, nothing)
        assert_silent(answer, foreign.secrets())


@ROWS
def test_a_relation_opens_what_the_table_says(town: Town, row: Row) -> None:
    """Whoever has a relation that the table names is let in, and sees nothing of the other world."""
    if (row.method, row.path) in OTHER_MODES:
        return
    town.put_back()
    own, foreign = town.worlds["a"], town.worlds["b"]
    has_all = set(OF_AN_OBJECT.findall(row.path)) <= own.samples.keys() | NOT_OURS
    for who in one_of_each(own):
        if not is_opened(row, who):
            continue
        answer = town.ask(who, row.method, path_in(row, own))
        assert answer.status_code < 500, (who.name, answer.text[:300])
        if has_all and "{named}" not in row.path and not is_of_another(row, who):
            assert answer.status_code not in (401, 403, 404), (
                who.name,
                answer.status_code,
                answer.text[:300],
            )
        assert_silent(answer, foreign.secrets())


def is_of_another(row: Row, who: Somebody) -> bool:
    """Whether the sample in a path is somebody else's: the sampled session is the owner's."""
    return ("{session}" in row.path and who.name != "owner") or "{token}" in row.path


@ROWS
def test_parts_of_two_worlds_do_not_mix(town: Town, row: Row) -> None:
    """One's own tank with another tank's part (key, share, order) is not found either."""
    parts = set(OF_AN_OBJECT.findall(row.path)) - {"what", "step"}
    if "tank" not in parts or len(parts) < 2:
        assert "tank" not in parts or parts == {"tank"}
        return
    town.put_back()
    own, foreign = town.worlds["a"], town.worlds["b"]
    before = everything_of(town, foreign)
    mixed = World("mixed", samples={**foreign.samples, "tank": own.tank})
    for body in ({}, {"json": {}}, {"data": {"sure": "yes"}}, {"json": {"state": "cancelled", "version": 1}}):
        answer = town.ask(own.people["owner"], row.method, path_in(row, mixed), **body)
        assert answer.status_code in (404, 415, 422), (answer.status_code, answer.text[:300])
        assert_silent(answer, foreign.secrets())
    assert everything_of(town, foreign) == before


def everything_of(town: Town, world: World) -> list[Any]:
    """Read all that is kept of a world's tank."""
    with town.services.store.read() as session:
        return list(rows_of(session, "tank", world.tank_id))


def assert_silent(answer: Any, secrets: list[str]) -> None:
    """Hold that an answer has none of these in its body or its headers."""
    said = answer.text + repr(answer.headers)
    assert [secret for secret in secrets if secret in said] == []


def assert_same_headers(answer: Any, other: Any) -> None:
    """Hold that two answers have the same headers, apart from a length that follows from equal bodies."""
    assert dict(answer.headers) == dict(other.headers)


def test_the_list_has_what_is_ones_own_and_nothing_else(town: Town) -> None:
    """The list of tanks of each one is exactly the tanks of whose household they are."""
    town.put_back()
    for own, foreign in (("a", "b"), ("b", "a")):
        for who in town.worlds[own].people.values():
            if Relation.SELF not in who.relations:
                continue
            text = town.ask(who, "GET", "/").text
            is_household = Relation.HOUSEHOLD in who.relations
            assert (town.worlds[own].tank in text) == is_household, who.name
            assert_silent(town.ask(who, "GET", "/"), town.worlds[foreign].secrets())


def test_a_foreign_sensor_named_in_the_body_takes_no_reading(town: Town) -> None:
    """An id in the body is looked up under the tank of the path: readings for another's sensor are not found."""
    town.put_back()
    own, foreign = town.worlds["a"], town.worlds["b"]
    reading = {"at": "2026-01-10T06:30:00Z", "ullage_mm": 640}
    for who in ("owner", "device"):
        for body in (
            {**reading, "sensor": foreign.sensor},
            {"sensor": foreign.sensor, "readings": [reading]},
        ):
            answer = town.ask(own.people[who], "POST", f"/api/tanks/{own.tank}/readings", json=body)
            assert answer.status_code == 404, answer.text
    for body in ({**reading, "tank": foreign.tank}, {"tank": foreign.tank, "readings": [reading]}):
        assert (
            town.ask(own.people["owner"], "POST", f"/api/tanks/{own.tank}/readings", json=body).status_code
            == 422
        )


def test_a_device_brings_readings_to_its_own_tank_only(town: Town) -> None:
    """The key of a device stores a reading of its tank, and finds no other tank."""
    town.put_back()
    own, foreign = town.worlds["a"], town.worlds["b"]
    reading = {"at": "2026-01-10T06:30:00Z", "ullage_mm": 640}
    device = own.people["device"]
    assert town.ask(device, "POST", f"/api/tanks/{own.tank}/readings", json=reading).status_code == 201
    assert town.ask(device, "POST", f"/api/tanks/{foreign.tank}/readings", json=reading).status_code == 404


def test_two_callers_after_each_other_get_each_their_own(town: Town) -> None:
    """What the owner was just given is not given to the next who asks for the same object."""
    town.put_back()
    own, foreign = town.worlds["a"], town.worlds["b"]
    for path in (f"/tanks/{own.tank}", f"/api/tanks/{own.tank}/forecast"):
        first = town.ask(own.people["owner"], "GET", path)
        assert first.status_code == 200
        assert first.headers["cache-control"] == "no-store"
        for other in (foreign.people["owner"], own.people["stranger"], own.people["former"], NOBODY):
            assert town.ask(other, "GET", path).status_code in (401, 404)


def test_a_feed_is_opened_by_its_key_alone(town: Town) -> None:
    """A calendar's address opens its own tank's calendar to whoever has it, no other address does, and nothing else."""
    town.put_back()
    own, foreign = town.worlds["a"], town.worlds["b"]
    assert {relation for row in FEEDS for relation in row.allowed} <= {Relation.FEED}
    for row in FEEDS:
        for who in (NOBODY, foreign.people["owner"]):
            given = town.ask(who, row.method, path_in(row, own))
            assert given.status_code == 200, given.text
            assert_silent(given, foreign.secrets())
        for wrong in ("no-such-feed", own.tank, own.people["device"].key):
            answer = town.ask(own.people["owner"], row.method, row.path.replace("{feed}", wrong or ""))
            assert answer.status_code == 404
            assert_silent(answer, own.secrets())
    shown = {"Authorization": f"Bearer {own.samples['feed']}"}
    assert town.ask(NOBODY, "GET", f"/api/tanks/{own.tank}/forecast", headers=shown).status_code == 401


def test_whoever_enters_a_tank_owns_it_alone(town: Town) -> None:
    """A tank entered by an account is that account's; the field that would say otherwise is refused."""
    town.put_back()
    own, foreign = town.worlds["a"], town.worlds["b"]
    tank = {"shape": "horizontal_cylinder", "product": "kerosene", "diameter_mm": 1200, "length_mm": 1800}
    refused = town.ask(own.people["stranger"], "POST", "/api/tanks", json={"tank": tank, "owner": "b"})
    assert refused.status_code == 422
    made = town.ask(own.people["stranger"], "POST", "/api/tanks", json={"tank": tank})
    assert made.status_code == 201
    path = f"/tanks/{made.json()['id']}/keys"
    assert town.ask(own.people["stranger"], "GET", path).status_code == 200
    assert town.ask(foreign.people["owner"], "GET", path).status_code == 404
    assert town.ask(own.people["operator"], "GET", path).status_code == 404
    with town.services.store.read() as session:
        assert len(list_tanks(session)) == 3


@pytest.mark.parametrize("method", ["HEAD", "OPTIONS", "TRACE", "PUT", "PATCH", "DELETE", "SECRET"])
def test_no_other_method_opens_more(town: Town, method: str) -> None:
    """Another method, or one that claims to be another, shows a stranger no more than the plain one."""
    town.put_back()
    own, stranger = town.worlds["a"], town.worlds["b"].people["owner"]
    for path in (f"/tanks/{own.tank}", f"/api/tanks/{own.tank}/forecast"):
        for more in ({}, {"X-HTTP-Method-Override": "GET"}, {"X-Original-URL": "/"}):
            answer = town.ask(stranger, method, path, headers=more)
            assert answer.status_code in (404, 405)
            assert_silent(answer, own.secrets())


@pytest.mark.parametrize("shape", ["/{}/", "//{}", "/%2e/{}", "/{}%00", "/{}?x=1", "/x/../{}", "/{}/."])
def test_no_other_spelling_of_a_path_opens_more(town: Town, shape: str) -> None:
    """Slashes, dots and escapes lead a stranger nowhere that the plain path does not."""
    town.put_back()
    own, stranger = town.worlds["a"], town.worlds["b"].people["owner"]
    for path in (f"tanks/{own.tank}", f"api/tanks/{own.tank}/forecast", f"TANKS/{own.tank}"):
        answer = town.ask(stranger, "GET", shape.format(path))
        assert answer.status_code in (404, 422)
        assert_silent(answer, own.secrets())


def test_what_was_revoked_is_out_at_the_next_request(town: Town) -> None:
    """A revoked key, an ended share, a closed session and a shut account open nothing any more."""
    town.put_back()
    own = town.worlds["a"]
    owner, member, hub = own.people["owner"], own.people["member"], own.people["hub"]
    read = f"/api/tanks/{own.tank}/forecast"
    assert [town.ask(who, "GET", read).status_code for who in (member, hub)] == [200, 200]
    ended = town.ask(owner, "POST", f"/tanks/{own.tank}/sharing/{own.samples['member_tie']}/end")
    revoked = town.ask(owner, "POST", f"/tanks/{own.tank}/keys/{own.samples['key']}/revoke")
    assert [ended.status_code, revoked.status_code] == [303, 303]
    assert [town.ask(who, "GET", read).status_code for who in (member, hub)] == [404, 401]
    assert town.ask(owner, "POST", "/sign-out").status_code == 303
    assert town.ask(owner, "GET", read).status_code == 401


@pytest.mark.parametrize(
    "shown",
    [
        "Bearer",
        "Bearer ",
        "Bearer dc_x_y",
        "Basic ZGM6eA==",
        "Bearer dc__",
        "Token x",
        "Bearer \xe9",
        "dc_a_b",
    ],
)
def test_what_is_no_key_is_nobody(town: Town, shown: str) -> None:
    """A header that is no key of ours opens nothing, not even beside a good cookie."""
    own = town.worlds["a"]
    headers = {"Authorization": shown.encode("latin-1")}
    answer = town.ask(own.people["owner"], "GET", f"/api/tanks/{own.tank}/forecast", headers=headers)
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"] == "Bearer"


def test_a_key_or_cookie_in_the_query_opens_nothing(town: Town) -> None:
    """Tokens count in their header only, so that they end in no log and no history."""
    own = town.worlds["a"]
    device, owner = own.people["device"], own.people["owner"]
    for query in (f"key={device.key}", f"access_token={device.key}", f"dipcast={owner.cookie}"):
        answer = town.ask(NOBODY, "GET", f"/api/tanks/{own.tank}/forecast?{query}")
        assert answer.status_code == 401


def test_the_file_of_the_town_is_its_own(town: Town, tmp_path: Path) -> None:
    """Putting the worlds back really undoes what a request did."""
    own = town.worlds["a"]
    town.put_back()
    town.ask(own.people["member"], "POST", f"/tanks/{own.tank}/leave")
    assert town.ask(own.people["member"], "GET", f"/tanks/{own.tank}").status_code == 404
    town.put_back()
    assert town.ask(own.people["member"], "GET", f"/tanks/{own.tank}").status_code == 200


def test_what_is_typed_while_setting_up_is_seen_by_its_own_account_alone(town: Town) -> None:
    """A draft is shown to whoever typed it and to nobody else, and another site's page cannot write into it."""
    town.put_back()
    own, other = town.worlds["a"].people["stranger"], town.worlds["b"].people["owner"]
    typed = {"built": "1937"}
    assert town.ask(own, "POST", "/set-up/house", data=typed).status_code == 303
    assert 'value="1937"' in town.ask(own, "GET", "/set-up/house").text
    assert "1937" not in town.ask(other, "GET", "/set-up/house").text
    foreign = {"Sec-Fetch-Site": "cross-site"}
    changed = {"built": "1950"}
    assert town.ask(own, "POST", "/set-up/house", data=changed, headers=foreign).status_code == 403
    assert 'value="1937"' in town.ask(own, "GET", "/set-up/house").text
    made = town.ask(own, "POST", "/set-up/now", data={"skip": "yes"})
    tank = made.headers["location"].split("/")[2]
    assert town.ask(own, "GET", f"/tanks/{tank}/set-up").status_code == 200
    assert town.ask(other, "GET", f"/tanks/{tank}/set-up").status_code == 404
