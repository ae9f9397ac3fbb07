"""The first tables: tanks and their sensors, readings, tickets, weather, forecasts."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_SQLITE_APPEND_ONLY = """
CREATE TRIGGER reading_append_only BEFORE UPDATE ON reading
BEGIN SELECT RAISE(ABORT, 'a reading never changes'); END
"""
_POSTGRESQL_APPEND_ONLY = (
    """
CREATE FUNCTION reading_never_changes() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION 'a reading never changes' USING ERRCODE = 'integrity_constraint_violation'; END $$
""",
    """
CREATE TRIGGER reading_append_only BEFORE UPDATE ON reading
FOR EACH ROW EXECUTE FUNCTION reading_never_changes()
""",
)


def upgrade() -> None:
    """Make every table, and the trigger that keeps readings as they came."""
    op.create_table(
        "station",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('mean', 'midrange')", name=op.f("ck_station_kind_known")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_station")),
        sa.UniqueConstraint("name", name=op.f("uq_station_name")),
        comment="a source of daily weather: a station, or a long record; the kind is how temp_c is formed",
    )
    op.create_table(
        "outlook_day",
        sa.Column("station_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("issued_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("temp_c", sa.Double(), nullable=False),
        sa.Column("ghi_wh_m2", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_outlook_day_station_id")),
        sa.PrimaryKeyConstraint("station_id", "issued_at", "date", name=op.f("pk_outlook_day")),
        comment="one day of a short-range weather forecast, as issued",
    )
    op.create_table(
        "tank",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("zone", sa.Text(), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=True),
        sa.Column("years_station_id", sa.Integer(), nullable=True),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_tank_station_id")),
        sa.ForeignKeyConstraint(["years_station_id"], ["station.id"], name=op.f("fk_tank_years_station_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tank")),
        sa.UniqueConstraint("public_id", name=op.f("uq_tank_public_id")),
        comment="a tank; the public id tells nothing, the revision counts changes a forecast would feel",
    )
    op.create_table(
        "weather_day",
        sa.Column("station_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("temp_c", sa.Double(), nullable=True),
        sa.Column("tmin_c", sa.Double(), nullable=True),
        sa.Column("tmax_c", sa.Double(), nullable=True),
        sa.Column("ghi_wh_m2", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_weather_day_station_id")),
        sa.PrimaryKeyConstraint("station_id", "date", name=op.f("pk_weather_day")),
        comment="one civil day of weather; null is a gap",
    )
    op.create_table(
        "delivery",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("litres", sa.Double(), nullable=False),
        sa.Column("removed", sa.Boolean(), nullable=False),
        sa.Column("filled", sa.Text(), nullable=False),
        sa.Column("basis", sa.Text(), nullable=False),
        sa.Column("dip_before_mm", sa.Double(), nullable=True),
        sa.Column("dip_after_mm", sa.Double(), nullable=True),
        sa.Column("ticket", sa.Text(), nullable=True),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.CheckConstraint("basis IN ('observed', '15c', 'unknown')", name=op.f("ck_delivery_basis_known")),
        sa.CheckConstraint("filled IN ('yes', 'no', 'unknown')", name=op.f("ck_delivery_filled_known")),
        sa.CheckConstraint("litres > 0 AND litres <= 1000000", name=op.f("ck_delivery_litres_bounded")),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_delivery_tank_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_delivery")),
        sa.UniqueConstraint("tank_id", "at", name=op.f("uq_delivery_tank_id_at")),
        sa.UniqueConstraint("tank_id", "ticket", name=op.f("uq_delivery_tank_id_ticket")),
        comment="a ticket, or oil taken out (removed)",
    )
    op.create_table(
        "forecast",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("as_of", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("tank_revision", sa.Integer(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("order_by", sa.Date(), nullable=True),
        sa.Column("told_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_forecast_tank_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_forecast")),
        comment="a forecast as it was made; order_by and told_at are the appointment that stands after it",
    )
    op.create_index("ix_forecast_tank_id_as_of", "forecast", ["tank_id", "as_of"], unique=False)
    op.create_table(
        "receipt",
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("litres", sa.Double(), nullable=False),
        sa.Column("filled", sa.Text(), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("filled IN ('yes', 'no', 'unknown')", name=op.f("ck_receipt_filled_known")),
        sa.CheckConstraint("litres > 0 AND litres <= 1000000", name=op.f("ck_receipt_litres_bounded")),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_receipt_tank_id")),
        sa.PrimaryKeyConstraint("tank_id", "date", "litres", name=op.f("pk_receipt")),
        comment="a bill: a date and litres, without an hour",
    )
    op.create_table(
        "sensor",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "kind IN ('level_sensor', 'dip_stick', 'gauge')", name=op.f("ck_sensor_kind_known")
        ),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_sensor_tank_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sensor")),
        sa.UniqueConstraint("public_id", name=op.f("uq_sensor_public_id")),
        sa.UniqueConstraint("tank_id", "label", name=op.f("uq_sensor_tank_id_label")),
        comment="what took a reading: a sensor above the oil, a dip stick, a gauge",
    )
    op.create_table(
        "tank_text",
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("valid_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("kind IN ('survey', 'diary', 'stove_log')", name=op.f("ck_tank_text_kind_known")),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_tank_text_tank_id")),
        sa.PrimaryKeyConstraint("tank_id", "kind", "valid_from", name=op.f("pk_tank_text")),
        comment="survey, diary and stove log of a tank's house, in versions",
    )
    op.create_table(
        "tank_version",
        sa.Column("tank_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", sa.DateTime(timezone=True), nullable=False),
        sa.Column("toml", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["tank_id"], ["tank.id"], name=op.f("fk_tank_version_tank_id")),
        sa.PrimaryKeyConstraint("tank_id", "valid_from", name=op.f("pk_tank_version")),
        comment="the tank's description from an instant on; an older one stays as it was",
    )
    op.create_table(
        "reading",
        sa.Column("sensor_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("device_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("air_c", sa.Double(), nullable=True),
        sa.Column("oil_c", sa.Double(), nullable=True),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "quantity IN ('ullage_mm', 'dip_mm', 'litres', 'fraction')",
            name=op.f("ck_reading_quantity_known"),
        ),
        sa.CheckConstraint("air_c >= -100 AND air_c <= 100", name=op.f("ck_reading_air_c_bounded")),
        sa.CheckConstraint("oil_c >= -100 AND oil_c <= 100", name=op.f("ck_reading_oil_c_bounded")),
        sa.CheckConstraint("value >= 0 AND value <= 1000000", name=op.f("ck_reading_value_bounded")),
        sa.ForeignKeyConstraint(["sensor_id"], ["sensor.id"], name=op.f("fk_reading_sensor_id")),
        sa.PrimaryKeyConstraint("sensor_id", "at", name=op.f("pk_reading")),
        comment="a reading as it came; device_at is the sender's time where its clock was ahead of ours",
        sqlite_with_rowid=False,
    )
    op.create_index(
        "uq_reading_sensor_id_device_at",
        "reading",
        ["sensor_id", "device_at"],
        unique=True,
        sqlite_where=sa.text("device_at IS NOT NULL"),
        postgresql_where=sa.text("device_at IS NOT NULL"),
    )
    op.create_table(
        "reading_aside",
        sa.Column("sensor_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.CheckConstraint("code IN ('conflict', 'far_future')", name=op.f("ck_reading_aside_code_known")),
        sa.CheckConstraint(
            "quantity IN ('ullage_mm', 'dip_mm', 'litres', 'fraction')",
            name=op.f("ck_reading_aside_quantity_known"),
        ),
        sa.ForeignKeyConstraint(["sensor_id"], ["sensor.id"], name=op.f("fk_reading_aside_sensor_id")),
        sa.PrimaryKeyConstraint(
            "sensor_id", "at", "code", "quantity", "value", name=op.f("pk_reading_aside")
        ),
        comment="readings that were not taken: another value under a kept key, or a time far ahead",
    )
    if op.get_bind().dialect.name == "sqlite":
        op.execute(_SQLITE_APPEND_ONLY)
    else:
        for statement in _POSTGRESQL_APPEND_ONLY:
            op.execute(statement)
