"""Two households with one of everything, and somebody in each relation to it: worlds ``a`` and ``b``.

Every text of a world carries its canary, so that whatever leaks from one into the other is seen. Nobody
signs in here: sessions are opened as signing in opens them, which spares the slow hashes.
"""

import json
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import sqlalchemy as sa

from api.schemas.relation import Relation
from api.store import Session, Store, tables
from api.store.accounts.grants import add_to_household, link_supply, list_ties, open_job
from api.store.accounts.invitations import list_invitations, save_invitation
from api.store.accounts.keys import KeyKind, list_keys, save_key
from api.store.accounts.people import save_account
from api.store.accounts.sessions import list_sessions, open_session
from api.store.accounts.tokens import hash_token
from api.store.readings import NewReading, save_readings
from api.store.tables import doors, reach
from api.store.tanks import BEGINNING, SensorKind, TextKind, save_tank, save_text

NO_HASH = "nobody's password"
"""Stands for a password's hash where nobody signs in by one."""
TANK_TOML = """
name = "{canary}-tank"
shape = "horizontal_cylinder"
product = "kerosene"
diameter_mm = 1200
length_mm = 1800
sensor_height_mm = 1250
"""
MAPPING = '{"level": "/dist", "quantity": "ullage", "unit": "mm"}'
SURVEY_TOML = 'place = "East Anglia"\n'


@dataclass(frozen=True)
class Somebody:
    """One who asks: what they show, and what they are to their own world's tank."""

    name: str
    cookie: str | None = None
    key: str | None = None
    relations: frozenset[Relation] = frozenset()
    account_id: int | None = None

    @property
    def headers(self) -> dict[str, str]:
        """What a request of theirs carries."""
        shown = {"Sec-Fetch-Site": "same-origin"}
        if self.cookie is not None:
            shown["Cookie"] = f"dipcast={self.cookie}"
        if self.key is not None:
            shown["Authorization"] = f"Bearer {self.key}"
        return shown


@dataclass
class World:
    """One household, and everybody who has to do with it."""

    name: str
    tank: str = ""
    tank_id: int = 0
    sensor: str = ""
    people: dict[str, Somebody] = field(default_factory=dict)
    samples: dict[str, str] = field(default_factory=dict)

    @property
    def canary(self) -> str:
        """What every text of this world carries."""
        return f"CANARY-{self.name}"

    def secrets(self) -> list[str]:
        """What must never be seen in the other world: texts, and the names of things."""
        shown = [self.canary, f"canary-{self.name}", self.tank, self.sensor]
        return [*shown, *(v for name, v in self.samples.items() if name not in ("token", "what", "step"))]


NOBODY = Somebody("nobody", relations=frozenset({Relation.ANYONE}))
_SIGNED_IN = frozenset({Relation.ANYONE, Relation.SELF, Relation.FOUNDER})


def make_world(store: Store, name: str, now: datetime) -> World:
    """Make one household with one of everything."""
    world = World(name)
    with store.write() as session:
        _make_tank(session, world, now)
        for who, relations in (
            ("owner", {Relation.OWNER, Relation.HOUSEHOLD}),
            ("member", {Relation.HOUSEHOLD}),
            ("installer", {Relation.INSTALLER}),
            ("distributor", {Relation.DISTRIBUTOR}),
            ("former", set()),
            ("late_installer", set()),
            ("unaccepted", set()),
            ("stranger", set()),
            ("operator", {Relation.OPERATOR}),
        ):
            _add_person(session, world, who, frozenset(relations), now)
        _tie_people(session, world, now)
        _add_machines(session, world, now)
        _add_orders_and_messages(session, world, now)
        _take_samples(session, world, now)
    return world


def _make_tank(session: Session, world: World, now: datetime) -> None:
    toml = TANK_TOML.format(canary=world.canary)
    tank = save_tank(session, name=f"{world.canary}-tank", zone="Europe/London", toml=toml, created_at=now)
    save_text(session, tank.id, TextKind.SURVEY, body=SURVEY_TOML, valid_from=BEGINNING, created_at=now)
    diary = f"start,end,what,note\n2025-12-20,2025-12-27,away,{world.canary}-diary\n"
    save_text(session, tank.id, TextKind.DIARY, body=diary, valid_from=BEGINNING, created_at=now)
    world.tank, world.tank_id = tank.public_id, tank.id
    sensor = next(s for s in tank.sensors if s.kind is SensorKind.LEVEL_SENSOR)
    world.sensor = sensor.public_id
    rows = [
        NewReading(sensor.id, now.replace(minute=0) - timedelta(days=day), "ullage_mm", 700.0 - 5 * day)
        for day in range(30)
    ]
    save_readings(session, rows, received_at=now, source="test")


def _add_person(
    session: Session, world: World, who: str, relations: frozenset[Relation], now: datetime
) -> None:
    email = f"{who}@canary-{world.name}.example"
    runs_it = Relation.OPERATOR in relations
    account = save_account(session, email=email, password_hash=NO_HASH, created_at=now, is_operator=runs_it)
    cookie = f"cookie-of-{who}-{world.name}"
    for token in (cookie, f"other-{cookie}"):
        open_session(
            session,
            token=token,
            account_id=account.id,
            browser=f"{world.canary}-browser",
            now=now,
            ends_at=now + timedelta(days=30),
        )
    world.people[who] = Somebody(who, cookie, None, _SIGNED_IN | relations, account.id)


