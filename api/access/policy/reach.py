"""Who may place orders, set reminders, and read what goes out: calendars, hooks, messages."""

from api.access.policy.rows import Grain, Row
from api.schemas.relation import Relation

_OWNER = {Relation.OWNER: Grain.NONE}
_SEEN = {Relation.HOUSEHOLD: Grain.DAY}
_ANYONE = {Relation.ANYONE: Grain.NONE}

ROWS: tuple[Row, ...] = (
    Row("GET", "/api/tanks/{tank}/answer", _SEEN),
    Row("GET", "/api/tanks/{tank}/orders", _SEEN),
    Row("POST", "/api/tanks/{tank}/orders", _OWNER),
    Row("POST", "/api/tanks/{tank}/orders/{order}", _OWNER),
    Row("GET", "/api/tanks/{tank}/ordering", _SEEN),
    Row("PUT", "/api/tanks/{tank}/ordering", _OWNER),
    Row("GET", "/tanks/{tank}/ordering", {Relation.OWNER: Grain.ANY}, is_page=True),
    Row("POST", "/tanks/{tank}/ordering", {Relation.OWNER: Grain.ANY}, is_page=True),
    Row("GET", "/api/tanks/{tank}/reminders", _SEEN),
    Row("POST", "/api/tanks/{tank}/reminders/{reminder}/answer", _OWNER),
    Row("GET", "/api/tanks/{tank}/silences", _SEEN),
    Row("POST", "/api/tanks/{tank}/silences", _OWNER),
    Row("DELETE", "/api/tanks/{tank}/silences/{silence}", _OWNER),
    Row("GET", "/api/tanks/{tank}/contacts", _OWNER),
    Row("POST", "/api/tanks/{tank}/contacts", _OWNER),
    Row("POST", "/api/tanks/{tank}/contacts/{contact}/secret", _OWNER),
    Row("DELETE", "/api/tanks/{tank}/contacts/{contact}", _OWNER),
    Row("POST", "/api/tanks/{tank}/calendar", _OWNER),
    Row("DELETE", "/api/tanks/{tank}/calendar", _OWNER),
    Row("GET", "/calendar/{feed}", {Relation.FEED: Grain.TEXT}),
    Row("GET", "/tanks/{tank}/orders", _OWNER, is_page=True),
    Row("POST", "/tanks/{tank}/orders", _OWNER, is_page=True),
    Row("POST", "/tanks/{tank}/orders/{order}", _OWNER, is_page=True),
    Row("POST", "/tanks/{tank}/reminders/{reminder}/answer", _OWNER, is_page=True),
    Row("POST", "/tanks/{tank}/silences", _OWNER, is_page=True),
    Row("POST", "/tanks/{tank}/silences/{silence}/end", _OWNER, is_page=True),
    Row("POST", "/tanks/{tank}/contacts", _OWNER, is_page=True),
    Row("POST", "/tanks/{tank}/contacts/{contact}/end", _OWNER, is_page=True),
    Row("POST", "/tanks/{tank}/calendar", _OWNER, is_page=True),
    Row("GET", "/confirm/{token}", _ANYONE, is_page=True),
    Row("POST", "/confirm/{token}", _ANYONE, is_page=True),
)
