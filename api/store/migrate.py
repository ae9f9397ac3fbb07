"""Bring a database to the present shape.

Flow     engine -> **migrate** -> store
"""

from pathlib import Path

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from api.store.engine import UnsafeDatabaseError

_LOCK = 0x646970  # any number: two processes that start together take turns


def alembic_config(connection: sa.Connection | None = None) -> Config:
    """Make Alembic's settings for the steps packaged here.

    To write a new step, call ``alembic.command.revision(alembic_config(connection), autogenerate=True,
    message="...")`` on a migrated database.
    """
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config


def migrate(engine: sa.Engine) -> None:
    """Run the missing steps, all in one transaction; nothing happens on a database that has them."""
    with engine.begin() as connection:  # SQLite: BEGIN IMMEDIATE, one process at a time
        if engine.dialect.name == "postgresql":
            connection.execute(sa.text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
        current = MigrationContext.configure(connection).get_current_revision()
        script = ScriptDirectory.from_config(alembic_config())
        known = {step.revision for step in script.walk_revisions()}
        if current is not None and current not in known:
            raise UnsafeDatabaseError("the database was written by a newer version of the program")
        command.upgrade(alembic_config(connection), "head")


def is_migrated(connection: sa.Connection) -> bool:
    """Tell whether the database has every step that this program knows."""
    head = ScriptDirectory.from_config(alembic_config()).get_current_head()
    return MigrationContext.configure(connection).get_current_revision() == head
