"""The API's reference for those who write programs: our own page, from our own description.

The framework's page loads its scripts from another host; this one has no script, stands whole in the
page, and is searched as any page is.

Flow     OpenAPI document -> **reference** -> template
"""

from fastapi import APIRouter, FastAPI
from fastapi.responses import HTMLResponse

from api.pages.render import render
from api.pages.telling.reference import tell_reference
from api.pages.visit import Here
from api.schemas.relation import Relation, relation

router = APIRouter()


@router.get("/reference")
@relation(Relation.ANYONE)
def read_reference(visit: Here) -> HTMLResponse:
    """Describe every operation for programs: what it takes, answers and refuses, with an example."""
    app = visit.request.app
    assert isinstance(app, FastAPI)
    return render("reference.html", groups=tell_reference(app.openapi(), address=visit.address))
