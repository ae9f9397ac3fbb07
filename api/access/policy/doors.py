"""Who may bring readings, tickets, files and weather in, by every other door."""

from api.access.policy.rows import Grain, Row
from api.schemas.relation import Relation

_SENSOR = {Relation.OWNER: Grain.NONE, Relation.DEVICE: Grain.NONE}
_OWNER = {Relation.OWNER: Grain.NONE}
_OWNER_SEES = {Relation.OWNER: Grain.ANY}
_TOLD = ("dips", "gauges", "deliveries", "removals", "bills", "wood", "diary", "changes", "sensor-moves")
"""What people tell, each at an address of its own."""

ROWS: tuple[Row, ...] = (
    Row("POST", "/api/tanks/{tank}/senml", _SENSOR),
    Row("GET", "/api/tanks/{tank}/sensors/{sensor}/last", _SENSOR),
    Row("POST", "/api/tanks/{tank}/mappings/preview", _OWNER),
    Row("POST", "/api/tanks/{tank}/mappings", _OWNER),
    Row("GET", "/api/tanks/{tank}/mappings", _OWNER),
    Row("DELETE", "/api/tanks/{tank}/mappings/{mapping}", _OWNER),
    Row("POST", "/api/tanks/{tank}/mappings/{mapping}/messages", _SENSOR),
    Row("GET", "/api/tanks/{tank}/letters", _OWNER_SEES),
    *(Row("POST", f"/api/tanks/{{tank}}/{kind}", _OWNER) for kind in _TOLD),
    Row("GET", "/tanks/{tank}/tell", _OWNER, is_page=True),
    Row("GET", "/tanks/{tank}/tell/{what}", _OWNER, is_page=True),
    Row("POST", "/tanks/{tank}/tell/{what}", _OWNER, is_page=True),
    Row("GET", "/tanks/{tank}/readings-file", _OWNER, is_page=True),
    Row("POST", "/tanks/{tank}/readings-file", _OWNER, is_page=True),
    Row("GET", "/tanks/{tank}/messages", _OWNER_SEES, is_page=True),
    Row("POST", "/tanks/{tank}/messages", _OWNER_SEES, is_page=True),
    Row("POST", "/tanks/{tank}/messages/{mapping}/forget", _OWNER, is_page=True),
)
