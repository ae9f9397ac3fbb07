"""What a forecast is made from, and the cut at its as-of instant.

Flow     files, store -> **inputs, cut at as-of** -> behind, ahead
"""

from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np

from forecaster.burn_model import Settings
from forecaster.calibration import Calibration
from forecaster.civil import civil_date, instant, zone_of
from forecaster.climate import WeatherYears
from forecaster.confidence import Appointment
from forecaster.deliveries import Deliveries, Receipts
from forecaster.diary import DeclaredChange, DiaryEntry
from forecaster.dwelling import Survey
from forecaster.forecast import PATHS, Chances
from forecaster.readings import Readings
from forecaster.reorder import OrderSettings
from forecaster.states import Reason
from forecaster.stove import StoveLog
from forecaster.tanks import Tank
from forecaster.weather import Outlook, Weather

HORIZON_DAYS = 365


@dataclass(frozen=True, slots=True, eq=False)
class Inputs:
    """Everything a forecast of one tank is made from.

    Attributes
    ----------
    tank, as_of, timezone
        The tank, the instant of knowledge (UTC), and the tank's zone.
    readings, deliveries, receipts, weather, years, outlook, survey, diary, changes, stove_log
        What there is; None where there is none. Anything later than as-of is not looked at.
    weather_ahead, chances
        Weather years already laid ahead of this place and day, and random numbers already drawn, so that
        many tanks share them; None: they are drawn.
    settings, appointment
        How oil is ordered here, and what the last told forecast promised.
    notes
        Reasons found at the door, such as a zone that had to be assumed.
    model, calibration, horizon_days, paths, spread
        Settings of the burn model, what its bands have been found to be worth (None: the paths are told as they are),
        days looked ahead, simulated paths, and their extra spread (None: what `forecaster.surprise` has).
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
    changes: tuple[DeclaredChange, ...] = ()
    stove_log: StoveLog | None = None
    weather_ahead: WeatherYears | None = None
    chances: Chances | None = None
    settings: OrderSettings = field(default_factory=OrderSettings)
    appointment: Appointment | None = None
    notes: tuple[Reason, ...] = ()
    model: Settings = field(default_factory=Settings)
    calibration: Calibration | None = None
    horizon_days: int = HORIZON_DAYS
    paths: int = PATHS
    spread: float | None = None


def known_at(inputs: Inputs) -> Inputs:
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
        changes=tuple(c for c in inputs.changes if np.datetime64(c.date, "D") <= today),
    )  # fmt: skip
