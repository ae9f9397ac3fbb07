"""The migrations make exactly the tables that the program declares, on both databases."""

from typing import Any

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext

from api.store import UnsafeDatabaseError, is_migrated, make_engine, migrate
from api.store.tables import metadata


def _shape(engine: sa.Engine) -> dict[str, Any]:
    """Every table's columns, keys, checks and indexes, as the database itself tells them."""
    look = sa.inspect(engine)
    return {
        table: {
            "columns": [
                (c["name"], str(c["type"]), c["nullable"], c.get("autoincrement"))
                for c in look.get_columns(table)
            ],
            "primary": look.get_pk_constraint(table),
            "foreign": sorted(map(str, look.get_foreign_keys(table))),
            "unique": sorted(map(str, look.get_unique_constraints(table))),
            "checks": sorted(str((c["name"], c["sqltext"])) for c in look.get_check_constraints(table)),
            "indexes": sorted(
                (i["name"], i["column_names"], i["unique"], [str(o) for o in i["dialect_options"].values()])
                for i in look.get_indexes(table)
            ),
        }
        for table in look.get_table_names()
        if table != "alembic_version"
    }


def test_migrated_shape_is_the_declared_shape(empty_url: str) -> None:
    """A migrated database has the declared tables, to the last constraint."""
    engine = make_engine(empty_url)
    migrate(engine)
    with engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []
    migrated = _shape(engine)
    with engine.begin() as connection:
        connection.execute(sa.text("DROP TABLE alembic_version"))
        metadata.drop_all(connection)
        metadata.create_all(connection)
    assert migrated == _shape(engine)
    assert set(migrated) == set(metadata.tables)
    engine.dispose()


def test_migrating_twice_changes_nothing(empty_url: str) -> None:
    """Starting again on a migrated database runs no step."""
    engine = make_engine(empty_url)
    migrate(engine)
    before = _shape(engine)
    migrate(engine)
    with engine.connect() as connection:
        assert is_migrated(connection)
    assert _shape(engine) == before
    engine.dispose()


def test_database_of_a_newer_program_is_refused(empty_url: str) -> None:
    """A database with a step that this program does not know is left alone."""
    engine = make_engine(empty_url)
    migrate(engine)
    with engine.begin() as connection:
        connection.execute(sa.text("UPDATE alembic_version SET version_num = 'later'"))
    with pytest.raises(UnsafeDatabaseError, match="newer version"):
        migrate(engine)
    engine.dispose()


def test_a_failed_step_leaves_no_trace(empty_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A crash at any statement of the migration leaves an empty database, on both."""
    engine = make_engine(empty_url)
    for failing in (2, 5, 12):
        seen = 0

        def fail(*args: Any, failing: int = failing) -> None:
            nonlocal seen
            seen += "CREATE" in args[2]
            if seen == failing:
                raise RuntimeError("the power went")

        sa.event.listen(engine, "before_cursor_execute", fail)
        with pytest.raises(RuntimeError, match="the power went"):
            migrate(engine)
        sa.event.remove(engine, "before_cursor_execute", fail)
        assert sa.inspect(engine).get_table_names() == []
    migrate(engine)
    assert set(_shape(engine)) == set(metadata.tables)
    engine.dispose()
