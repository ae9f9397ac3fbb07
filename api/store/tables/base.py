"""What every table is made with: naming of constraints, keys, lists of known values."""

import sqlalchemy as sa

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
