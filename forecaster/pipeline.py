"""From readings to a forecast, stage by stage: read this first.

1. readings are screened and become levels in litres      (screening, levels)
2. tickets and rises are matched                          (deliveries)
3. the weather behind us is completed                     (past_weather)
4. weather and survey become what drives the burn         (burn_model.drivers)
5. the burn model is fitted to the levels                 (burn_model)
6. weather years are laid ahead, the outlook in front     (climate, outlook)
7. litres paths are simulated                             (forecast)
8. when the tank runs dry                                 (run_dry)
9. when to order how much                                 (reorder)
10. what looks wrong, and whether a date may be told      (anomalies, confidence)
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

import numpy as np
import numpy.typing as npt

from forecaster.anomalies import Evidence, find_reasons
from forecaster.burn_model import (
    Additions,
    House,
    Observations,
    PastLitres,
    Posterior,
    Settings,
    fit_burn_model,
    house_drivers,
)
from forecaster.civil import civil_date, instant, midnights, to_datetime, zone_of
from forecaster.climate import (
    Normals,
    WeatherYears,
    draw_weather_years,
    normal_day,
    normals_for,
    normals_from_record,
    resample_weather_years,
)
from forecaster.confidence import (
    Appointment,
    DayOutlook,
    Forecast,
    LastTrusted,
    LitresBand,
    Numbers,
    Reason,
    RunDryDates,
    gate,
)
from forecaster.deliveries import Deliveries, Receipts, Rise, check_tickets, find_rises
from forecaster.diary import DiaryEntry
from forecaster.dwelling import Survey, burn_prior
from forecaster.errors import Problem, WeatherError
from forecaster.forecast import PATHS, Chances, Paths, daily_oil_c, draw_chances, simulate_litres
from forecaster.fuel import to_bulk_litres, to_litres_at_15c
from forecaster.levels import Levels, to_levels
from forecaster.outlook import recent_weather, splice_outlook
from forecaster.past_weather import PastWeather, complete_weather
from forecaster.readings import Readings
from forecaster.reorder import OrderSettings, advise_order, order_below_l
from forecaster.run_dry import chance_dry, run_dry_date, run_dry_days
from forecaster.screening import screen_readings
from forecaster.stove import StoveLog
from forecaster.tanks import Tank
from forecaster.weather import Outlook, Weather

Floats = npt.NDArray[np.float64]

HORIZON_DAYS = 365
DAILY_QUANTILES = (0.025, 0.1, 0.25, 0.5, 0.75, 0.9, 0.975)
SCENARIOS = 1_000
"""Weather years of a forecast; fewer make the 5 and 95 % points wander by 2 % and more."""
WARM_UP_D = 30
"""Days of weather before the first level, for the house's thermal inertia. [d]"""
TICKET_SD = 0.015
"""Ticket against level never agree exactly: the tank's table is off. Relative sd. [-]"""
FILLED_SD = 0.05
"""A tank said to have been filled stands at its safe fill within that part of its capacity. [-]"""
RECEIPT_SD = 0.25
"""What receipts leave open about the levels at their ends, as part of the capacity. [-]"""
LEAST_SD_L = 1.0
"""No level is taken as known better than that. [L]"""
HEIGHT_SD_MM = 5.0
"""A sensor's height above the bottom is measured no better, and drifts. Assumption. [mm]"""
ASSUMED_DAY_K = 8.4
"""A day of assumed weather errs by 3.5 K, and its neighbours with it (correlation 0.7 a day): its share
of the error of a sum, per square root of day. [K]"""


