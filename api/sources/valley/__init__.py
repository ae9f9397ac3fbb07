"""An invented valley for the demo and the tests: four houses, their files, and the truth behind them.

The valley of Tarrowbeck is no real place, and its people, houses and readings are made by a seeded
generator. Its latitude and longitude lie somewhere rural in the north of England; they only set the
sun and the clock. The generator (spells of weather, a two-temperature house stepped by the hour, a
tank, a sensor with its faults) shares no equation with the engine's burn model or its weather
generator; of the engine it uses the shapes of tanks and the swelling of oil only.

Flow     seed -> sky -> household, home -> gauge -> texts -> **valley** -> demo, tests

====================  ====================================================
`sky`                 hourly weather and sun
`household`           what people do: heating hours, showers, fires, absences
`home`                hourly burn of the homes
`gauge`               deliveries, the level, the sensor's readings
`houses`              who lives there and with what
`texts`               the files
====================  ====================================================
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from api.sources.valley import texts
from api.sources.valley.gauge import TICKET_SD, Store, fill_store, oil_temperature_c, take_readings
from api.sources.valley.home import Burn, simulate_homes
from api.sources.valley.houses import PLANS, Plan
from api.sources.valley.sky import Floats, Hours, Sky, simulate_sky
from forecaster.tanks import parse_tank

NAME = "Tarrowbeck"
LATITUDE, LONGITUDE = 54.5, -2.6
TIMEZONE = "Europe/London"
AS_OF = datetime(2025, 1, 14, 7, 0, tzinfo=UTC)
"""The demo's instant, so that its answer is the same on every machine and day."""
DAYS_AHEAD = 120
SEED = 29
"""The demo's seed, taken because a frosty fortnight ends on as-of's day."""

_SKY_FROM = np.datetime64("2022-12-01", "h")
_RECORD_FROM = np.datetime64("2023-01-09", "h")
_WEATHER_FROM = np.datetime64("2023-01-01")


@dataclass(frozen=True, slots=True)
class HouseTruth:
    """What really happened in a house, and would happen in the days after as-of with no delivery.

    Attributes
    ----------
    at : datetime64[h] array, shape (hour,)
        Start of each hour, UTC.
    litres : float array, shape (hour,)
        In the tank then: bulk at the oil's temperature, heel included. [L]
    litres_15c, drawn_15c, delivered_15c : float array, shape (hour,)
        In the tank at the start of the hour, burned and delivered within it. [L at 15 C]
    date : datetime64[D] array, shape (day,)
        Civil dates that lie wholly inside the record.
    burn : float array, shape (day,)
        What the house asks of the boiler on each of them, also when the boiler has stopped. [L at 15 C]
    dry_at
        When the level touches the heel and the boiler stops, UTC; None if it does not.
    """

    at: Hours
    litres: Floats
    litres_15c: Floats
    drawn_15c: Floats
    delivered_15c: Floats
    date: npt.NDArray[np.datetime64]
    burn: Floats
    dry_at: np.datetime64 | None

    def litres_at(self, instant: datetime) -> float:
        """Find the bulk litres in the tank at an instant. [L]"""
        moment = np.datetime64(instant.astimezone(UTC).replace(tzinfo=None), "s")
        hour = (moment - self.at[0].astype("datetime64[s]")).astype(float) / 3600.0
        return float(np.interp(hour, np.arange(len(self.at)), self.litres))


@dataclass(frozen=True, slots=True)
class House:
    """One house: its files as texts, and the truth they came from."""

    key: str
    name: str
    blurb: str
    tank_toml: str
    survey_toml: str
    readings_csv: str
    deliveries_csv: str
    stove_log_csv: str | None
    diary_csv: str | None
    truth: HouseTruth


@dataclass(frozen=True, slots=True)
class Valley:
    """The invented valley: place, instant, weather up to it and after it, houses.

    Attributes
    ----------
    weather_csv
        Daily weather of the finished civil days before as-of.
    ahead_weather_csv
        The weather that came: from as-of's own day on. No forecast may see it.
    """

    name: str
    latitude: float
    longitude: float
    timezone: str
    as_of: datetime
    weather_csv: str
    ahead_weather_csv: str
    houses: tuple[House, ...]

    def house(self, key: str) -> House:
        """Find a house by its key.

        Raises
        ------
        KeyError
            If there is none.
        """
        return {house.key: house for house in self.houses}[key]


