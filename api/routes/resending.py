"""What a sensor needs to know to send again: until when we have its readings. Nothing of their values."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Depends
from pydantic import BaseModel, Field

from api.access import Access, access_of
from api.routes.strictness import problems
from api.schemas.relation import Relation, relation
from api.store import NotFoundError
from api.store.readings import newest_reading
from api.store.tanks import load_tank
from api.wiring import Services, services_of

router = APIRouter(prefix="/api", tags=["readings"])


class LastOut(BaseModel):
    """Until when a sensor's readings are stored."""

    at: datetime | None = Field(description="time of the newest one, UTC; null where there is none")


@router.get("/tanks/{tank}/sensors/{sensor}/last", responses=problems(404, 422, 503))
@relation(Relation.OWNER, Relation.DEVICE)
def read_last(
    tank: str,
    sensor: str,
    services: Annotated[Services, Depends(services_of)],
    access: Annotated[Access, Depends(access_of)],
) -> LastOut:
    """Tell the time of a sensor's newest stored reading, so that it can send again what is later.

    A broker's acknowledgement says only that the broker has a message: what it loses before it hands it
    over never reaches us. A sensor that keeps its readings sends again from here on.
    """
    with services.store.read() as session:
        for one in load_tank(session, tank).sensors:
            if one.public_id == access.sensor_for(sensor):
                last = newest_reading(session, one.id)
                return LastOut(at=None if last is None else last.sent_at)
    raise NotFoundError