@dataclass(frozen=True, slots=True, eq=False)
class Inputs:
    """Everything a forecast of one tank is made from.

    Attributes
    ----------
    tank, as_of, timezone
        The tank, the instant of knowledge (UTC), and the tank's zone.
    readings, deliveries, receipts, weather, years, outlook, survey, diary, stove_log
        What there is; None where there is none. Anything later than as-of is not looked at.
    weather_ahead, chances
        Weather years already laid ahead of this place and day, and random numbers already drawn, so that
        many tanks share them; None: they are drawn.
    settings, appointment
        How oil is ordered here, and what the last told forecast promised.
    notes
        Reasons found at the door, such as a zone that had to be assumed.
    model, horizon_days, paths
        Settings of the burn model, days looked ahead, and simulated paths.
    """

    tank: Tank
    as_of: datetime
    timezone: str = "UTC"
    readings: Readings | None = None
    deliveries: Deliveries | None = None
    receipts: Receipts | None = None
    weather: Weather | None = None
    years: Weather | None = None
    outlook: Outlook | None = None
    survey: Survey | None = None
    diary: tuple[DiaryEntry, ...] = ()
    stove_log: StoveLog | None = None
    weather_ahead: WeatherYears | None = None
    chances: Chances | None = None
    settings: OrderSettings = field(default_factory=OrderSettings)
    appointment: Appointment | None = None
    notes: tuple[Reason, ...] = ()
    model: Settings = field(default_factory=Settings)
    horizon_days: int = HORIZON_DAYS
    paths: int = PATHS


@dataclass(frozen=True, slots=True, eq=False)
class Working:
    """How a forecast came about, stage by stage, for those who ask why.

    Attributes
    ----------
    forecast
        What may be said.
    levels, past, posterior, paths, p_dry
        The stages' results; `levels` holds every reading with its flags.
    normals
        The normals that stand for the place.
    rests_on
        What the prior was made from, in sentences.
    """

    forecast: Forecast
    levels: Levels
    past: PastWeather
    posterior: Posterior
    paths: Paths
    p_dry: Floats
    normals: Normals
    rests_on: tuple[str, ...]


def make_forecast(inputs: Inputs, *, rng: np.random.Generator) -> Forecast:
    """Make the forecast of one tank.

    Parameters
    ----------
    inputs : Inputs
    rng : Generator
        The same seed for every tank and every day, so that an answer moves only with what is learnt.

    Raises
    ------
    WeatherError
        When there is neither a place nor a long record to lay weather ahead from.
    """
    return work_out(inputs, rng=rng).forecast


def work_out(inputs: Inputs, *, rng: np.random.Generator) -> Working:
    """Make the forecast of one tank and keep its working."""
    known = _known_at(inputs)
    tank, zone = known.tank, zone_of(known.timezone)
    now = instant(known.as_of)
    today = np.datetime64(civil_date(known.as_of, zone), "D")
    normals = place_normals(known)

    first = _first_day(known, today, zone_days=2)
    past = complete_weather(known.weather, normals, first=first, today=today)
    days = midnights(past.date[0].item(), len(past.date), zone)
    oil_c = daily_oil_c(past.temp_c, location=tank.location)

    levels = _levels(known, past, days)
    deliveries = known.deliveries if known.deliveries is not None else Deliveries.none()
    rises = find_rises(levels, deliveries)
    tickets = check_tickets(levels, deliveries)

    survey = known.survey or Survey()
    prior = burn_prior(survey, tank.fuel)
    house = House(normals.latitude, normals.longitude or 0.0, survey, prior, known.diary, known.stove_log)
    drivers = house_drivers(past.date, past.temp_c, past.ghi_wh_m2, house=house)
    slope = prior.slope_l_per_kday
    additions = _additions(deliveries, rises, past, days, oil_c, tank, slope)
    year = np.arange(today, today + 365, dtype="datetime64[D]")
    posterior = fit_burn_model(
        drivers, days, _observations(levels, deliveries, tank, oil_c, days), additions, prior, as_of=now,
        normal_temp_c=normal_day(normals, year)[0], capacity_l=tank.capacity_l,
        past_litres=_past_litres(known, house, normals, tank), settings=known.model,
    )  # fmt: skip

    horizon = known.horizon_days + 1
    ahead = lay_weather_ahead(known, past, normals, start=today, days=horizon, rng=rng)
    drivers_ahead = house_drivers(today + np.arange(horizon), ahead.temp_c, ahead.ghi_wh_m2, house=house)
    oil_ahead = daily_oil_c(_behind_and_ahead(past, ahead), location=tank.location)[:, -horizon:]
    length = (days[-1] - days[-2]) / np.timedelta64(1, "s")
    share = np.ones(horizon)
    share[0] = float((days[-1] - now) / np.timedelta64(1, "s")) / float(length)
    chances = known.chances or draw_chances(
        paths=known.paths, days=horizon, day_noise=known.model.day_noise, rng=rng
    )
    paths = simulate_litres(
        posterior, drivers_ahead, day_share=share, oil_c=oil_ahead, oil_now_c=float(oil_c[-1]),
        density_15c=tank.fuel.density_15c, promised_l=_promised(known.settings.ordered, today, horizon),
        offset_sd_l=_offset_sd_l(levels, tank), chances=chances, settings=known.model,
    )  # fmt: skip
    run_dry = run_dry_days(paths.litres, heel_l=tank.heel_l)
    # a path that is dry already at as-of was dry before the first evening
    run_dry = np.where(paths.now_l <= tank.heel_l, 0.0, run_dry)
    p_dry = chance_dry(run_dry, days=horizon)
    order = advise_order(
        paths.litres, p_dry, now_l=paths.now_l, first=today.item(), safe_fill_l=tank.safe_fill_l,
        settings=known.settings,
    )  # fmt: skip
    evidence = Evidence(
        as_of=known.as_of, zone=zone, tank=tank, levels=levels, deliveries=deliveries,
        rises=rises, tickets=tickets, posterior=posterior, past=past, drivers=drivers, midnights=days,
        prior=prior, now_l=paths.now_l, settings=known.model,
    )  # fmt: skip
    forecast = gate(
        Numbers(_band(paths.now_l), _run_dry_dates(p_dry, today.item()), order, _daily(paths, p_dry)),
        as_of=known.as_of, reasons=(*find_reasons(evidence), *known.notes), horizon_days=known.horizon_days,
        last_trusted=_last_trusted(levels), earlier=known.appointment,
        order_by=order.latest if posterior.observed_from is not None else None,
        order_below_l=order_below_l(
            paths.litres, now_l=paths.now_l, first=today.item(), heel_l=tank.heel_l, settings=known.settings
        ),
    )  # fmt: skip
    return Working(forecast, levels, past, posterior, paths, p_dry, normals, prior.rests_on)


