"""Sharing, ending, leaving and time, in any order: what each one may do is what a small model says."""

import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.settings import Settings
from api.store.accounts.grants import (
    LastOwnerError,
    accept_supply,
    add_to_household,
    end_tie,
    find_relations,
    leave_tank,
    link_supply,
    list_ties,
    open_job,
)
from api.store.accounts.people import save_account
from api.store.accounts.sessions import open_session
from api.store.tanks import save_tank
from api.wiring import Services, make_services
from tests.api.conftest import NOW, StandingClock

PEOPLE, TANKS = range(4), range(2)
STEPS = 200
LONG_STEPS = 5_000


@dataclass
class Model:
    """Who is what to which tank, as plainly as it can be written down."""

    household: dict[tuple[int, int], str] = field(default_factory=dict)
    jobs: dict[tuple[int, int], datetime] = field(default_factory=dict)
    links: dict[tuple[int, int], bool] = field(default_factory=dict)

    def owners(self, tank: int) -> list[int]:
        """Name the owners of a tank."""
        return [p for (p, t), kind in self.household.items() if t == tank and kind == "owner"]

    def relations(self, person: int, tank: int, now: datetime) -> set[str]:
        """Tell what somebody is to a tank."""
        at = (person, tank)
        found = {self.household[at]} if at in self.household else set()
        found |= {"installer"} if self.jobs.get(at, now) > now else set()
        return found | ({"distributor"} if self.links.get(at) else set())


class Street:
    """Some people and tanks in a real service, and the model beside it."""

    def __init__(self, services: Services, clock: StandingClock) -> None:
        self.services, self.clock, self.model = services, clock, Model()
        with services.store.write() as session:
            self.people = [
                save_account(session, email=f"p{i}@example.org", password_hash="-", created_at=NOW)
                for i in PEOPLE
            ]
            self.tanks = [
                save_tank(session, name=f"t{i}", zone="UTC", toml="", created_at=NOW) for i in TANKS
            ]
            for i in TANKS:
                add_to_household(session, self.people[i].id, self.tanks[i].id, "owner", now=NOW)
                self.model.household[i, i] = "owner"
            for i in PEOPLE:
                open_session(
                    session,
                    token=f"p{i}",
                    account_id=self.people[i].id,
                    browser="b",
                    now=NOW,
                    ends_at=NOW + timedelta(days=10_000),
                )

    def step(self, draw: random.Random) -> None:
        """Do one thing, in the service and in the model."""
        person, tank = draw.choice(PEOPLE), draw.choice(TANKS)
        at, now = (person, tank), self.clock.now()
        account_id, tank_id = self.people[person].id, self.tanks[tank].id
        action = draw.choice(("take in", "open a job", "link", "end", "leave", "wait"))
        with self.services.store.write() as session:
            match action:
                case "take in":
                    kind = draw.choice(("owner", "member"))
                    if kind == "member" and self.model.owners(tank) == [person]:
                        with pytest.raises(LastOwnerError), session.begin_nested():
                            add_to_household(session, account_id, tank_id, kind, now=now)
                    else:
                        add_to_household(session, account_id, tank_id, kind, now=now)
                        self.model.household[at] = kind
                case "open a job" if self.model.jobs.get(at, now) <= now:
                    until = now + timedelta(days=draw.randint(1, 5))
                    open_job(session, account_id, tank_id, now=now, until=until)
                    self.model.jobs[at] = until
                case "link":
                    accepted = draw.random() < 0.5
                    link_supply(session, account_id, tank_id, now=now, accepted=accepted)
                    self.model.links.setdefault(at, accepted)
                    offers = [t for t in list_ties(session, tank_id, now=now) if t.kind == "offer"]
                    if offers and draw.random() < 0.5:
                        accept_supply(session, tank_id, offers[0].public_id, now=now)
                        whose = next(i for i in PEOPLE if self.people[i].email == offers[0].email)
                        self.model.links[whose, tank] = True
                case "wait":
                    self.clock.move(hours=draw.randint(1, 60))
        if action in ("end", "leave"):
            self._part(draw, action, person, tank)

    def _part(self, draw: random.Random, action: str, person: int, tank: int) -> None:
        now, tank_id = self.clock.now(), self.tanks[tank].id
        with self.services.store.read() as session:
            ties = list_ties(session, tank_id, now=now)
        tie = draw.choice(ties)
        whose = person if action == "leave" else next(i for i in PEOPLE if self.people[i].email == tie.email)
        try:
            with self.services.store.write() as session:
                if action == "leave":
                    leave_tank(session, self.people[person].id, tank_id, now=now)
                else:
                    end_tie(session, tank_id, tie.public_id, now=now)
        except LastOwnerError:
            assert self.model.owners(tank) == [whose]
            return
        for kept, kinds in (
            (self.model.household, {"owner", "member"}),
            (self.model.jobs, {"installer"}),
            (self.model.links, {"distributor", "offer"}),
        ):
            if action == "leave" or tie.kind in kinds:
                kept.pop((whose, tank), None)  # type: ignore[attr-defined]

    def check(self) -> None:
        """Hold what everybody is to every tank against the model."""
        now = self.clock.now()
        with self.services.store.read() as session:
            for person in PEOPLE:
                for tank in TANKS:
                    found = find_relations(
                        session, self.people[person].id, self.tanks[tank].public_id, now=now
                    )
                    assert found == self.model.relations(person, tank, now), (person, tank)


