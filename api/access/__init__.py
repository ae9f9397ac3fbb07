"""Who is asking, what they are to the object, and whether the policy lets them.

Flow     request -> `caller` -> `guard` (asks `policy`, looks up relations in the store) -> operation
Source   OWASP ASVS 5.0 chapters 7 (sessions) and 8 (authorization)

=============  ==============================================================================
`policy`       the one table: operation, relations that open it, grain of consumption
`caller`       the household at home, a paired phone, a signed-in account, a key, nobody
`guard`        the decision, before any operation runs
`cross_site`   requests that another site's page makes in somebody's browser
`cookie`       the token in a browser
=============  ==============================================================================
"""

from api.access.guard import Access, access_of, require_access

__all__ = ["Access", "access_of", "require_access"]