def _known_at(inputs: Inputs) -> Inputs:
    """Drop everything later than as-of: nothing that follows can look ahead."""
    now = instant(inputs.as_of)
    today = np.datetime64(civil_date(inputs.as_of, zone_of(inputs.timezone)), "D")
    readings = inputs.readings.where(inputs.readings.at <= now) if inputs.readings is not None else None
    deliveries = (
        inputs.deliveries.where(inputs.deliveries.at <= now) if inputs.deliveries is not None else None
    )
    receipts = inputs.receipts.where(inputs.receipts.date < today) if inputs.receipts is not None else None
    weather = inputs.weather
    if weather is not None and len(weather.date):
        weather = weather.window(weather.date[0], max(min(weather.date[-1] + 1, today), weather.date[0]))
        weather = weather if len(weather.date) else None
    years = inputs.years
    if years is not None and years.date[-1] >= today:
        years = years.window(years.date[0], today)
    outlook = inputs.outlook if inputs.outlook is None or inputs.outlook.issued_at <= inputs.as_of else None
    log = inputs.stove_log
    if log is not None:
        log = StoveLog(log.date[log.date < today], log.kwh[log.date < today])
    return replace(
        inputs, readings=readings, deliveries=deliveries, receipts=receipts, weather=weather,
        years=years, outlook=outlook, stove_log=log,
    )  # fmt: skip


def place_normals(inputs: Inputs) -> Normals:
    """Monthly normals for the place: of the survey's place, refined by a long record where one is given.

    Raises
    ------
    WeatherError
        When there is neither a place nor a long record.
    """
    s = inputs.survey or Survey()
    placed = s.latitude is not None or bool(s.place)
    if not placed and inputs.years is None:
        mend = "give --years (a long daily record), or latitude and longitude or a place in the survey"
        raise WeatherError(Problem("no_place", "place", mend))
    if placed:
        near = normals_for(
            latitude=s.latitude, longitude=s.longitude, place=s.place, elevation_m=s.elevation_m
        )
    else:
        near = normals_for(place="UK average")
    return near if inputs.years is None else normals_from_record(inputs.years, like=near)


