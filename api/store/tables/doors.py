"""What the doors in keep besides readings: mappings, letters that could not be read, sources.

Flow     columns -> **tables** -> store
"""

import sqlalchemy as sa

from api.store.columns import Finite, Instant, PlainText
from api.store.tables.base import key, metadata, public_id

mapping = sa.Table(
    "mapping",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    public_id(),
    key("sensor_id", "sensor.id"),
    sa.Column("topic", PlainText, unique=True),
    sa.Column("body", PlainText, nullable=False),
    sa.Column("created_at", Instant, nullable=False),
    comment="how a sensor's own messages are read; with a topic, those that come there over MQTT",
)

letter = sa.Table(
    "letter",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("mapping_id", sa.Integer, sa.ForeignKey("mapping.id")),
    sa.Column("topic", PlainText, nullable=False),
    sa.Column("payload", sa.LargeBinary, nullable=False),
    sa.Column("size", sa.Integer, nullable=False),
    sa.Column("code", PlainText, nullable=False),
    sa.Column("mend", PlainText, nullable=False),
    sa.Column("received_at", Instant, nullable=False),
    sa.Index("ix_letter_mapping_id", "mapping_id"),
    comment="a message that could not be stored as a reading, kept with the reason and never asked for again",
)

dropped = sa.Table(
    "dropped",
    metadata,
    sa.Column("topic", PlainText, primary_key=True),
    sa.Column("code", PlainText, primary_key=True),
    sa.Column("count", sa.Integer, nullable=False),
    sa.Column("last_at", Instant, nullable=False),
    comment="messages that are no reading of any time, such as retained ones without a time; only counted",
)

weather_source = sa.Table(
    "weather_source",
    metadata,
    key("station_id", "station.id", primary_key=True),
    sa.Column("latitude", Finite, nullable=False),
    sa.Column("longitude", Finite, nullable=False),
    sa.Column("zone", PlainText, nullable=False),
    sa.Column("fetched_at", Instant),
    sa.Column("tried_at", Instant),
    sa.Column("next_at", Instant),
    sa.Column("failures", sa.Integer, nullable=False),
    sa.Column("trouble", PlainText),
    comment="where a station's weather is asked for, when it last came, and when it may be asked for again",
)
