"""A level that a person read: off a stick, or off a gauge; beside the tank, or passed on by phone.

Flow     dip or fraction with its step -> **reading of the dip stick or gauge** -> store, words
Formula  var = step²/12 + floor², the step as the person read it, at least `STICK_STEP_MM` or `GAUGE_STEP`
Source   least steps: common practice, no source (oil creeps on a stick; a float gauge has eighths at best)
"""

from collections.abc import Mapping
from datetime import datetime, timedelta
from types import MappingProxyType

import numpy as np

from api.ports import Clock
from api.store import Session
from api.store.readings import Outcome, newest_reading
from api.store.tanks import StoredTank, load_tank_version
from api.usecases.record_readings import Measurement, describe, find_sensor, record_readings
from api.usecases.told.stored import Stored, refuse
from forecaster.civil import instant, zone_of
from forecaster.errors import DipcastError
from forecaster.levels import to_levels
from forecaster.phrases import litres_text, moment_text
from forecaster.readings import Quantity, Readings
from forecaster.screening import screen_readings
from forecaster.tanks import Tank

STICK_STEP_MM = 5.0
"""A stick is not read finer. [mm]"""
GAUGE_STEP = 0.1
"""A gauge is not read finer, as a part of the tank. [-]"""
SAME_WITHIN = timedelta(minutes=2)
"""The same value again so soon is the same button pressed twice."""
ABOVE_TANK = 1.02
"""A dip may be so much higher than the tank is on file."""
SAID_BY: Mapping[str, str] = MappingProxyType(
    {"household": "by the household", "carer": "as a carer said", "supplier": "as the supplier said"}
)
"""Who may have said it; kept beside the reading."""


def record_level_told(
    session: Session,
    clock: Clock,
    tank: StoredTank,
    *,
    quantity: Quantity,
    value: float,
    step: float,
    at: datetime | None,
    who: str,
    field: str,
) -> Stored:
    """Store a level that a person read.

    Parameters
    ----------
    quantity, value, step
        ``dip_mm`` or ``fraction``, and how finely it was read.
    at
        When; None for now.
    who
        One of `SAID_BY`.
    field
        Member in which the value came, to name where it cannot be.

    Raises
    ------
    InputError
        When this tank cannot have such a level.
    """
    described = describe(load_tank_version(session, tank.id, as_of=at or clock.now()).toml)
    height_mm = described.shape.height_mm
    if quantity is Quantity.DIP_MM and value > ABOVE_TANK * height_mm:
        mend = (
            f"check number and unit: the tank on file is {height_mm:,.0f} mm high inside, not {value:,.0f} mm"
        )
        refuse("above_tank", field, mend)
    least = STICK_STEP_MM if quantity is Quantity.DIP_MM else GAUGE_STEP
    step = max(step, least)
    sensor = find_sensor(tank, quantity)
    now = clock.now().replace(microsecond=0)
    last = newest_reading(session, sensor.id)
    if at is None and last is not None and last.value == value and now - last.at < SAME_WITHIN:
        return Stored("known", _words("Known before", tank, described, quantity, value, step, last.at, who))
    measurement = Measurement(at or now, quantity, value, step=step)
    (recorded,) = record_readings(session, clock, tank, [measurement], sensor=sensor.public_id, source=who)
    kept = recorded.reading
    if recorded.outcome is Outcome.NEW:
        return Stored("new", _words("Stored", tank, described, quantity, value, step, kept.at, who))
    if recorded.outcome is Outcome.KNOWN:
        return Stored("known", _words("Known before", tank, described, quantity, value, step, kept.at, who))
    return Stored("conflict", "Another value is kept for this very time; the first stays.")


def _words(
    what: str,
    tank: StoredTank,
    described: Tank,
    quantity: Quantity,
    value: float,
    step: float,
    at: datetime,
    who: str,
) -> str:
    level = f"{value:,.0f} mm of oil" if quantity is Quantity.DIP_MM else f"{value:.0%} by the gauge"
    when = moment_text(at, zone_of(tank.zone))
    return f"{what}: {level} in {tank.name}, {when}, {SAID_BY[who]}{_litres(described, quantity, value, step, at)}."


def _litres(described: Tank, quantity: Quantity, value: float, step: float, at: datetime) -> str:
    """Say the litres at that level with their spread; nothing where the shape has none there."""
    nowhere = np.array([np.nan])
    one = Readings(
        np.array([instant(at)]),
        np.array([str(quantity)]),
        np.array([value]),
        nowhere,
        nowhere,
        np.array([step]),
    )
    try:
        levels = to_levels(one, described, flags=screen_readings(one, described))
    except DipcastError:
        return ""
    litres, sd = float(levels.litres[0]), float(levels.sd_l[0])
    if not np.isfinite(litres):
        return ""
    spread = max(1.0, round(2.0 * sd, -1 if 2.0 * sd >= 10.0 else 0))
    return f": about {litres_text(litres, sd=sd)}, give or take {spread:,.0f}"
