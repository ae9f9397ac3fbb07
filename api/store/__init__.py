"""The database: the only place that speaks SQL.

Flow     wiring -> **store** -> use cases; each noun has a module of functions that take a `Session`
"""

from sqlalchemy.orm import Session

from api.store.engine import Store, StoreUnavailableError, UnsafeDatabaseError, make_engine
from api.store.migrate import is_migrated, migrate
from api.store.tanks import NotFoundError

__all__ = [
    "NotFoundError",
    "Session",
    "Store",
    "StoreUnavailableError",
    "UnsafeDatabaseError",
    "is_migrated",
    "make_engine",
    "migrate",
]