def _tie_people(session: Session, world: World, now: datetime) -> None:
    def account_of(who: str) -> int:
        found = world.people[who].account_id
        assert found is not None
        return found

    add_to_household(session, account_of("owner"), world.tank_id, "owner", now=now)
    add_to_household(session, account_of("member"), world.tank_id, "member", now=now)
    open_job(session, account_of("installer"), world.tank_id, now=now, until=now + timedelta(days=30))
    open_job(session, account_of("late_installer"), world.tank_id, now=now - timedelta(9), until=now)
    link_supply(session, account_of("distributor"), world.tank_id, now=now, accepted=True)
    link_supply(session, account_of("unaccepted"), world.tank_id, now=now, accepted=False)
    add_to_household(session, account_of("former"), world.tank_id, "member", now=now)
    session.execute(
        sa.text("UPDATE tank_grant SET until = since WHERE account_id = :a"), {"a": account_of("former")}
    )


def _add_machines(session: Session, world: World, now: datetime) -> None:
    for who, kind, relation in (
        ("device", KeyKind.DEVICE, Relation.DEVICE),
        ("hub", KeyKind.HUB, Relation.HOUSEHOLD),
        ("revoked", KeyKind.DEVICE, None),
    ):
        key = save_key(
            session, kind=kind, tank_id=world.tank_id, label=f"{world.canary}-{who}", created_at=now
        )
        held = {Relation.ANYONE} | ({relation} if relation else set())
        world.people[who] = Somebody(who, None, key, frozenset(held))
    session.execute(sa.text("UPDATE access_key SET revoked_at = created_at WHERE label LIKE '%-revoked'"))
    world.samples["feed"] = f"feed-of-{world.name}"
    session.execute(
        sa.insert(reach.calendar_feed).values(
            tank_id=world.tank_id, token_hash=hash_token(world.samples["feed"]), created_at=now
        )
    )


def _add_orders_and_messages(session: Session, world: World, now: datetime) -> None:
    """Make an order, a reminder, a silence, a contact and a mapping, each with the canary in its texts."""
    refill = session.scalar(
        sa.insert(reach.refill)
        .values(
            tank_id=world.tank_id,
            uid=f"{world.canary}-refill",
            begun_at=now,
            told=False,
            sequence=0,
            changed_at=now,
        )
        .returning(reach.refill.c.id)
    )
    common = {"tank_id": world.tank_id, "created_at": now}
    made: tuple[tuple[str, sa.Table, dict[str, object]], ...] = (
        (
            "order",
            reach.oil_order,
            {
                **common,
                "state": "placed",
                "version": 1,
                "fill": True,
                "delivered_l": 0.0,
                "supplier": world.canary,
            },
        ),
        (
            "reminder",
            reach.reminder,
            {
                "tank_id": world.tank_id,
                "refill_id": refill,
                "cause": "order",
                "subject": world.canary,
                "number": 1,
                "urgent": False,
                "decided_at": now,
                "not_after": now + timedelta(days=3),
                "body": json.dumps(
                    {"title": world.canary, "paragraphs": [world.canary], "promise": "", "told": True}
                ),
            },
        ),
        ("silence", reach.silence, {**common, "begins_at": now, "ends_at": now + timedelta(days=3)}),
        (
            "contact",
            reach.contact,
            {
                **common,
                "channel": "webhook",
                "address": f"https://canary-{world.name}.example/hook",
                "secret": "whsec_Q0FOQVJZ",
                "verified_at": now,
                "second": False,
            },
        ),
    )
    for name, table, values in made:
        world.samples[name] = f"{name}-of-{world.name}-00000000000000"
        session.execute(sa.insert(table).values(public_id=world.samples[name], **values))
    sensor = tables.sensor.c
    world.samples["mapping"] = f"mapping-of-{world.name}-00000000000000"
    session.execute(
        sa.insert(doors.mapping).values(
            public_id=world.samples["mapping"],
            sensor_id=session.scalar(sa.select(sensor.id).where(sensor.public_id == world.sensor)),
            topic=f"{world.canary}/level",
            body=MAPPING,
            created_at=now,
        )
    )


def _take_samples(session: Session, world: World, now: datetime) -> None:
    token = f"invitation-to-{world.name}"
    save_invitation(
        session,
        token=token,
        kind="member",
        tank_id=world.tank_id,
        invited_by=world.people["owner"].account_id,
        now=now,
        expires_at=now + timedelta(days=7),
    )
    ties = {tie.kind: tie.public_id for tie in list_ties(session, world.tank_id, now=now)}
    own = list_sessions(session, world.people["owner"].account_id, now=now)
    world.samples |= {
        "tank": world.tank,
        "token": token,
        "what": "dips",
        "step": "place",
        "sensor": world.sensor,
        "session": own[0].public_id,
        "tie": ties["offer"],
        "member_tie": ties["member"],
        "invitation": list_invitations(session, world.tank_id, now=now)[0].public_id,
        "key": next(k.public_id for k in list_keys(session, world.tank_id) if k.kind is KeyKind.HUB),
    }