@lru_cache(maxsize=4)
def make_valley(seed: int = SEED) -> Valley:
    """Make the valley; the same seed gives the same texts and numbers.

    Parameters
    ----------
    seed : int
        The weather, the people's chances and the sensors' faults all follow from it.

    Examples
    --------
    >>> valley = make_valley()
    >>> [house.name for house in valley.houses]
    ['Weir Cottage', 'The Old Forge', 'Upper Byre', 'Long Barn']
    >>> valley.weather_csv.splitlines()[-1][:10]
    '2025-01-13'
    """
    as_of = np.datetime64(AS_OF.replace(tzinfo=None), "h")
    last_day = as_of.astype("datetime64[D]") + DAYS_AHEAD
    hours = np.arange(_SKY_FROM, (last_day + 1).astype("datetime64[h]"))
    sky = simulate_sky(hours, latitude=LATITUDE, longitude=LONGITUDE, rng=np.random.default_rng([seed, 0]))
    offset_h = _utc_offset_h(hours)
    local_date = (hours + offset_h.astype("timedelta64[h]")).astype("datetime64[D]")
    burn = simulate_homes(
        [plan.home for plan in PLANS],
        sky,
        utc_offset_h=offset_h,
        rngs=[np.random.default_rng([seed, 1, k]) for k in range(len(PLANS))],
    )
    houses = tuple(
        _make_house(
            plan,
            sky,
            burn,
            k,
            local_date=local_date,
            as_of=as_of,
            rng=np.random.default_rng([seed, 2, k]),
        )
        for k, plan in enumerate(PLANS)
    )
    today = as_of.astype("datetime64[D]")
    return Valley(
        name=NAME,
        latitude=LATITUDE,
        longitude=LONGITUDE,
        timezone=TIMEZONE,
        as_of=AS_OF,
        weather_csv=texts.write_weather(sky, local_date, start=_WEATHER_FROM, end=today - 1),
        ahead_weather_csv=texts.write_weather(sky, local_date, start=today, end=last_day - 1),
        houses=houses,
    )


def _make_house(
    plan: Plan,
    sky: Sky,
    burn: Burn,
    k: int,
    *,
    local_date: npt.NDArray[np.datetime64],
    as_of: np.datetime64,
    rng: np.random.Generator,
) -> House:
    """Run one house's tank and sensor, and write its files."""
    tank = parse_tank(plan.tank_toml)
    recorded = sky.at >= _RECORD_FROM
    wanted_15c = burn.litres_15c[k]
    oil_c = oil_temperature_c(sky, colder_c=plan.home.colder_c, lag_days=1.0 + tank.capacity_l / 1000.0)
    stuck_from = plan.probe.stuck_from
    store = fill_store(
        sky.at[recorded],
        wanted_15c[recorded],
        oil_c=oil_c[recorded],
        tank=tank,
        habit=plan.habit,
        looks_until=as_of if stuck_from is None else stuck_from.astype("datetime64[h]"),
        rng=rng,
    )
    # the headspace warms and cools with the air, dulled by the oil below it
    headspace_c = 0.6 * (sky.temp_c - plan.home.colder_c) + 0.4 * oil_c + sky.ghi_w_m2 / 100.0
    echoes = take_readings(
        store, tank=tank, probe=plan.probe, headspace_c=headspace_c[recorded], until=as_of, rng=rng
    )
    poured = np.flatnonzero(store.delivered_15c)
    poured_l = store.delivered_15c[poured] * store.litres[poured] / store.litres_15c[poured]
    ticket_l = poured_l * (1.0 + TICKET_SD * rng.standard_normal(len(poured)))
    before = sky.at[::24] < as_of.astype("datetime64[D]")
    evenings = before & (sky.at[::24] >= _RECORD_FROM)
    return House(
        key=plan.key,
        name=plan.name,
        blurb=plan.blurb,
        tank_toml=plan.tank_toml,
        survey_toml=plan.survey_toml,
        readings_csv=texts.write_readings(echoes, with_air=tank.sensor_assumed_air_c is not None),
        deliveries_csv=texts.write_deliveries(
            store.at[poured], ticket_l, filled=plan.habit.drop_l is None, product=plan.home.fuel.name
        ),
        stove_log_csv=texts.write_stove_log(
            sky.at[::24][evenings].astype("datetime64[D]"), burn.stove_kg[k][evenings]
        )
        if plan.keeps_stove_log
        else None,
        diary_csv=texts.write_diary(plan.home.stays),
        truth=_tell_truth(store, wanted_15c[recorded], local_date[recorded]),
    )


def _tell_truth(store: Store, wanted_15c: Floats, local_date: npt.NDArray[np.datetime64]) -> HouseTruth:
    """Gather what happened, in arrays that nobody can change."""
    date, first, count = np.unique(local_date, return_index=True, return_counts=True)
    burn = np.add.reduceat(wanted_15c, first)
    whole = count >= 23  # the day on which the clock goes forward has 23 hours
    truth = HouseTruth(
        at=store.at,
        litres=store.litres,
        litres_15c=store.litres_15c,
        drawn_15c=store.drawn_15c,
        delivered_15c=store.delivered_15c,
        date=date[whole],
        burn=burn[whole],
        dry_at=store.dry_at,
    )
    for array in (
        truth.at,
        truth.litres,
        truth.litres_15c,
        truth.drawn_15c,
        truth.delivered_15c,
        truth.date,
        truth.burn,
    ):
        array.setflags(write=False)
    return truth


def _utc_offset_h(hours: Hours) -> Floats:
    """Find how far the local clock is ahead of UTC in each hour. [h]"""
    zone = ZoneInfo(TIMEZONE)
    offsets = [
        at.replace(tzinfo=UTC).astimezone(zone).utcoffset() for at in hours.astype("datetime64[s]").tolist()
    ]
    return np.array([offset.total_seconds() / 3600.0 for offset in offsets if offset is not None])
