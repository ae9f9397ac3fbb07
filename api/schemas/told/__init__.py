"""What people tell, member by member: the same for a form on a phone and for a message in JSON.

A form sends texts; a message sends numbers as numbers. Either is read by the same strict parsers, so
that a page and a program are refused alike, each at the member concerned.

Flow     texts or JSON -> `members` -> values -> `kinds` -> use cases -> **what was stored, in words**
"""

from api.schemas.told.kinds import KINDS, Kind
from api.schemas.told.members import Member, read_json, read_texts

__all__ = ["KINDS", "Kind", "Member", "read_json", "read_texts"]
