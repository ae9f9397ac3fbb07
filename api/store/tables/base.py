"""What every table is made with: naming of constraints, keys, public ids, known values, partial uniqueness."""

from typing import Any

import sqlalchemy as sa

from api.store.columns import PlainText

metadata = sa.MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
    }
)


def one_of(column: str, values: tuple[str, ...]) -> sa.CheckConstraint:
    """Let a column hold one of some words only."""
    return sa.CheckConstraint(f"{column} IN ({', '.join(repr(v) for v in values)})", name=f"{column}_known")


def key(name: str, target: str, *, primary_key: bool = False) -> sa.Column[int]:
    """Point at another table."""
    return sa.Column(
        name, sa.Integer, sa.ForeignKey(target), nullable=False, primary_key=primary_key, autoincrement=False
    )


def public_id() -> sa.Column[str]:
    """Name a row towards the outside: random, so that it cannot be guessed."""
    return sa.Column("public_id", PlainText, nullable=False, unique=True)


def unique_where(name: str, *columns: sa.Column[Any], where: sa.ColumnElement[bool]) -> sa.Index:
    """Let columns be unique together among the rows for which a condition holds, on both databases."""
    return sa.Index(name, *columns, unique=True, sqlite_where=where, postgresql_where=where)
