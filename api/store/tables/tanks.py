"""Tanks and what is measured of them, their tickets, weather and forecasts.

A reading's key is (sensor, time) and a reading never changes: the same again is nothing new, another
value under the same key is put aside, and a trigger refuses every update. Descriptions that change
(a tank's geometry, a survey, a diary) are kept as versions of their text, so that old litres are
never rewritten.

Flow     columns -> **tables** -> store
"""

import sqlalchemy as sa

from api.store.columns import Finite, Instant, PlainText
from api.store.tables.base import key, metadata, one_of, public_id, unique_where

QUANTITIES = ("ullage_mm", "dip_mm", "litres", "fraction")

station = sa.Table(
    "station",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("name", PlainText, nullable=False, unique=True),
    sa.Column("kind", PlainText, nullable=False),
    one_of("kind", ("mean", "midrange")),
    comment="a source of daily weather: a station, or a long record; the kind is how temp_c is formed",
)

weather_day = sa.Table(
    "weather_day",
    metadata,
    key("station_id", "station.id", primary_key=True),
    sa.Column("date", sa.Date, primary_key=True),
    sa.Column("temp_c", Finite),
    sa.Column("tmin_c", Finite),
    sa.Column("tmax_c", Finite),
    sa.Column("ghi_wh_m2", Finite),
    comment="one civil day of weather; null is a gap",
)

outlook_day = sa.Table(
    "outlook_day",
    metadata,
    key("station_id", "station.id", primary_key=True),
    sa.Column("issued_at", Instant, primary_key=True),
    sa.Column("date", sa.Date, primary_key=True),
    sa.Column("temp_c", Finite, nullable=False),
    sa.Column("ghi_wh_m2", Finite),
    comment="one day of a short-range weather forecast, as issued",
)

tank = sa.Table(
    "tank",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    public_id(),
    sa.Column("name", PlainText, nullable=False),
    sa.Column("zone", PlainText, nullable=False),
    sa.Column("station_id", sa.Integer, sa.ForeignKey("station.id")),
    sa.Column("years_station_id", sa.Integer, sa.ForeignKey("station.id")),
    sa.Column("revision", sa.Integer, nullable=False),
    sa.Column("created_at", Instant, nullable=False),
    comment="a tank; the public id tells nothing, the revision counts changes a forecast would feel",
)

tank_version = sa.Table(
    "tank_version",
    metadata,
    key("tank_id", "tank.id", primary_key=True),
    sa.Column("valid_from", Instant, primary_key=True),
    sa.Column("toml", PlainText, nullable=False),
    sa.Column("created_at", Instant, nullable=False),
    comment="the tank's description from an instant on; an older one stays as it was",
)

tank_text = sa.Table(
    "tank_text",
    metadata,
    key("tank_id", "tank.id", primary_key=True),
    sa.Column("kind", PlainText, primary_key=True),
    sa.Column("valid_from", Instant, primary_key=True),
    sa.Column("body", PlainText, nullable=False),
    sa.Column("created_at", Instant, nullable=False),
    one_of("kind", ("survey", "diary", "stove_log")),
    comment="survey, diary and stove log of a tank's house, in versions",
)

sensor = sa.Table(
    "sensor",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    public_id(),
    key("tank_id", "tank.id"),
    sa.Column("kind", PlainText, nullable=False),
    sa.Column("label", PlainText, nullable=False),
    sa.Column("created_at", Instant, nullable=False),
    sa.UniqueConstraint("tank_id", "label"),
    one_of("kind", ("level_sensor", "dip_stick", "gauge")),
    comment="what took a reading: a sensor above the oil, a dip stick, a gauge",
)

reading = sa.Table(
    "reading",
    metadata,
    key("sensor_id", "sensor.id", primary_key=True),
    sa.Column("at", Instant, primary_key=True),
    sa.Column("device_at", Instant),
    sa.Column("quantity", PlainText, nullable=False),
    sa.Column("value", Finite, nullable=False),
    sa.Column("air_c", Finite),
    sa.Column("oil_c", Finite),
    sa.Column("received_at", Instant, nullable=False),
    sa.Column("source", PlainText, nullable=False),
    sa.Column("step", Finite),
    one_of("quantity", QUANTITIES),
    sa.CheckConstraint("value >= 0 AND value <= 1000000", name="value_bounded"),
    sa.CheckConstraint("air_c >= -100 AND air_c <= 100", name="air_c_bounded"),
    sa.CheckConstraint("oil_c >= -100 AND oil_c <= 100", name="oil_c_bounded"),
    comment="a reading as it came; device_at is the sender's time where its clock was ahead of ours",
    sqlite_with_rowid=False,
)
unique_where(
    "uq_reading_sensor_id_device_at",
    reading.c.sensor_id,
    reading.c.device_at,
    where=reading.c.device_at.is_not(None),
)

reading_aside = sa.Table(
    "reading_aside",
    metadata,
    key("sensor_id", "sensor.id", primary_key=True),
    sa.Column("at", Instant, primary_key=True),
    sa.Column("code", PlainText, primary_key=True),
    sa.Column("quantity", PlainText, primary_key=True),
    sa.Column("value", Finite, primary_key=True),
    sa.Column("received_at", Instant, nullable=False),
    sa.Column("source", PlainText, nullable=False),
    one_of("code", ("conflict", "far_future")),
    one_of("quantity", QUANTITIES),
    comment="readings that were not taken: another value under a kept key, or a time far ahead",
)

delivery = sa.Table(
    "delivery",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    key("tank_id", "tank.id"),
    sa.Column("at", Instant, nullable=False),
    sa.Column("litres", Finite, nullable=False),
    sa.Column("removed", sa.Boolean, nullable=False),
    sa.Column("filled", PlainText, nullable=False),
    sa.Column("basis", PlainText, nullable=False),
    sa.Column("dip_before_mm", Finite),
    sa.Column("dip_after_mm", Finite),
    sa.Column("ticket", PlainText),
    sa.Column("received_at", Instant, nullable=False),
    sa.Column("source", PlainText, nullable=False),
    sa.UniqueConstraint("tank_id", "at"),
    sa.UniqueConstraint("tank_id", "ticket"),
    one_of("filled", ("yes", "no", "unknown")),
    one_of("basis", ("observed", "15c", "unknown")),
    sa.CheckConstraint("litres > 0 AND litres <= 1000000", name="litres_bounded"),
    comment="a ticket, or oil taken out (removed)",
)

receipt = sa.Table(
    "receipt",
    metadata,
    key("tank_id", "tank.id", primary_key=True),
    sa.Column("date", sa.Date, primary_key=True),
    sa.Column("litres", Finite, primary_key=True),
    sa.Column("filled", PlainText, nullable=False),
    sa.Column("received_at", Instant, nullable=False),
    one_of("filled", ("yes", "no", "unknown")),
    sa.CheckConstraint("litres > 0 AND litres <= 1000000", name="litres_bounded"),
    comment="a bill: a date and litres, without an hour",
)

forecast = sa.Table(
    "forecast",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    key("tank_id", "tank.id"),
    sa.Column("as_of", Instant, nullable=False),
    sa.Column("made_at", Instant, nullable=False),
    sa.Column("tank_revision", sa.Integer, nullable=False),
    sa.Column("state", PlainText, nullable=False),
    sa.Column("order_by", sa.Date),
    sa.Column("told_at", Instant),
    sa.Column("body", PlainText, nullable=False),
    sa.Index("ix_forecast_tank_id_as_of", "tank_id", "as_of"),
    comment="a forecast as it was made; order_by and told_at are the appointment that stands after it",
)
