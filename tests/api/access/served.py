"""The operations that an application really serves, found by walking its routers."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from starlette.routing import Mount

from api.schemas.relation import Relation, declared_relations


@dataclass(frozen=True)
class Operation:
    """One method of one path, with what is declared beside it."""

    method: str
    path: str
    declared: frozenset[Relation]


def operations_of(routes: Any) -> Iterator[Operation]:
    """Go through every route, those of routers inside routers too."""
    for route in routes:
        if hasattr(route, "original_router"):
            yield from operations_of(route.original_router.routes)
            continue
        assert not isinstance(route, Mount), f"{route.path}: what is mounted cannot be walked"
        for method in sorted(route.methods or ()):
            yield Operation(method, route.path, declared_relations(route.endpoint))
