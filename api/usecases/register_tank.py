"""Take in a tank: its description and, if there is one, the survey of its house.

Flow     tank.toml, survey.toml -> **register** -> store
"""

from datetime import datetime

from api.ports import Clock
from api.store import Session
from api.store.tanks import BEGINNING, StoredTank, TextKind, save_tank, save_tank_version, save_text
from forecaster.dwelling import parse_survey
from forecaster.tanks import parse_tank

NAMELESS = "Tank"
"""What a tank without a name is called."""


def register_tank(
    session: Session, clock: Clock, *, tank_toml: str, survey_toml: str | None = None
) -> StoredTank:
    """Store a new tank, with a sensor of each kind.

    Its civil days are those of the survey's zone, else of the tank file's, else of UTC.

    Raises
    ------
    TankError, SurveyError
        When one of the two texts cannot be used; nothing is stored.
    """
    tank = parse_tank(tank_toml)
    survey = parse_survey(survey_toml) if survey_toml is not None else None
    zone = (survey.timezone if survey else None) or tank.timezone or "UTC"
    now = clock.now()
    stored = save_tank(session, name=tank.name or NAMELESS, zone=zone, toml=tank_toml, created_at=now)
    if survey_toml is not None:
        save_text(session, stored.id, TextKind.SURVEY, body=survey_toml, valid_from=BEGINNING, created_at=now)
    return stored


def redescribe_tank(
    session: Session, clock: Clock, tank: StoredTank, *, tank_toml: str, valid_from: datetime
) -> None:
    """Store a changed description of a tank from an instant on; litres before it stay as they were.

    Raises
    ------
    TankError
        When the text cannot be used.
    """
    parse_tank(tank_toml)
    save_tank_version(session, tank.id, toml=tank_toml, valid_from=valid_from, created_at=clock.now())
