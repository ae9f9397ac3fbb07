"""Text tables: every row comes out as a row or as a problem, and nothing else goes wrong."""

from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import InputError, ReadingsError
from forecaster.rows import (
    MAX_CELL,
    decode,
    parse_date,
    parse_number,
    parse_rows,
    parse_time,
    require_columns,
)

plain_cells = st.text(st.characters(codec="utf-8", exclude_characters='",;\t\r\n\0\ufeff'), max_size=12).map(
    str.strip
)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_separator_is_that_of_the_header(separator: str) -> None:
    """A table may be separated by comma, semicolon or tab."""
    table = parse_rows(separator.join(["at", "dip_mm"]) + "\n" + separator.join(["x", "812"]) + "\n")
    assert table.columns == ("at", "dip_mm")
    assert table.rows[0].cells == {"at": "x", "dip_mm": "812"}


def test_decimal_comma_stands_beside_semicolons() -> None:
    """With semicolons in the header, a comma in a cell is part of the cell."""
    table = parse_rows("at;dip_cm\nx;81,2\n")
    assert table.rows[0].cells["dip_cm"] == "81,2"


def test_byte_order_mark_line_ends_and_blank_lines_do_not_matter() -> None:
    """A file saved by a spreadsheet reads like one saved by an editor, row numbers included."""
    table = parse_rows("\ufeffAt , Dip_MM\r\n\r\nx,1\r\ny,2,\r\n,\r\n".encode())
    assert table.columns == ("at", "dip_mm")
    assert [(r.number, r.cells["dip_mm"]) for r in table.rows] == [(3, "1"), (4, "2")]
    assert table.problems == ()


def test_row_of_another_length_is_reported_and_the_others_kept() -> None:
    """A row with too many or too few cells becomes a problem with its line number."""
    table = parse_rows("a,b\n1,2\n1\n1,2,3\n3,4\n")
    assert [r.number for r in table.rows] == [2, 5]
    assert [(p.code, p.row, p.seen) for p in table.problems] == [
        ("wrong_cells", 3, "1"),
        ("wrong_cells", 4, "1,2,3"),
    ]


def test_stray_quotation_mark_spoils_only_its_own_row() -> None:
    """An unclosed quotation mark does not swallow the rows below it."""
    table = parse_rows('a,b\n1,"2\n3,4\n"5,5",6\n')
    assert [r.cells for r in table.rows] == [{"a": "3", "b": "4"}, {"a": "5,5", "b": "6"}]
    assert [(p.code, p.row) for p in table.problems] == [("not_a_row", 2)]


def test_very_long_cell_is_reported_and_the_others_kept() -> None:
    """A cell of thousands of characters is no value of ours, but costs only its row."""
    table = parse_rows("a,b\n1," + "9" * (MAX_CELL + 1) + "\n3,4\n5," + '"' + "9" * 200_000 + '"\n')
    assert [r.number for r in table.rows] == [3]
    assert [p.row for p in table.problems] == [2, 4]


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty"),
        (b"\n \n", "empty"),
        ("at,dip_mm\nx,1\n".encode("utf-16"), "not_utf8"),
        (b"at,dip_mm\n\xff\xfe,1\n", "not_utf8"),
        (b"at,dip_mm\nx,\x001\n", "nul"),
        (b"at,at\nx,1\n", "column_twice"),
        (b'at,"dip\nx,1\n', "not_a_row"),
        (b"a," * 300 + b"\n", "too_wide"),
    ],
)
def test_what_is_no_table_is_refused_in_words(data: bytes, code: str) -> None:
    """A file that is no text table is refused with a code and a mend."""
    with pytest.raises(ReadingsError) as refused:
        parse_rows(data, error=ReadingsError)
    assert refused.value.problems[0].code == code
    assert refused.value.problems[0].mend


def test_oversize_file_is_refused_before_it_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """A file above the limit is refused, whatever it holds."""
    monkeypatch.setattr("forecaster.rows.MAX_BYTES", 10)
    with pytest.raises(InputError) as refused:
        decode(b"a,b\n1,2\n3,4\n")
    assert refused.value.problems[0].code == "too_large"


def test_missing_column_is_named_beside_those_there_are() -> None:
    """A file without a needed column is refused, naming it and those the file has."""
    table = parse_rows("when,dip_mm\nx,1\n")
    with pytest.raises(ReadingsError, match="at: add this column; the file has: when, dip_mm"):
        require_columns(table, ("at", "dip_mm"), error=ReadingsError)


@given(st.lists(st.tuples(plain_cells, plain_cells), max_size=20))
def test_each_row_is_kept_with_its_cells_or_was_blank(rows: list[tuple[str, str]]) -> None:
    """Whatever stands in the cells, each line that is not blank comes back as it was."""
    table = parse_rows("first;second\n" + "".join(f"{a};{b}\n" for a, b in rows))
    expected = [(i, a, b) for i, (a, b) in enumerate(rows, start=2) if a or b]
    assert [(r.number, r.cells["first"], r.cells["second"]) for r in table.rows] == expected
    assert table.problems == ()


