"""Who may do what with tanks, their readings and forecasts; and what is open to anyone."""

from api.access.policy.rows import Grain, Row
from api.schemas.relation import Relation

ROWS = (
    Row("GET", "/health/live", {Relation.ANYONE: Grain.NONE}),
    Row("GET", "/health/ready", {Relation.ANYONE: Grain.NONE}),
    Row("GET", "/openapi.json", {Relation.ANYONE: Grain.NONE}),
    Row("GET", "/static/{named}/{path:path}", {Relation.ANYONE: Grain.NONE}),
    Row("GET", "/cautions", {Relation.ANYONE: Grain.NONE}, is_page=True),
    Row("GET", "/reference", {Relation.ANYONE: Grain.NONE}, is_page=True),
    Row("GET", "/", {Relation.SELF: Grain.NONE}, is_page=True),
    Row("GET", "/tanks/{tank}", {Relation.HOUSEHOLD: Grain.DAY}, is_page=True),
    Row("GET", "/tanks/{tank}/why", {Relation.HOUSEHOLD: Grain.DAY}, is_page=True),
    Row("GET", "/api/tanks/{tank}/why", {Relation.HOUSEHOLD: Grain.DAY}),
    Row("POST", "/api/tanks", {Relation.FOUNDER: Grain.NONE}),
    Row("POST", "/api/tanks/{tank}/readings", {Relation.OWNER: Grain.NONE, Relation.DEVICE: Grain.NONE}),
    Row(
        "GET",
        "/api/tanks/{tank}/forecast",
        {Relation.HOUSEHOLD: Grain.DAY, Relation.DISTRIBUTOR: Grain.COARSE},
    ),
)