def lay_weather_ahead(
    inputs: Inputs, past: PastWeather, normals: Normals, *, start: np.datetime64, days: int,
    rng: np.random.Generator,
) -> WeatherYears:  # fmt: skip
    """Weather years from the day of as-of on, with the outlook in front."""
    if inputs.weather_ahead is not None:
        return inputs.weather_ahead
    recent = recent_weather(past, inputs.outlook)
    if inputs.years is not None:
        years = resample_weather_years(
            inputs.years, start=start, days=days, scenarios=SCENARIOS, rng=rng, recent=recent, normals=normals
        )
    else:
        years = draw_weather_years(
            normals, start=start, days=days, scenarios=SCENARIOS, rng=rng, recent=recent
        )
    return splice_outlook(years, inputs.outlook, normals, rng=rng)


def _first_day(inputs: Inputs, today: np.datetime64, *, zone_days: int) -> np.datetime64:
    """First civil day that is needed: some weeks before the first level or ticket."""
    firsts = [today]
    if inputs.readings is not None and len(inputs.readings.at):
        firsts.append(inputs.readings.at[0].astype("datetime64[D]"))
    if inputs.deliveries is not None and len(inputs.deliveries.at):
        firsts.append(inputs.deliveries.at.min().astype("datetime64[D]"))
    earliest: np.datetime64 = min(firsts) - np.timedelta64(WARM_UP_D + zone_days, "D")
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


def _observations(
    levels: Levels,
    deliveries: Deliveries,
    tank: Tank,
    oil_c: Floats,
    days: npt.NDArray[np.datetime64],
) -> Observations:
    """Trusted levels, and tanks said to have been filled where no sensor tells."""
    ok = levels.trusted()
    used = levels.where(ok)
    filled = (deliveries.filled == "yes") & ~deliveries.removed
    if filled.any() and len(used) == 0:
        oil = oil_c[
            np.clip(np.searchsorted(days, deliveries.at[filled], side="right") - 1, 0, len(oil_c) - 1)
        ]
        n = int(filled.sum())
        return Observations(
            deliveries.at[filled] + np.timedelta64(1, "s"), np.full(n, tank.safe_fill_l),
            np.full(n, FILLED_SD * tank.capacity_l), to_bulk_litres(1.0, oil, tank.fuel.density_15c),
            np.full(n, 1.0), np.zeros(n, bool), np.zeros(n, bool),
        )  # fmt: skip
    return Observations(
        used.at, used.litres, np.maximum(used.sd_l, LEAST_SD_L),
        to_bulk_litres(1.0, used.oil_c, tank.fuel.density_15c), used.step_l, used.censored, levels.repeats()[ok],
    )  # fmt: skip


def _additions(
    deliveries: Deliveries, rises: tuple[Rise, ...], past: PastWeather, days: npt.NDArray[np.datetime64],
    oil_c: Floats, tank: Tank, slope: float,
) -> Additions:  # fmt: skip
    """Tickets at 15 C, rises without a ticket, and the noise of days whose weather is assumed."""
    day = np.clip(np.searchsorted(days, deliveries.at, side="right") - 1, 0, len(oil_c) - 1)
    at_15 = to_litres_at_15c(deliveries.litres, oil_c[day], tank.fuel.density_15c)
    at_15 = np.where(deliveries.basis == "15c", deliveries.litres, at_15)
    signed = np.where(deliveries.removed, -at_15, at_15)
    unknown = (deliveries.basis == "unknown") * np.abs(at_15 - deliveries.litres)
    risen_at = np.array([r.at for r in rises], "datetime64[s]")
    risen = np.array([r.litres for r in rises], np.float64)
    risen_sd = np.array([r.sd_l for r in rises], np.float64)
    assumed = np.flatnonzero(past.assumed)
    noon = days[assumed] + (days[assumed + 1] - days[assumed]) // 2
    return Additions(
        np.concatenate([deliveries.at, risen_at, noon]),
        np.concatenate([signed, risen, np.zeros(len(noon))]),
        np.concatenate(
            [np.hypot(TICKET_SD * at_15, unknown), risen_sd, np.full(len(noon), slope * ASSUMED_DAY_K)]
        ),
    )


