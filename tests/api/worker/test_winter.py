"""A winter in fast time: the worker, a household of the invented valley, and a tanker that comes.

The burn is the valley's, which shares no equation with the engine; the tank is filled only by what the
household orders when it is reminded.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from api.settings import Settings
from api.sources.valley import Valley, make_valley
from api.store.contacts import Channel, save_contact
from api.store.forecasts import load_forecast
from api.store.orders import OrderState, StoredOrder, list_orders
from api.store.readings import NewReading, save_readings
from api.store.reminders import list_refills, list_reminders
from api.store.tanks import SensorKind, StoredTank, mark_changed
from api.usecases.import_house import import_weather
from api.usecases.orders import Act, Change, Placement, act_on_order, place_order
from api.usecases.register_tank import register_tank
from api.usecases.send_messages import Sender
from api.usecases.watch_clock import ClockWatch
from api.wiring import Services, make_services
from api.worker.assemble import make_worker
from api.worker.worker import Worker
from forecaster.confidence import ToldForecast
from forecaster.weather import parse_weather
from tests.api.conftest import StandingClock
from tests.api.usecases.test_send_messages import Receiver

START = datetime(2024, 10, 1, 8, 0, tzinfo=UTC)
END = datetime(2025, 3, 31, 8, 0, tzinfo=UTC)
STEP = timedelta(days=6)
LITRES_PER_MM, SENSOR_MM, HEEL_L, SAFE_L = 1.52, 1270.0, 76.0, 1732.8
"""Of The Old Forge's tank, from its file."""


class FastTime(ClockWatch):
    """Days pass at a leap here: that is no fault of the clock."""

    def trouble(self) -> str | None:
        return None


@dataclass
class Household:
    """The house, its tank as it truly is, and what its people do."""

    services: Services
    valley: Valley
    clock: StandingClock
    tank: StoredTank
    receiver: Receiver
    worker: Worker
    burn: dict[date, float]
    level_l: float = 850.0
    lowest_l: float = 850.0
    read: int = 0
    ordered: list[tuple[date, ToldForecast]] = field(default_factory=list)

    def live(self, step: timedelta) -> None:
        """Burn oil, read the sensor each morning, bring the weather of the days behind."""
        for _ in range(step.days):
            self.level_l -= self.burn[self.clock.at.date()]
            self.lowest_l = min(self.lowest_l, self.level_l)
            self.clock.move(days=1)
            ullage = round((SENSOR_MM - self.level_l / LITRES_PER_MM) / 10.0) * 10.0
            at = self.clock.at - timedelta(hours=2)
            with self.services.store.write() as session:
                sensor = next(s.id for s in self.tank.sensors if s.kind is SensorKind.LEVEL_SENSOR)
                save_readings(
                    session,
                    [NewReading(sensor, at, "ullage_mm", ullage)],
                    received_at=self.clock.at,
                    source="http",
                )
                mark_changed(session, self.tank.id)
        self._bring_weather()

    def _bring_weather(self) -> None:
        today = f"{self.clock.at:%Y-%m-%d}"
        head, *rows = self.valley.weather_csv.splitlines()
        rows += self.valley.ahead_weather_csv.splitlines()[1:]
        since = "2024-08-01" if self.clock.at < START + 2 * STEP else f"{self.clock.at - 2 * STEP:%Y-%m-%d}"
        known = [row for row in rows if since <= row[:10] < today]
        with self.services.store.write() as session:
            weather = parse_weather("\n".join([head, *known]), tz=self.valley.timezone)
            import_weather(session, self.tank, weather, role="weather")

    def take_mail(self) -> None:
        """Read new mail; told to order, order as it says, for the tenth day from now."""
        for letter in self.receiver.got[self.read :]:
            self.read += 1
            assert letter.body["cause"] == "order", letter.body["title"]
            with self.services.store.write() as session:
                kept = load_forecast(session, self.tank.id, as_of=self.clock.at)
                assert kept is not None
                assert isinstance(kept.forecast, ToldForecast)
                today = self.clock.at.date()
                self.ordered.append((today, kept.forecast))
                litres = kept.forecast.order.litres
                promise = today + timedelta(days=10)
                place_order(session, self.clock, self.tank, Placement(litres=litres, promised_for=promise))

    def meet_tanker(self) -> None:
        """On the promised day, or the next on which somebody looks, the oil comes."""
        with self.services.store.write() as session:
            for order in list_orders(session, self.tank.id):
                is_due = order.promised_for is not None and order.promised_for <= self.clock.at.date()
                if order.state.is_open and is_due:
                    assert order.litres is not None
                    assert self.level_l + order.litres <= SAFE_L
                    self.level_l += order.litres
                    change = Change(Act.DELIVER, order.version, litres=order.litres)
                    act_on_order(session, self.clock, self.tank, order.public_id, change)

    def forecast(self) -> ToldForecast:
        """The newest forecast that was kept."""
        with self.services.store.read() as session:
            kept = load_forecast(session, self.tank.id, as_of=self.clock.at)
        assert kept is not None
        assert isinstance(kept.forecast, ToldForecast), kept.forecast.reasons
        return kept.forecast

    def orders(self) -> tuple[StoredOrder, ...]:
        """The orders that were placed."""
        with self.services.store.read() as session:
            return list_orders(session, self.tank.id)


