"""What the doors in keep besides readings: mappings, letters that could not be read, sources."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables of this step, and give a reading the step in which it was read."""
    op.add_column("reading", sa.Column("step", sa.Double(), nullable=True))
    op.create_table(
        "mapping",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("sensor_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("topic", sa.Text(), nullable=True),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["sensor_id"], ["sensor.id"], name=op.f("fk_mapping_sensor_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_mapping")),
        sa.UniqueConstraint("public_id", name=op.f("uq_mapping_public_id")),
        sa.UniqueConstraint("topic", name=op.f("uq_mapping_topic")),
        comment="how a sensor's own messages are read; with a topic, those that come there over MQTT",
    )
    op.create_table(
        "letter",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("mapping_id", sa.Integer(), nullable=True),
        sa.Column("topic", sa.Text(), nullable=False),
        sa.Column("payload", sa.LargeBinary(), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("mend", sa.Text(), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["mapping_id"], ["mapping.id"], name=op.f("fk_letter_mapping_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_letter")),
        comment="a message that could not be stored as a reading, kept with the reason and never asked for again",
    )
    op.create_index("ix_letter_mapping_id", "letter", ["mapping_id"], unique=False)
    op.create_table(
        "dropped",
        sa.Column("topic", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("topic", "code", name=op.f("pk_dropped")),
        comment="messages that are no reading of any time, such as retained ones without a time; only counted",
    )
    op.create_table(
        "weather_source",
        sa.Column("station_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("latitude", sa.Double(), nullable=False),
        sa.Column("longitude", sa.Double(), nullable=False),
        sa.Column("zone", sa.Text(), nullable=False),
        sa.Column("fetched_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("tried_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("next_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("trouble", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_weather_source_station_id")),
        sa.PrimaryKeyConstraint("station_id", name=op.f("pk_weather_source")),
        comment="where a station's weather is asked for, when it last came, and when it may be asked for again",
    )
