"""Who may bring readings, tickets, files and weather in, by every other door."""

from api.access.policy.rows import Grain, Row
from api.schemas.relation import Relation

_SENSOR = {Relation.OWNER: Grain.NONE, Relation.DEVICE: Grain.NONE}

ROWS: tuple[Row, ...] = (Row("POST", "/api/tanks/{tank}/senml", _SENSOR),)
