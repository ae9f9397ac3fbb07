"""What a row of the policy is.

Flow     **rows** -> the table by subject -> policy
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import IntEnum

from api.schemas.relation import Relation


class Grain(IntEnum):
    """How finely somebody sees what is burned, which shows when a home is empty; larger is finer."""

    NONE = 0
    """Nothing of it."""
    TEXT = 1
    """Words without litres."""
    COARSE = 2
    """Litres rounded to ten, dates without hours."""
    WEEK = 3
    """By the week or coarser."""
    DAY = 4
    """By the day or coarser."""
    ANY = 5
    """As it came; for the owner alone."""


@dataclass(frozen=True, slots=True)
class Row:
    """One operation: its method and path as the router knows them, who it is open to, and how finely.

    Attributes
    ----------
    allowed
        For each relation that opens the operation the finest grain that it may see. An owner is of
        the household, and sees at any grain wherever the household or the owner is named.
    is_page
        Whether people read the answer in a browser: it is then a page also when it says no.
    """

    method: str
    path: str
    allowed: Mapping[Relation, Grain]
    is_page: bool = False


def grain_for(row: Row, held: Iterable[Relation]) -> Grain | None:
    """Tell the finest grain that relations open an operation at; None where they do not open it.

    Examples
    --------
    >>> row = Row("GET", "/tanks/{tank}", {Relation.HOUSEHOLD: Grain.DAY})
    >>> grain_for(row, {Relation.HOUSEHOLD, Relation.OWNER}).name, grain_for(row, {Relation.DEVICE})
    ('ANY', None)
    """
    opening = [row.allowed[relation] for relation in held if relation in row.allowed]
    if not opening:
        return None
    is_owners = Relation.OWNER in held and row.allowed.keys() & {Relation.OWNER, Relation.HOUSEHOLD}
    return Grain.ANY if is_owners else max(opening)
