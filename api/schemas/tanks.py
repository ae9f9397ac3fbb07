"""A tank as it is sent, and what is answered.

The members of ``tank`` and ``survey`` are the keys of tank.toml and survey.toml; the engine's own
readers check them, so that a file and a message are judged alike.

Flow     JSON value -> **texts of tank and survey** -> register_tank -> **answer**
"""

from dataclasses import dataclass, fields
from typing import Any

from pydantic import BaseModel, Field

from api.schemas.values import find_foul_values
from api.store.tanks import StoredTank
from api.usecases.toml_text import to_toml
from forecaster.dwelling import Survey
from forecaster.errors import InputError, Problem
from forecaster.tanks import Tank
from forecaster.tanks.build import SHAPE_KEYS
from forecaster.tanks.file import COMMON_KEYS

TANK_NAMES = frozenset(COMMON_KEYS).union(*SHAPE_KEYS.values())
SURVEY_NAMES = frozenset(f.name for f in fields(Survey)) | {
    *("rated_kw", "evenings_per_week", "hours"),
    *("window_m2", "window_azimuth", "thermal_m2", "pv_kwp", "pv_tilt", "pv_azimuth", "diverter"),
}
"""Keys of tank.toml and of survey.toml, its sections' included: what may stand in a pointer."""
_NAMES = TANK_NAMES | SURVEY_NAMES | {"tank", "survey"}


@dataclass(frozen=True, slots=True)
class TankSent:
    """A tank's and, if given, its survey's text."""

    tank_toml: str
    survey_toml: str | None


def read_tank(value: Any) -> TankSent:
    """Check a message's outer form, and write its two objects as TOML.

    Raises
    ------
    InputError
        With what is wrong; each problem's field is a pointer (RFC 6901).
    """
    faults = find_foul_values(value, known=_NAMES)
    parts: dict[str, str] = {}
    if not isinstance(value, dict):
        faults.append(Problem("not_an_object", "", "give an object with the member tank"))
    else:
        if "tank" not in value:
            faults.append(Problem("missing", "/tank", "add this member"))
        if value.keys() - {"tank", "survey"}:
            faults.append(Problem("unknown_member", "", "give tank and survey, and no other member"))
        for name in value.keys() & {"tank", "survey"}:
            if not isinstance(value[name], dict):
                faults.append(Problem("not_an_object", f"/{name}", "give an object"))
                continue
            try:
                parts[name] = to_toml(value[name])
            except ValueError:
                faults.append(Problem("null", f"/{name}", "leave out what is not known"))
    if faults:
        raise InputError(faults)
    return TankSent(parts["tank"], parts.get("survey"))


class SensorOut(BaseModel):
    """A sensor of a tank."""

    id: str
    kind: str = Field(description="level_sensor takes ullages, dip_stick dips, gauge litres and fractions")


class TankOut(BaseModel):
    """A tank as it was understood; litres are bulk litres, heel included."""

    id: str = Field(description="tells nothing about the tank")
    name: str
    zone: str
    capacity_l: float
    safe_fill_l: float
    heel_l: float
    sensors: list[SensorOut]


def tank_out(stored: StoredTank, tank: Tank) -> TankOut:
    """Answer with a stored tank."""
    return TankOut(
        id=stored.public_id,
        name=stored.name,
        zone=stored.zone,
        capacity_l=round(tank.capacity_l, 1),
        safe_fill_l=round(tank.safe_fill_l, 1),
        heel_l=round(tank.heel_l, 1),
        sensors=[SensorOut(id=s.public_id, kind=s.kind) for s in stored.sensors],
    )


TANK_SCHEMA: dict[str, Any] = {
    "type": "object",
    "title": "TankIn",
    "properties": {
        "tank": {"type": "object", "description": "the keys of tank.toml"},
        "survey": {"type": "object", "description": "the keys of survey.toml"},
    },
    "required": ["tank"],
    "additionalProperties": False,
    "example": {
        "tank": {
            "shape": "horizontal_cylinder",
            "product": "kerosene",
            "diameter_mm": 1200,
            "length_mm": 1800,
            "sensor_height_mm": 1250,
        }
    },
}
