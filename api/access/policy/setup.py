"""Who may set a tank up by page, and change what was told of it."""

from api.access.policy.rows import Grain, Row
from api.schemas.relation import Relation


def _page(method: str, path: str, relation: Relation, grain: Grain = Grain.NONE) -> Row:
    return Row(method, path, {relation: grain}, is_page=True)


ROWS: tuple[Row, ...] = (
    _page("GET", "/set-up", Relation.FOUNDER),
    _page("POST", "/set-up/again", Relation.FOUNDER),
    _page("GET", "/set-up/{step}", Relation.FOUNDER),
    _page("POST", "/set-up/{step}", Relation.FOUNDER),
    _page("GET", "/tanks/{tank}/first-answer", Relation.OWNER, Grain.ANY),
    _page("GET", "/tanks/{tank}/set-up", Relation.OWNER),
    _page("GET", "/tanks/{tank}/set-up/{step}", Relation.OWNER),
    _page("POST", "/tanks/{tank}/set-up/{step}", Relation.OWNER),
)
