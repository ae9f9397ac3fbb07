"""Readings: every good row is kept in engine units, every bad one is named with its mend."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import ReadingsError
from forecaster.readings import LEVEL_COLUMNS, Quantity, parse_local_time, parse_readings


def only_problem(data: str, **layout: str | None) -> tuple[str, str, str, int | None]:
    """Parse a file with one bad row among good ones, and return what was said of it."""
    (problem,) = parse_readings(data, **layout).problems  # type: ignore[arg-type]
    assert problem.mend
    return problem.code, problem.field, problem.seen, problem.row


def test_small_file_is_read_in_order_of_time() -> None:
    """Rows come out sorted by time, in UTC, with temperatures where they stand."""
    file = parse_readings(
        "at,ullage_mm,air_c\n2024-01-11T06:00:00Z,810,\n2024-01-10T07:00:00+01:00,800,4.5\n"
    )
    readings = file.readings
    assert [str(t) for t in readings.at] == ["2024-01-10T06:00:00", "2024-01-11T06:00:00"]
    assert readings.value.tolist() == [800.0, 810.0]
    assert readings.quantity.tolist() == [Quantity.ULLAGE_MM] * 2
    assert readings.air_c[0] == 4.5
    assert np.isnan(readings.air_c[1])
    assert np.isnan(readings.oil_c).all()
    assert (len(readings), file.rows_read, file.problems) == (2, 2, ())


@pytest.mark.parametrize(
    ("column", "quantity", "value"),
    [
        ("ullage_mm", "ullage_mm", 1.0),
        ("ullage_cm", "ullage_mm", 10.0),
        ("ullage_in", "ullage_mm", 25.4),
        ("dip_mm", "dip_mm", 1.0),
        ("dip_cm", "dip_mm", 10.0),
        ("dip_in", "dip_mm", 25.4),
        ("litres", "litres", 1.0),
        ("fraction", "fraction", 1.0),
    ],
)
def test_column_name_says_quantity_and_unit(column: str, quantity: str, value: float) -> None:
    """The level column's name decides what it holds and how it becomes mm, litres or a fraction."""
    readings = parse_readings(f"at,{column}\n2024-01-10T06:00Z,1\n").readings
    assert (readings.quantity[0], readings.value[0]) == (quantity, value)


@pytest.mark.parametrize(
    ("level", "unit", "value"),
    [
        ("Ullage", "cm", 70.0),
        ("dip stick", "in", 177.8),
        ("Distance", "ullage_cm", 70.0),
        ("litres", None, 7.0),
    ],
)
def test_other_layouts_are_read_by_naming_columns_unit_and_zone(
    level: str, unit: str | None, value: float
) -> None:
    """A layout of any kind is read once its columns, unit and zone are named."""
    file = parse_readings(
        f"Logged;Battery;{level}\n2024-07-10 06:30;88;7,0\n",
        decimal=",",
        time_column="logged",
        level_column=level,
        unit=unit,
        tz="Europe/Dublin",
    )
    assert str(file.readings.at[0]) == "2024-07-10T05:30:00"
    assert file.readings.value[0] == pytest.approx(value, rel=1e-12)
    assert file.ignored_columns == ("battery",)


@pytest.mark.parametrize(
    ("header", "layout", "code"),
    [
        ("at,level", {}, "no_column"),
        ("when,dip_mm", {}, "no_column"),
        ("at,dip_mm,litres", {}, "several_levels"),
        ("at,level", {"level_column": "level"}, "no_unit"),
        ("at,level", {"level_column": "level", "unit": "mm"}, "bad_unit"),
        ("at,level", {"level_column": "other", "unit": "dip_mm"}, "no_column"),
        ("at,dip_mm", {"unit": "dip_cm"}, "unit_conflict"),
        ("at,dip_mm", {"unit": "gallons"}, "bad_unit"),
        ("at,dip_mm", {"tz": "Europe/Nowhere"}, "no_zone"),
        ("at,dip_mm", {"tz": "../../etc/passwd"}, "no_zone"),
        ("at,dip_mm", {"decimal": "'"}, "bad_decimal"),
        ("at,dip_mm", {"time_column": "dip_mm"}, "same_column"),
    ],
)
def test_layout_that_cannot_be_made_out_is_refused(header: str, layout: dict[str, str], code: str) -> None:
    """A file whose columns do not say what they hold is refused as a whole, never guessed."""
    with pytest.raises(ReadingsError) as refused:
        parse_readings(f"{header}\n2024-01-10T06:00Z{',7' * header.count(',')}\n", **layout)  # type: ignore[arg-type]
    assert [p.code for p in refused.value.problems] == [code]