def _offset_sd_l(levels: Levels, tank: Tank) -> float:
    """What all levels may be off by together, at the newest: the tank's table and the sensor's height. [L]"""
    ok = np.flatnonzero(levels.trusted())
    if len(ok) == 0:
        return 0.0
    height = HEIGHT_SD_MM / 10.0 * float(levels.litres_per_cm[ok[-1]])
    return float(np.hypot(levels.table_sd_l[ok[-1]], height))


def _past_litres(inputs: Inputs, house: House, normals: Normals, tank: Tank) -> PastLitres | None:
    """Litres burned between the first and the last receipt before the first level."""
    receipts = inputs.receipts
    if receipts is None or len(receipts.date) < 2:
        return None
    first_level = (
        inputs.readings.at[0].astype("datetime64[D]")
        if inputs.readings is not None and len(inputs.readings.at)
        else np.datetime64("9999-01-01")
    )
    before = receipts.date <= first_level
    date, litres, filled = receipts.date[before], receipts.litres[before], receipts.filled[before]
    if len(date) < 2 or (date[-1] - date[0]).astype(int) < 60:
        return None
    span = np.arange(date[0], date[-1], dtype="datetime64[D]")
    weather = complete_weather(inputs.weather, normals, first=span[0], today=span[-1] + 1)
    drivers = house_drivers(span, weather.temp_c[:-1], weather.ghi_wh_m2[:-1], house=house)
    # what was put in after the first fill, up to and with the last, was burned in between
    both_full = filled[0] == "yes" and filled[-1] == "yes"
    sd = (FILLED_SD if both_full else RECEIPT_SD) * tank.capacity_l
    assumed = float(weather.assumed[:-1].sum())
    sd = float(np.hypot(sd, house.prior.slope_l_per_kday * ASSUMED_DAY_K * np.sqrt(assumed)))
    return PastLitres(drivers, float(litres[1:].sum()), sd)


def _behind_and_ahead(past: PastWeather, ahead: WeatherYears) -> Floats:
    """Temperatures of the last ten known days in front of every scenario, for the oil's lag."""
    behind = np.broadcast_to(past.temp_c[-11:-1], (ahead.temp_c.shape[0], len(past.temp_c[-11:-1])))
    return np.concatenate([behind, ahead.temp_c], axis=1)


def _promised(ordered: Mapping[date, float], today: np.datetime64, days: int) -> Floats:
    out = np.zeros(days)
    for day, litres in ordered.items():
        index = (np.datetime64(day, "D") - today).astype(int)
        if 0 <= index < days:
            out[index] += litres
    return out


def _band(now_l: Floats) -> LitresBand:
    p10, p50, p90 = (float(v) for v in np.quantile(now_l, [0.1, 0.5, 0.9]))
    return LitresBand(p10, p50, p90)


def _run_dry_dates(p_dry: Floats, first: date) -> RunDryDates:
    def by(chance: float) -> date | None:
        return run_dry_date(p_dry, first=first, chance=chance)

    return RunDryDates(by(0.02), by(0.05), by(0.10), by(0.50), by(0.90), by(0.95))


def _daily(paths: Paths, p_dry: Floats) -> tuple[DayOutlook, ...]:
    # days first: a quantile over neighbouring numbers is several times faster
    by_day = np.ascontiguousarray(paths.litres.T)
    p025, p10, p25, p50, p75, p90, p975 = np.quantile(by_day, DAILY_QUANTILES, axis=1).tolist()
    first: date = paths.date[0].item()
    return tuple(
        DayOutlook(
            first + timedelta(days=i),
            p10[i],
            p50[i],
            p90[i],
            float(p_dry[i]),
            p025[i],
            p25[i],
            p75[i],
            p975[i],
        )
        for i in range(len(p_dry))
    )


def _last_trusted(levels: Levels) -> LastTrusted | None:
    ok = np.flatnonzero(levels.trusted())
    if len(ok) == 0:
        return None
    return LastTrusted(to_datetime(levels.at[ok[-1]]), float(levels.litres[ok[-1]]))
