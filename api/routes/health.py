"""Whether the service lives, and whether it can take readings."""

from typing import Annotated, Literal

from fastapi import APIRouter, Depends
from pydantic import BaseModel

from api.routes.strictness import problems
from api.schemas.relation import Relation, relation
from api.store import StoreUnavailableError, is_migrated
from api.wiring import Services, services_of

router = APIRouter(prefix="/health", tags=["health"])


class HealthOut(BaseModel):
    """The state of the service."""

    status: Literal["live", "ready"]


@router.get("/live", responses=problems(422))
@relation(Relation.ANYONE)
def read_live() -> HealthOut:
    """Tell that the process answers, whatever the database does."""
    return HealthOut(status="live")


@router.get("/ready", responses=problems(422, 503))
@relation(Relation.ANYONE)
def read_ready(services: Annotated[Services, Depends(services_of)]) -> HealthOut:
    """Tell whether the database answers and has its present shape."""
    with services.store.read() as session:
        if not is_migrated(session.connection()):
            raise StoreUnavailableError("not migrated")
    return HealthOut(status="ready")