@pytest.mark.parametrize("data", ["at,dip_mm\n", "at,dip_mm\nx,y\n", "at,dip_mm\n2024-01-10T06:00Z\n"])
def test_file_without_a_usable_row_is_refused(data: str) -> None:
    """With no good row at all there is nothing to go on, and every problem is told."""
    with pytest.raises(ReadingsError) as refused:
        parse_readings(data)
    assert refused.value.problems


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        ("2024-01-11T06:00", "no_offset"),
        ("2024-01-11 06:00", "no_offset"),
        ("1704952800", "epoch"),
        ("1704952800000", "epoch"),
        ("19999999999", "epoch"),
        ("0", "epoch"),
        ("-1", "epoch"),
        ("2024-01-11", "date_only"),
        ("", "no_value"),
        ("11/01/2024 06:00", "not_a_time"),
        ("2024-02-30T06:00Z", "not_a_time"),
        ("9999-12-31T06:00Z", "out_of_years"),
        ("0001-01-01T06:00Z", "out_of_years"),
        ("1970-01-01T00:00Z", "out_of_years"),
        ("2024-01-11T06:00+23:59", "odd_offset"),
    ],
)
def test_bad_time_is_named(cell: str, code: str) -> None:
    """A time that is none, or cannot be right, is reported with row, field and value; the rest is kept."""
    data = f"at,dip_mm\n2024-01-10T06:00Z,800\n{cell},790\n2024-01-12T06:00Z,780\n"
    assert only_problem(data) == (code, "at", cell, 3)
    assert parse_readings(data).readings.value.tolist() == [800.0, 780.0]


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        ("NaN", "not_a_number"),
        ("Infinity", "not_a_number"),
        ("1e400", "not_a_number"),
        ("1_000", "not_a_number"),
        ("٨٠٠", "not_a_number"),
        ("true", "not_a_number"),
        ("80 cm", "not_a_number"),
        ("", "no_value"),
        ("-5", "negative"),
        ("9" * 20, "too_large"),
        ("9" * 999, "not_a_number"),
    ],
)
def test_bad_level_is_named(cell: str, code: str) -> None:
    """A level that is no number, negative or absurd is reported with row, field and value."""
    data = f"at,dip_mm\n2024-01-10T06:00Z,800\n2024-01-11T06:00Z,{cell}\n"
    said = only_problem(data)
    assert said[:2] == (code, "dip_mm")
    assert said[3] == 3
    assert cell.startswith(said[2].rstrip("…"))


def test_decimal_comma_that_was_not_declared_is_asked_about() -> None:
    """A comma in a number is refused with the mend, unless it was declared."""
    data = "at;dip_cm\n2024-01-10T06:00Z;81,5\n2024-01-11T06:00Z;80\n"
    (problem,) = parse_readings(data).problems
    assert problem.mend == "give a number with a decimal point, or say that the decimal sign is a comma"
    assert parse_readings(data, decimal=",").readings.value.tolist() == [815.0, 800.0]


def test_percentage_in_a_fraction_column_is_asked_about() -> None:
    """A fraction of 45 is a percentage, and is refused with the mend."""
    data = "at,fraction\n2024-01-10T06:00Z,0.45\n2024-01-11T06:00Z,45\n"
    assert only_problem(data) == ("not_a_fraction", "fraction", "45", 3)


@pytest.mark.parametrize("cell", ["-300", "900", "warm", "71", "-60.5", "nan"])
@pytest.mark.parametrize("field", ["air_c", "oil_c"])
def test_impossible_temperature_is_refused_and_its_reading_kept(field: str, cell: str) -> None:
    """A thermometer's fault costs the temperature, not the level."""
    data = f"at,dip_mm,{field}\n2024-01-10T06:00Z,800,{cell}\n2024-01-11T06:00Z,790,\n"
    file = parse_readings(data)
    assert only_problem(data)[1:] == (field, cell, 2)
    assert len(file.readings) == 2
    assert np.isnan(file.readings.air_c).all()
    assert np.isnan(file.readings.oil_c).all()
    assert "1 kept without a temperature" in file.summary


