"""Change what was told of a tank: put a mistake right from the beginning, or say that it is another tank.

Flow     changed keys -> parse_tank, parse_survey -> **change** -> store
"""

import tomllib
from collections.abc import Collection, Mapping
from typing import Any

from api.ports import Clock
from api.store import Session
from api.store.tanks import (
    StoredTank,
    TextKind,
    correct_tank_version,
    list_tank_versions,
    load_text,
    rename_tank,
)
from api.usecases.import_house import import_survey
from api.usecases.register_tank import NAMELESS, redescribe_tank
from api.usecases.toml_text import to_toml
from forecaster.dwelling import parse_survey
from forecaster.tanks import parse_tank


def change_tank(
    session: Session,
    clock: Clock,
    tank: StoredTank,
    *,
    put: Mapping[str, Any],
    drop: Collection[str],
    from_now: bool,
) -> None:
    """Change keys of a tank's description.

    Parameters
    ----------
    put, drop
        Keys with their new values; keys that no longer stand there. Others stay as they are.
    from_now
        Whether it is another tank from now on; else the description was wrong, and the keys are put right
        in every version of it, so that all readings count as before.

    Raises
    ------
    TankError
        When the changed description cannot be used; nothing is changed.
    """
    now = clock.now()
    versions = list_tank_versions(session, tank.id, as_of=now)
    if from_now:
        redescribe_tank(session, clock, tank, tank_toml=_changed(versions[0].toml, put, drop), valid_from=now)
    else:
        old = tomllib.loads(versions[0].toml)
        for version in versions:
            values = tomllib.loads(version.toml)
            if any(values.get(key) != old.get(key) for key in {*put, *drop}):
                break  # from before another change of the same keys: what it says was another tank
            toml = _changed(version.toml, put, drop)
            parse_tank(toml)
            correct_tank_version(session, tank.id, toml=toml, valid_from=version.valid_from)
    name = parse_tank(_changed(versions[0].toml, put, drop)).name
    rename_tank(session, tank.id, name=name or NAMELESS, zone=tank.zone)


def change_survey(
    session: Session, clock: Clock, tank: StoredTank, *, put: Mapping[str, Any], drop: Collection[str]
) -> None:
    """Change keys of what is known of the house, from now on; a zone that changed is the tank's from now on.

    Raises
    ------
    SurveyError
        When the changed survey cannot be used; nothing is changed.
    """
    kept = load_text(session, tank.id, TextKind.SURVEY, as_of=clock.now()) or ""
    changed = _changed(kept, put, drop)
    survey = parse_survey(changed)
    import_survey(session, clock, tank, changed)
    if survey.timezone and survey.timezone != tank.zone:
        rename_tank(session, tank.id, name=tank.name, zone=survey.timezone)


def _changed(toml: str, put: Mapping[str, Any], drop: Collection[str]) -> str:
    return to_toml({**{k: v for k, v in tomllib.loads(toml).items() if k not in drop}, **put})
