"""The JSON operations. Each declares its relation, takes its input strictly, and answers after the commit."""

from fastapi import APIRouter, Depends

from api.routes import (
    forecasts,
    health,
    mappings,
    ordering,
    orders,
    readings,
    reminders,
    resending,
    senml,
    tanks,
    told,
    why,
)
from api.routes.strictness import refuse_unknown_parameters

router = APIRouter(dependencies=[Depends(refuse_unknown_parameters)])
for part in (
    health,
    tanks,
    readings,
    senml,
    resending,
    mappings,
    told,
    forecasts,
    why,
    orders,
    ordering,
    reminders,
):
    router.include_router(part.router)
router.include_router(reminders.feed_router)

__all__ = ["router"]