def test_sentinels_are_let_through_for_screening() -> None:
    """What a sensor sends for "no echo" is a reading without a level, not a bad row."""
    cells = ["65535", "32767", "9999", "0xFFFF", "0x7fff", "0", "-0.0"]
    data = "at,ullage_mm\n" + "".join(f"2024-01-{10 + i}T06:00Z,{c}\n" for i, c in enumerate(cells))
    file = parse_readings(data)
    assert file.readings.value.tolist() == [65535.0, 32767.0, 9999.0, 65535.0, 32767.0, 0.0, 0.0]
    assert not np.signbit(file.readings.value).any()


def test_exact_repeats_are_dropped_and_counted() -> None:
    """The same time and value again changes nothing but the count."""
    file = parse_readings(
        "at,dip_mm\n2024-01-10T06:00Z,800\n2024-01-10T07:00+01:00,800\n2024-01-11T06:00Z,790\n"
    )
    assert (len(file.readings), file.duplicates, file.problems) == (2, 1, ())
    assert file.summary == ("2 of 3 rows read, 2024-01-10 to 2024-01-11 (UTC); 1 exact repeats dropped.")


def test_same_time_with_another_value_is_a_conflict_and_the_first_is_kept() -> None:
    """Two values for one instant are told, and the one that came first stands."""
    data = "at,dip_mm\n2024-01-11T06:00Z,790\n2024-01-10T06:00Z,800\n2024-01-11T06:00Z,700\n"
    assert only_problem(data) == ("conflict", "dip_mm", "700", 4)
    assert "row 2" in parse_readings(data).problems[0].mend
    assert parse_readings(data).readings.value.tolist() == [800.0, 790.0]


def test_summary_accounts_for_every_row() -> None:
    """The summary names what was kept, set aside, repeated and not used."""
    file = parse_readings(
        "at,dip_mm,rssi\n2024-01-10T06:00Z,800,1\n2024-01-10T06:00Z,800,1\nx,800,1\n2024-01-12T06:00Z\n"
    )
    assert file.rows_read == 4
    assert file.summary == (
        "1 of 4 rows read, 2024-01-10 to 2024-01-10 (UTC); 2 set aside; 1 exact repeats dropped; "
        "columns not used: rssi."
    )


@pytest.mark.parametrize(
    ("cell", "word"),
    [("2024-03-31 01:30", "skip"), ("2024-10-27 01:30", "twice")],
)
def test_hour_that_the_clocks_skip_or_repeat_is_a_problem(cell: str, word: str) -> None:
    """In the named zone, a skipped hour does not exist and a repeated one needs its offset."""
    data = f"at,dip_mm\n{cell},800\n2024-06-10 06:00,790\n"
    (problem,) = parse_readings(data, tz="Europe/London").problems
    assert (problem.row, problem.seen) == (2, cell)
    assert word in problem.mend


def test_offset_wins_over_the_zone() -> None:
    """The repeated hour is read twice where the offset tells the two apart."""
    file = parse_readings(
        "at,dip_mm\n2024-10-27T01:30+01:00,800\n2024-10-27T01:30+00:00,790\n", tz="Europe/London"
    )
    assert [str(t)[11:16] for t in file.readings.at] == ["00:30", "01:30"]


def test_half_hour_zone_is_taken_by_its_own_rules() -> None:
    """Lord Howe's half-hour summer time is a zone like any other."""
    zone = ZoneInfo("Australia/Lord_Howe")
    assert parse_local_time("2024-07-01 12:00", zone) == datetime(2024, 7, 1, 1, 30, tzinfo=UTC)
    with pytest.raises(ValueError, match="skip"):
        parse_local_time("2024-10-06 02:15", zone)
    with pytest.raises(ValueError, match="twice"):
        parse_local_time("2024-04-07 01:45", zone)


@pytest.mark.parametrize(
    ("cells", "first"),
    [
        (["10/01/2024 06:30", "13/01/2024 06:30"], "2024-01-10T06:30:00"),
        (["10/01/2024 06:30:15", "10/13/2024 06:30:00"], "2024-10-01T05:30:15"),
        (["5.2.2024 06:30", "25.2.2024 06:30"], "2024-02-05T06:30:00"),
    ],
)
def test_day_and_month_are_told_apart_by_the_whole_file(cells: list[str], first: str) -> None:
    """One row that can only be read one way settles the order for all."""
    file = parse_readings(
        "when,dip_mm\n" + "".join(f"{c},8\n" for c in cells), time_column="when", tz="Europe/London"
    )
    assert (str(file.readings.at[0]), len(file.readings)) == (first, 2)


