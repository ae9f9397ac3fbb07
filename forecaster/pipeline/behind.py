"""All that lies behind the as-of instant, brought into the form in which the burn model takes it.

Flow     inputs -> levels, tickets and rises, past weather, drivers -> **behind** -> burn model
"""

from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import numpy.typing as npt

from forecaster.anomalies import held_back, is_pending
from forecaster.burn_model import Additions, Drivers, House, Observations, PastLitres, house_drivers
from forecaster.civil import midnights, to_datetime, zone_of
from forecaster.climate import Normals
from forecaster.confidence import LastTrusted
from forecaster.deliveries import (
    Deliveries,
    Rise,
    TicketCheck,
    burned_by_bills,
    check_tickets,
    find_rises,
    levels_by_tickets,
    merge_receipts,
    pours_of,
    put_where_seen,
)
from forecaster.dwelling import Survey, burn_prior
from forecaster.forecast import daily_oil_c
from forecaster.fuel import to_bulk_litres, to_litres_at_15c
from forecaster.levels import Levels, to_levels
from forecaster.past_weather import PastWeather, complete_weather
from forecaster.pipeline.inputs import Inputs
from forecaster.readings import Readings
from forecaster.screening import screen_readings
from forecaster.tanks import Tank, learn_table

Floats = npt.NDArray[np.float64]
Instants = npt.NDArray[np.datetime64]

WARM_UP_D = 30
"""Days of weather before the first level, for the house's thermal inertia. [d]"""
TICKET_SD = 0.015
"""Ticket against level never agree exactly: the tank's table is off. Relative sd. [-]"""
LEAST_SD_L = 1.0
"""No level is taken as known better than that. [L]"""
HEIGHT_SD_MM = 5.0
"""A sensor's height above the bottom is measured no better, and drifts. Assumption. [mm]"""
ASSUMED_DAY_K = 8.4
"""A day of assumed weather errs by 3.5 K, and its neighbours with it (correlation 0.7 a day): its share
of the error of a sum, per square root of day. [K]"""


@dataclass(frozen=True, slots=True, eq=False)
class Behind:
    """Everything known at the as-of instant, by stage.

    Attributes
    ----------
    levels, deliveries, rises, tickets
        Levels with their flags; tickets as given, rises without one, tickets against rises.
    past, midnights, oil_c
        Complete weather by civil day up to the day of as-of, the instants at which its days begin (and
        the end of the last), and the oil's temperature at the end of each day. [C]
    house, drivers
        What stays the same, and what drove the burn day by day.
    """

    levels: Levels
    deliveries: Deliveries
    rises: tuple[Rise, ...]
    tickets: tuple[TicketCheck, ...]
    past: PastWeather
    midnights: Instants
    oil_c: Floats
    house: House
    drivers: Drivers

    @property
    def last_filled(self) -> datetime | None:
        """When oil was last put in, by the tickets."""
        at = self.deliveries.at[~self.deliveries.removed]
        return to_datetime(at.max()) if len(at) else None

    def level(self, index: int | None) -> LastTrusted | None:
        """One of the levels, as it is told."""
        if index is None:
            return None
        return LastTrusted(to_datetime(self.levels.at[index]), float(self.levels.litres[index]))


def learn_behind(known: Inputs, normals: Normals, *, today: np.datetime64) -> tuple[Inputs, Behind]:
    """Look behind, learn the tank's table from tickets where it is not exact, and look again through it.

    Returns
    -------
    known : Inputs
        With the tank as learnt; the same where its table is exact or no ticket tells of it.
    behind : Behind
    """
    behind = look_behind(known, normals, today=today)
    tank = known.tank
    pours = pours_of(behind.tickets, behind.levels, behind.deliveries, tank)
    learnt = learn_table(tank, pours).tank
    if learnt is tank:
        return known, behind
    known = replace(known, tank=learnt)
    return known, look_behind(known, normals, today=today)


def look_behind(known: Inputs, normals: Normals, *, today: np.datetime64) -> Behind:
    """Bring readings, tickets, weather and survey together.

    Parameters
    ----------
    known : Inputs
        Cut at as-of.
    normals : Normals
        Of the place.
    today : datetime64[D]
        Civil day of as-of.
    """
    tank, survey = known.tank, known.survey or Survey()
    past = complete_weather(known.weather, normals, first=_first_day(known, today=today), today=today)
    days = midnights(past.date[0].item(), len(past.date), zone_of(known.timezone))
    levels = _levels(known, past, days)
    deliveries = _put_in(known)
    prior = burn_prior(survey, tank.fuel)
    house = House(normals.latitude, normals.longitude or 0.0, survey, prior, known.diary, known.stove_log)
    return Behind(
        levels, deliveries, find_rises(levels, deliveries), check_tickets(levels, deliveries),
        past, days, daily_oil_c(past.temp_c, location=tank.location),
        house, house_drivers(past.date, past.temp_c, past.ghi_wh_m2, house=house),
    )  # fmt: skip


def observations(behind: Behind, tank: Tank) -> Observations:
    """Trusted levels; where no sensor tells any, the levels that tickets tell."""
    levels = behind.levels
    # a rise that one level shows and no ticket explains is not believed until a second level shows it
    ok = levels.trusted() & ~held_back(levels, behind.rises)
    used = levels.where(ok)
    if len(used) == 0:
        return _told_by_tickets(behind, tank)
    return Observations(
        used.at, used.litres, np.maximum(used.sd_l, LEAST_SD_L),
        to_bulk_litres(1.0, used.oil_c, tank.fuel.density_15c), used.step_l, used.censored, levels.repeats()[ok],
    )  # fmt: skip