@pytest.fixture
def household(tmp_path: Path) -> Iterator[Household]:
    """The Old Forge on 1 October, with a mail address and 850 litres."""
    valley, clock = make_valley(), StandingClock(START)
    house = valley.house("old-forge")
    settings = Settings(database=f"sqlite:///{tmp_path / 'home.db'}", weather_url="", backups_kept=0)
    services = make_services(settings, clock=clock)
    with services.store.write() as session:
        tank = register_tank(session, clock, tank_toml=house.tank_toml, survey_toml=house.survey_toml)
        save_contact(
            session,
            tank.id,
            Channel.MAIL,
            "ann@example.org",
            second=False,
            secret=None,
            token=None,
            now=START,
        )
    worker, receiver = make_worker(services), Receiver()
    worker.watch = FastTime(services.store, clock, monotonic=lambda: 0.0)
    sender = Sender(services.store, clock, {Channel.MAIL: receiver}, worker.owner)
    worker.send = sender.send_all
    days = [np.datetime64(day, "D").item() for day in house.truth.date]
    burn = dict(zip(days, house.truth.burn.tolist(), strict=True))
    yield Household(services, valley, clock, tank, receiver, worker, burn)
    services.store.engine.dispose()


def test_a_winter_in_fast_time(household: Household) -> None:
    """October to March: reminded inside the window, ordered, delivered, booked; the next forecast follows."""
    after: list[tuple[float, float]] = []
    while household.clock.at < END:
        household.live(STEP)
        delivered = len([o for o in household.orders() if o.state is OrderState.DELIVERED])
        household.meet_tanker()
        household.worker.tick()
        if len([o for o in household.orders() if o.state is OrderState.DELIVERED]) > delivered:
            after.append((household.level_l, household.forecast().litres.p50))
        household.take_mail()
    orders = household.orders()
    assert len(orders) >= 1
    assert household.lowest_l > HEEL_L
    for day, forecast in household.ordered:
        order = forecast.order
        assert order.earliest is not None
        assert order.latest is not None
        assert order.earliest <= day <= order.latest
    assert len(household.receiver.got) == len(orders), [m.body["title"] for m in household.receiver.got]
    assert [order.state for order in orders[:-1]] == [OrderState.DELIVERED] * (len(orders) - 1)
    assert orders[0].state is OrderState.DELIVERED
    for truth, told in after:
        assert told == pytest.approx(truth, abs=60.0)
    with household.services.store.read() as session:
        refills = list_refills(session, household.tank.id)
        reminders = list_reminders(session, household.tank.id)
    assert len({refill.uid for refill in refills}) == len(refills)
    assert len(reminders) == len(orders)
