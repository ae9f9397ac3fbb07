"""Keep a mapping: its sensor found, its topic its own.

Flow     mapping as sent -> **kept** -> store
"""

import json
from datetime import datetime

from api.schemas.mapping.draft import mapping_json
from api.schemas.mapping.sent import MappingSent
from api.settings import Mode
from api.store import Session
from api.store.mappings import StoredMapping, save_mapping
from api.store.tanks import StoredTank
from api.usecases.record_readings import find_sensor
from forecaster.errors import InputError, Problem


def keep_mapping(
    session: Session, tank: StoredTank, sent: MappingSent, *, mode: Mode, now: datetime
) -> StoredMapping:
    """Store a mapping for the sensor it names, or for the one that takes its quantity.

    Raises
    ------
    InputError
        On a server for many homes, for a topic that could be another home's: there a topic carries the
        sensor's id, which nobody else can guess.
    NotFoundError
        When the tank has no such sensor.
    TopicTakenError
        When another mapping has its topic.
    """
    sensor = find_sensor(tank, sent.mapping.measures, sent.sensor)
    if mode is Mode.SERVER and sent.topic is not None and sensor.public_id not in sent.topic.split("/"):
        mend = (
            f"on this server a topic has the sensor's id as one of its levels: oil/{sensor.public_id}/level"
        )
        raise InputError(Problem("foreign_topic", "/topic", mend))
    body = json.dumps(mapping_json(sent.mapping))
    return save_mapping(session, sensor_id=sensor.id, topic=sent.topic, body=body, created_at=now)