def _told_by_tickets(behind: Behind, tank: Tank) -> Observations:
    told = levels_by_tickets(behind.deliveries, tank)
    none = np.zeros(len(told), bool)
    oil_c = behind.oil_c[_day_of(told.at, behind)]
    return Observations(
        told.at, told.litres, np.maximum(told.sd_l, LEAST_SD_L),
        to_bulk_litres(1.0, oil_c, tank.fuel.density_15c), np.ones(len(told)), none, none,
    )  # fmt: skip


def additions(behind: Behind, tank: Tank) -> Additions:
    """Tickets at 15 C, rises without a ticket, and the noise of days whose weather is assumed."""
    deliveries, rises = (
        put_where_seen(behind.deliveries, behind.tickets),
        [r for r in behind.rises if not is_pending(r, behind.levels)],
    )
    oil_c = behind.oil_c[_day_of(deliveries.at, behind)]
    at_15 = to_litres_at_15c(deliveries.litres, oil_c, tank.fuel.density_15c)
    at_15 = np.where(deliveries.basis == "15c", deliveries.litres, at_15)
    signed = np.where(deliveries.removed, -at_15, at_15)
    unknown = (deliveries.basis == "unknown") * np.abs(at_15 - deliveries.litres)
    risen_at = np.array([r.at for r in rises], "datetime64[s]")
    risen = np.array([r.litres for r in rises], np.float64)
    risen_sd = np.array([r.sd_l for r in rises], np.float64)
    assumed, days = np.flatnonzero(behind.past.assumed), behind.midnights
    a_day = behind.house.prior.slope_l_per_kday * ASSUMED_DAY_K
    noon = days[assumed] + (days[assumed + 1] - days[assumed]) // 2
    return Additions(
        np.concatenate([deliveries.at, risen_at, noon]),
        np.concatenate([signed, risen, np.zeros(len(noon))]),
        np.concatenate([np.hypot(TICKET_SD * at_15, unknown), risen_sd, np.full(len(noon), a_day)]),
    )


def past_litres(known: Inputs, behind: Behind, normals: Normals) -> PastLitres | None:
    """Litres burned before the first level, as bills and tickets tell."""
    seen = observations(behind, known.tank)
    level = (seen.at[0], float(seen.litres[0]), float(seen.sd_l[0])) if len(seen.at) else None
    if len(seen.at) and seen.at_least[0]:
        level = None
    # their age counts up to the first level: what has changed since, the levels tell
    today = seen.at[0].astype("datetime64[D]") if len(seen.at) else behind.past.date[-1]
    burn = burned_by_bills(_bills(known), known.tank, today=today, level=level)
    if burn is None:
        return None
    span = np.arange(burn.first, burn.last, dtype="datetime64[D]")
    weather = complete_weather(known.weather, normals, first=span[0], today=span[-1] + 1)
    drivers = house_drivers(span, weather.temp_c[:-1], weather.ghi_wh_m2[:-1], house=behind.house)
    assumed = float(weather.assumed[:-1].sum())
    by_weather = behind.house.prior.slope_l_per_kday * ASSUMED_DAY_K * np.sqrt(assumed)
    return PastLitres(drivers, burn.litres, float(np.hypot(burn.sd_l, by_weather)))


def _bills(known: Inputs) -> Deliveries:
    """Tickets and bills together, each once."""
    tickets = known.deliveries if known.deliveries is not None else Deliveries.none()
    if known.receipts is None:
        return tickets
    return merge_receipts(tickets, known.receipts, tz=known.timezone)


def _put_in(known: Inputs) -> Deliveries:
    """Deliveries of the tank: the tickets, and the bills where no sensor shows when the oil came."""
    # a bill is often dated days later: beside a sensor it would be a ticket without its rise
    if known.readings is not None and len(known.readings.at):
        return known.deliveries if known.deliveries is not None else Deliveries.none()
    return _bills(known)


def _day_of(at: Instants, behind: Behind) -> npt.NDArray[np.intp]:
    """Index of the civil day on which each instant falls."""
    day = np.searchsorted(behind.midnights, at, side="right") - 1
    return np.clip(day, 0, len(behind.oil_c) - 1)


def common_error_l(levels: Levels, tank: Tank) -> float:
    """What all levels may be off by together, at the newest: the tank's table and the sensor's height. [L]"""
    ok = np.flatnonzero(levels.trusted())
    if len(ok) == 0:
        return 0.0
    height = HEIGHT_SD_MM / 10.0 * float(levels.litres_per_cm[ok[-1]])
    return float(np.hypot(levels.table_sd_l[ok[-1]], height))


def _first_day(inputs: Inputs, *, today: np.datetime64) -> np.datetime64:
    """First civil day that is needed: some weeks before the first level or ticket."""
    firsts = [today]
    if inputs.readings is not None and len(inputs.readings.at):
        firsts.append(inputs.readings.at[0].astype("datetime64[D]"))
    put_in = _put_in(inputs).at
    if len(put_in):
        firsts.append(put_in.min().astype("datetime64[D]"))
    earliest: np.datetime64 = min(firsts) - np.timedelta64(WARM_UP_D, "D")
    return earliest


def _levels(inputs: Inputs, past: PastWeather, days: npt.NDArray[np.datetime64]) -> Levels:
    readings = inputs.readings if inputs.readings is not None else Readings.none()
    tickets = inputs.deliveries.at if inputs.deliveries is not None else None
    flags = screen_readings(readings, inputs.tank, ticket_at=tickets)

    def air_at(at: npt.NDArray[np.datetime64]) -> Floats:
        day = np.searchsorted(days, at, side="right") - 1
        known = (day >= 0) & (day < len(past.temp_c))
        return np.where(known, past.temp_c[np.clip(day, 0, len(past.temp_c) - 1)], np.nan)

    return to_levels(readings, inputs.tank, flags=flags, air_at=air_at)