@pytest.fixture
def street(sqlite_url: str, clock: StandingClock) -> Iterator[Street]:
    """Four people and two tanks."""
    services = make_services(Settings(database=sqlite_url, mode="server"), clock=clock)
    yield Street(services, clock)
    services.store.engine.dispose()


def walk(street: Street, steps: int, seed: int) -> None:
    """Do so many things, and look after each."""
    draw = random.Random(seed)
    for _ in range(steps):
        street.step(draw)
        street.check()


@pytest.mark.parametrize("seed", [1, 2])
def test_any_order_of_sharing_and_ending_is_as_the_model_says_P34(street: Street, seed: int) -> None:  # noqa: N802
    """P34: after each of some hundreds of steps everybody is to every tank exactly what the model says."""
    walk(street, STEPS // 2, seed)
    assert street.model.household


@pytest.mark.long
def test_five_thousand_steps_are_as_the_model_says_P34(street: Street) -> None:  # noqa: N802
    """P34, the full count: 5,000 steps."""
    walk(street, LONG_STEPS, 3)
    assert street.model.household


def test_what_a_page_opens_follows_each_step_at_once(street: Street) -> None:
    """Through the pages too: the keys open to owners alone, orders to the household alone, after every step."""
    draw = random.Random(4)
    with TestClient(
        create_app(street.services), base_url="http://localhost", client=("198.51.100.7", 1)
    ) as client:
        for _ in range(60):
            street.step(draw)
            person, tank = draw.choice(PEOPLE), draw.choice(TANKS)
            held = street.model.relations(person, tank, street.clock.now())
            with street.services.store.write() as session:
                token = f"p{person}-{street.clock.now()}-{draw.random()}"
                ends_at = street.clock.now() + timedelta(days=1)
                open_session(
                    session,
                    token=token,
                    account_id=street.people[person].id,
                    browser="b",
                    now=street.clock.now(),
                    ends_at=ends_at,
                )
            shown = {"Cookie": f"dipcast={token}"}
            public_id = street.tanks[tank].public_id
            keys = client.get(f"/tanks/{public_id}/keys", headers=shown).status_code
            orders = client.get(f"/api/tanks/{public_id}/orders", headers=shown).status_code
            assert keys == (200 if "owner" in held else 404)
            assert orders == (200 if held & {"owner", "member"} else 404)
