"""Who may bring readings, tickets, files and weather in, by every other door."""

from api.access.policy.rows import Grain, Row
from api.schemas.relation import Relation

_SENSOR = {Relation.OWNER: Grain.NONE, Relation.DEVICE: Grain.NONE}
_OWNER = {Relation.OWNER: Grain.NONE}
_OWNER_SEES = {Relation.OWNER: Grain.ANY}

ROWS: tuple[Row, ...] = (
    Row("POST", "/api/tanks/{tank}/senml", _SENSOR),
    Row("POST", "/api/tanks/{tank}/mappings/preview", _OWNER),
    Row("POST", "/api/tanks/{tank}/mappings", _OWNER),
    Row("GET", "/api/tanks/{tank}/mappings", _OWNER),
    Row("DELETE", "/api/tanks/{tank}/mappings/{mapping}", _OWNER),
    Row("POST", "/api/tanks/{tank}/mappings/{mapping}/messages", _SENSOR),
    Row("GET", "/api/tanks/{tank}/letters", _OWNER_SEES),
)