@given(st.text())
def test_any_text_gives_rows_or_a_refusal(text: str) -> None:
    """No text makes the reader fail in another way, and no line with content is passed over."""
    try:
        table = parse_rows(text, error=ReadingsError)
    except ReadingsError:
        return
    reported = {r.number for r in table.rows} | {p.row for p in table.problems}
    lines = decode(text).split("\n")
    with_content = [i for i, line in enumerate(lines, start=1) if any(c.isalnum() for c in line)]
    assert reported.issuperset(with_content[1:])  # the first may be the header


@given(st.binary(max_size=200))
def test_any_bytes_give_rows_or_a_refusal(data: bytes) -> None:
    """No bytes make the reader fail in another way."""
    try:
        table = parse_rows(data, error=ReadingsError)
    except ReadingsError:
        return
    assert table.columns


@pytest.mark.parametrize(
    ("cell", "decimal", "value"),
    [("12.5", ".", 12.5), ("12,5", ",", 12.5), (" 7 ", ".", 7.0), (".5", ".", 0.5), ("1e3", ".", 1000.0)],
)
def test_number_is_read_with_its_decimal_sign(cell: str, decimal: str, value: float) -> None:
    """A number is read with the decimal sign that was declared."""
    assert parse_number(cell, decimal=decimal) == value


@pytest.mark.parametrize(
    "cell",
    [
        "",
        "nan",
        "NaN",
        "inf",
        "-Infinity",
        "1e400",
        "1_000",
        "12,5",
        "1 000",
        "true",
        "0x10",
        "١٢",
        "1.2.3",
        "--1",
    ],
)
def test_what_is_no_plain_finite_number_is_refused(cell: str) -> None:
    """Words, separators, other digits and what is not finite are refused with a mend."""
    with pytest.raises(ValueError, match=r"^give a"):
        parse_number(cell)


def test_thousands_separator_beside_a_decimal_comma_is_refused() -> None:
    """With a decimal comma, a point can only be a thousands separator and is refused."""
    with pytest.raises(ValueError, match="no thousands separator"):
        parse_number("1.000,5", decimal=",")


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_finite_number_reads_back(value: float) -> None:
    """The text of a finite number reads back as the same number."""
    assert parse_number(repr(value)) == value


@pytest.mark.parametrize(
    ("cell", "at"),
    [
        ("2024-01-10T06:30:00Z", datetime(2024, 1, 10, 6, 30, tzinfo=UTC)),
        ("2024-01-10 06:30+05:30", datetime(2024, 1, 10, 1, 0, tzinfo=UTC)),
        ("2016-12-31T23:59:60Z", datetime(2016, 12, 31, 23, 59, 59, 999000, tzinfo=UTC)),
        ("2024-10-27T01:30:00+01:00", datetime(2024, 10, 27, 0, 30, tzinfo=UTC)),
        ("2024-10-27T01:30:00+00:00", datetime(2024, 10, 27, 1, 30, tzinfo=UTC)),
    ],
)
def test_time_is_taken_by_its_offset(cell: str, at: datetime) -> None:
    """A time with an offset is one instant, also in the hour that the clock shows twice."""
    assert parse_time(cell) == at


@pytest.mark.parametrize(
    "cell",
    ["", "0", "-1", "1704868200", "1704868200000", "2024-01-10", "2024-01-10T06:30", "10/01/2024 06:30",
     "2024-02-30T06:30Z", "2024-01-10T24:30Z", "0001-01-01T00:00+23:59"],
)  # fmt: skip
def test_what_is_no_instant_is_refused(cell: str) -> None:
    """Epoch numbers, bare dates, times without an offset and days that do not exist are refused."""
    with pytest.raises(ValueError, match=r"^(give|add)"):
        parse_time(cell)


@given(st.datetimes(min_value=datetime(1900, 1, 1), timezones=st.just(UTC)))  # noqa: DTZ001
def test_every_written_instant_reads_back(at: datetime) -> None:
    """The text of an instant reads back as the same instant."""
    assert parse_time(at.isoformat()) == at


@given(st.dates())
def test_every_written_date_reads_back(day: date) -> None:
    """The text of a date reads back as the same date."""
    assert parse_date(day.isoformat()) == day


@pytest.mark.parametrize("cell", ["", "10/01/2024", "2024-1-10", "2023-02-29", "2024-01-10T00:00Z"])
def test_what_is_no_date_is_refused(cell: str) -> None:
    """Other orders, times and days that do not exist are no dates."""
    with pytest.raises(ValueError, match=r"^give a date"):
        parse_date(cell)