@pytest.mark.parametrize(
    "cells",
    [["10/01/2024 06:30", "11/01/2024 06:30"], ["13/01/2024 06:30", "01/13/2024 06:30"]],
)
def test_day_and_month_that_cannot_be_told_apart_are_refused(cells: list[str]) -> None:
    """If nothing, or everything, settles the order of day and month, the file is refused."""
    data = "when,dip_mm\n" + "".join(f"{c},8\n" for c in cells)
    with pytest.raises(ReadingsError) as refused:
        parse_readings(data, time_column="when", tz="Europe/London")
    assert [p.code for p in refused.value.problems] == ["day_or_month"]


offsets = st.integers(-14 * 60, 14 * 60).map(
    lambda m: f"{'-' if m < 0 else '+'}{abs(m) // 60:02d}:{abs(m) % 60:02d}"
)
good_rows = st.tuples(
    st.datetimes(min_value=datetime(2001, 1, 1), max_value=datetime(2099, 1, 1)),  # noqa: DTZ001
    offsets,
    st.integers(0, 100_000),
)
bad_rows = st.sampled_from(
    ["", "x,1", "2024-01-10T06:00Z,", "2024-01-10T06:00Z,nan", "2024-01-10,800", "1704866400,800",
     "2024-01-10T06:00Z,-1", "2024-01-10T06:00Z,1,2", "2024-01-10T06:00", '2024-01-10T06:00Z,"800',
     "2024-13-10T06:00Z,800", "2024-01-10T06:00,800", "1999-12-31T00:00Z,800", '"', "é,é",
     "2024-01-10T06:00Z,8e9"]
)  # fmt: skip


@given(st.lists(st.one_of(good_rows, bad_rows), min_size=1, max_size=30))
def test_every_bad_row_is_reported_and_no_good_row_lost(rows: list[tuple[datetime, str, int] | str]) -> None:
    """In any mixture of good and bad rows, each is kept, dropped as a repeat, or reported by its line."""
    lines = [r if isinstance(r, str) else f"{r[0].isoformat()}{r[1]},{r[2]}" for r in rows]
    try:
        file = parse_readings("\n".join(["at,ullage_mm", *lines]))
    except ReadingsError:
        assert all(isinstance(r, str) for r in rows)
        return
    bad = {i for i, r in enumerate(rows, start=2) if isinstance(r, str) and r}
    conflicts = {p.row for p in file.problems if p.code == "conflict"}
    assert {p.row for p in file.problems} == bad | conflicts
    first: dict[int, int] = {}
    for row in rows:
        if not isinstance(row, str):
            at = datetime.fromisoformat(row[0].isoformat() + row[1])
            first.setdefault(int(at.timestamp()), row[2])
    assert (
        dict(zip(file.readings.at.astype(int).tolist(), file.readings.value.tolist(), strict=True)) == first
    )
    assert file.rows_read == len(file.readings) + len(bad) + len(conflicts) + file.duplicates
    assert (np.diff(file.readings.at.astype(int)) > 0).all()


@given(st.text(max_size=80))
def test_any_text_below_the_header_gives_readings_or_a_refusal(text: str) -> None:
    """No text makes the reader fail in another way."""
    try:
        file = parse_readings("at,litres,air_c\n2024-01-10T06:00Z,500,\n" + text)
    except ReadingsError:
        return
    assert 500.0 in file.readings.value


@given(st.datetimes(min_value=datetime(2001, 1, 1), max_value=datetime(2037, 1, 1)))  # noqa: DTZ001
def test_local_time_is_the_only_instant_that_shows_it(local: datetime) -> None:
    """A local time is read as the one instant at which the zone's clocks show it, or refused."""
    zone = ZoneInfo("Europe/Dublin")
    shown = [
        at
        for h in (-1, 0, 1)
        if (at := local.replace(tzinfo=UTC) + timedelta(hours=h)).astimezone(zone).replace(tzinfo=None)
        == local
    ]
    if len(shown) == 1:
        assert parse_local_time(local.isoformat(), zone) == shown[0]
    else:
        with pytest.raises(ValueError, match="clocks of Europe/Dublin"):
            parse_local_time(local.isoformat(), zone)


def test_every_level_column_is_described() -> None:
    """Each column name begins with the quantity that it turns into."""
    assert all(name.split("_")[0] == quantity.split("_")[0] for name, (quantity, _) in LEVEL_COLUMNS.items())
