"""The one table: which relation opens which operation, and how finely consumption is seen.

An operation without a row is not found by anybody. A row is written in the module of its subject::

    Row("POST", "/api/tanks/{tank}/orders", {Relation.OWNER: Grain.NONE})

with the path as the router knows it; the same relations are declared beside the operation. An object
of a tank (an order, a hook) has the tank in its path, ``/api/tanks/{tank}/orders/{order}``: the guard
looks at the tank, the operation looks the object up under that tank. The holder of a feed's key comes
with the key as ``{feed}`` in the path.

Flow     rows by subject -> **policy** -> guard
Source   OWASP ASVS 5.0, 8.1.1 to 8.3.1 (documented, enforced, by default denied)
"""

from collections.abc import Mapping
from types import MappingProxyType

from api.access.policy import accounts, doors, reach, setup, tanks
from api.access.policy.rows import Grain, Row, grain_for

POLICY: Mapping[tuple[str, str], Row] = MappingProxyType(
    {(row.method, row.path): row for part in (tanks, setup, doors, reach, accounts) for row in part.ROWS}
)
"""Method and path, as the router knows it, to the row."""

__all__ = ["POLICY", "Grain", "Row", "grain_for"]
