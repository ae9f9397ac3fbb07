"""Messages about mappings as they are sent, and what is answered.

Flow     JSON value -> **mapping with its topic and sensor; preview** -> routes
"""

from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, Field

from api.schemas.mapping.draft import MAPPING_NAMES, MAPPING_SCHEMA, Mapping, read_mapping
from api.schemas.values import find_foul_values
from forecaster.errors import InputError, Problem

LONGEST_TOPIC = 512
"""Characters of a topic. MQTT allows more; no sensor of ours needs it."""
NAMES = MAPPING_NAMES | {"mapping", "topic", "sensor", "message"}


@dataclass(frozen=True, slots=True)
class MappingSent:
    """A mapping to be stored: its sensor's public id where it is named, its topic where it has one."""

    mapping: Mapping
    topic: str | None
    sensor: str | None


def read_mapping_sent(value: Any) -> MappingSent:
    """Check a mapping to be stored.

    Raises
    ------
    InputError
        With everything that is wrong; each problem's field is a pointer.
    """
    faults = _foul(value, {"mapping", "topic", "sensor"}, needed=("mapping",))
    topic, sensor = value.get("topic"), value.get("sensor")
    if topic is not None and not is_topic(topic):
        mend = f"give one topic of 1 to {LONGEST_TOPIC} characters, without + and #, not beginning with $"
        faults.append(Problem("topic", "/topic", mend))
    if sensor is not None and not isinstance(sensor, str):
        faults.append(Problem("not_a_text", "/sensor", "give the id of one of the tank's sensors"))
    if faults:
        raise InputError(faults)
    return MappingSent(read_mapping(value["mapping"], within="/mapping"), topic, sensor)


def read_sample(value: Any) -> tuple[Mapping, Any]:
    """Check a draft mapping with a sample message.

    Raises
    ------
    InputError
        With everything that is wrong with the draft; each problem's field is a pointer.
    """
    faults = _foul(value, {"mapping", "message"}, needed=("mapping", "message"))
    if faults:
        raise InputError(faults)
    return read_mapping(value["mapping"], within="/mapping"), value["message"]


def is_topic(value: Any) -> bool:
    """Whether a value names one topic of MQTT.

    Examples
    --------
    >>> is_topic("house/oil/level"), is_topic("house/+/level"), is_topic("$SYS/uptime")
    (True, False, False)
    """
    return (
        isinstance(value, str)
        and 1 <= len(value) <= LONGEST_TOPIC
        and not value.startswith("$")
        and value.isprintable()
        and not set("+#") & set(value)
    )


def _foul(value: Any, members: set[str], *, needed: tuple[str, ...]) -> list[Problem]:
    if not isinstance(value, dict):
        raise InputError(Problem("not_an_object", "", "give an object"))
    faults = find_foul_values(value, known=NAMES)
    if value.keys() - members:
        faults.append(
            Problem("unknown_member", "", f"give {', '.join(sorted(members))}, and no other member")
        )
    faults += [Problem("missing", f"/{name}", "add this member") for name in needed if name not in value]
    return faults


class MappingOut(BaseModel):
    """A stored mapping."""

    id: str
    sensor: str = Field(description="id of the sensor whose messages it reads")
    topic: str | None
    mapping: dict[str, str]
    dropped: dict[str, int] = Field(description="messages that were only counted, by reason")


class MappingsOut(BaseModel):
    """A tank's mappings."""

    mappings: list[MappingOut]


class LetterOut(BaseModel):
    """A message that could not be read."""

    topic: str
    code: str
    mend: str
    received_at: str
    size: int
    text: str = Field(description="its beginning, as far as it is text")


class LettersOut(BaseModel):
    """The newest messages that could not be read, newest first."""

    letters: list[LetterOut]


DRAFT_SCHEMA: dict[str, Any] = {
    "type": "object",
    "title": "MappingIn",
    "properties": {
        "mapping": MAPPING_SCHEMA,
        "topic": {"type": "string", "minLength": 1, "maxLength": LONGEST_TOPIC},
        "sensor": {"type": "string"},
    },
    "required": ["mapping"],
    "additionalProperties": False,
}
SAMPLE_SCHEMA: dict[str, Any] = {
    "type": "object",
    "title": "Sample",
    "properties": {"mapping": MAPPING_SCHEMA, "message": {"description": "as the sensor sends it"}},
    "required": ["mapping", "message"],
    "additionalProperties": False,
}
