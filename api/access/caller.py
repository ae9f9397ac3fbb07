"""Who is asking.

Flow     request -> **caller** -> guard
"""

from dataclasses import dataclass

from starlette.requests import Request

from api.schemas.relation import Relation


@dataclass(frozen=True, slots=True)
class Caller:
    """Whoever a request comes from.

    Attributes
    ----------
    everywhere
        Relations that hold whatever the object: of the household at home, to all its tanks.
    """

    everywhere: frozenset[Relation]


HOUSEHOLD_AT_HOME = Caller(
    frozenset({Relation.ANYONE, Relation.SELF, Relation.HOUSEHOLD, Relation.OWNER, Relation.OPERATOR})
)
"""Who sits at the machine of a home: all tanks in it are theirs, and they run the service."""


def identify(request: Request) -> Caller:
    """Find out who a request comes from."""
    return HOUSEHOLD_AT_HOME
