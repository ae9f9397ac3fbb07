"""A sensor that was moved: an event with its own time, and no oil.

From then on the tank's description has the new height; what was read before keeps the old one.

Flow     new height, time -> **a new version of the description** -> store, words
"""

import tomllib
from datetime import datetime
from typing import Any

from api.ports import Clock
from api.store import Session
from api.store.tanks import StoredTank, load_tank_version, lock_tank
from api.usecases.moved_sensor import HEIGHT_KEYS
from api.usecases.register_tank import redescribe_tank
from api.usecases.told.stored import Stored, refuse
from api.usecases.toml_text import to_toml
from forecaster.civil import zone_of
from forecaster.errors import TankError
from forecaster.phrases import moment_text


def record_sensor_moved(
    session: Session, clock: Clock, tank: StoredTank, *, at: datetime, sensor_height_mm: float
) -> Stored:
    """Store that the sensor sits at another height from a time on.

    Raises
    ------
    InputError
        When no sensor of this tank can sit there, or a later change is known already.
    """
    lock_tank(session, tank.id)
    at = at.replace(microsecond=0)
    latest = load_tank_version(session, tank.id, as_of=clock.now())
    if latest.valid_from > at:
        refuse("changed_later", "at", "give a time after the tank's last change, which is later than this")
    keys: dict[str, Any] = tomllib.loads(latest.toml)
    where = f"the sensor of {tank.name} {sensor_height_mm:,.0f} mm above the inside bottom"
    when = moment_text(at, zone_of(tank.zone))
    if keys.get("sensor_height_mm") == sensor_height_mm:
        return Stored("known", f"Known before: {where}.")
    if latest.valid_from == at:
        return Stored("conflict", "Another change is kept for this very time; the first stays.")
    changed = {name: value for name, value in keys.items() if name not in HEIGHT_KEYS}
    toml = to_toml({**changed, "sensor_height_mm": sensor_height_mm})
    try:
        redescribe_tank(session, clock, tank, tank_toml=toml, valid_from=at)
    except TankError as bad:
        refuse(bad.problems[0].code, "sensor_height_mm", bad.problems[0].mend)
    return Stored("new", f"Stored: {where}, from {when} on.")
