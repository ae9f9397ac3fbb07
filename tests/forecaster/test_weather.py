"""Weather files: what is read, what is refused, what is counted, and that nothing is lost."""

import io
import pickle
from datetime import UTC, date, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.errors import WeatherError
from forecaster.weather import ParsedWeather, parse_epw, parse_outlook, parse_tmy3, parse_weather


def daily(temps: list[object], *, first: str = "2024-01-01", header: str = "date,temp_c") -> str:
    """Write a daily table of one value a day."""
    days = np.datetime64(first) + np.arange(len(temps))
    return "\n".join([header, *(f"{d},{t}" for d, t in zip(days, temps, strict=True))])


def hourly(
    hours: int, *, first: str = "2024-01-01T00", temp: object = 5.0, header: str = "at,temp_c"
) -> list[str]:
    """Write an hourly table in UTC, as lines."""
    at = np.datetime64(first, "h") + np.arange(hours)
    return [header, *(f"{a}:00Z,{temp}" for a in at)]


def refusal(data: bytes | str, **how: object) -> WeatherError:
    """Read what must be refused."""
    with pytest.raises(WeatherError) as caught:
        parse_weather(data, **how)  # type: ignore[arg-type]
    return caught.value


def codes(parsed: ParsedWeather) -> list[str]:
    """Codes of the problems met."""
    return [p.code for p in parsed.problems]


# ---- the daily form


def test_columns_are_found_by_name() -> None:
    """Columns may stand in any order, among others, which are named in a note."""
    text = "wind_kt,ghi_wh_m2,Date,tmax_c,temp_c,tmin_c\n9,700,2024-01-01,7,4.5,2\n8,,2024-01-02,8,5.5,3\n"
    weather = parse_weather(text).weather
    assert weather.date.tolist() == [date(2024, 1, 1), date(2024, 1, 2)]
    assert weather.temp_c.tolist() == [4.5, 5.5]
    assert weather.tmin_c.tolist() == [2.0, 3.0]
    assert weather.tmax_c.tolist() == [7.0, 8.0]
    assert weather.ghi_wh_m2[0] == 700.0
    assert np.isnan(weather.ghi_wh_m2[1])
    assert parse_weather(text).notes[0] == "columns not used: wind_kt"


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_separators_line_ends_and_byte_order_mark(newline: str, mark: bytes) -> None:
    """Semicolons, a declared decimal comma, any line end and a byte-order mark read alike."""
    text = newline.join(["date;temp_c", "2024-01-01;4,5", "2024-01-02;-0,5", ""])
    assert parse_weather(mark + text.encode(), decimal=",").weather.temp_c.tolist() == [4.5, -0.5]


def test_undeclared_decimal_comma_is_named_row_by_row() -> None:
    """A decimal comma that was not declared is a problem of its rows, with the mend."""
    error = refusal("date;temp_c\n2024-01-01;4,5\n2024-01-02;5,5\n")
    assert [p.row for p in error.problems[:2]] == [2, 3]
    assert "say that the decimal sign is a comma" in error.problems[0].mend


def test_midrange_is_worked_out_only_when_asked_for() -> None:
    """Without temp_c the mid-range is taken when the kind says so, and refused as a mean."""
    text = "date,tmin_c,tmax_c\n2024-01-01,2,8\n2024-01-02,1,3\n"
    parsed = parse_weather(text, kind="midrange")
    assert parsed.weather.temp_c.tolist() == [5.0, 2.0]
    assert parsed.weather.kind == "midrange"
    assert refusal(text).problems[0].code == "no_column"


def test_a_midrange_called_mean_is_pointed_out() -> None:
    """A month of values half-way between the extremes gets the advice to say so."""
    rows = [f"2024-01-{d:02},{d / 4 + 1},{d / 4 - 2},{d / 4 + 4}" for d in range(1, 32)]
    parsed = parse_weather("\n".join(["date,temp_c,tmin_c,tmax_c", *rows]))
    assert any("--temp-kind midrange" in n for n in parsed.notes)


@pytest.mark.parametrize("mark", ["", "M", "NA", "nan", "-9999", "-99.9", "99.9", "999", "9999", "null", "-"])
def test_marks_of_absence_are_gaps_and_counted(mark: str) -> None:
    """A mark of absence is a gap: two days in a row stay nan, one is filled, and both are told."""
    parsed = parse_weather(daily([1.0, mark, 3.0, mark, mark, 6.0]))
    assert parsed.problems == ()
    assert np.isnan(parsed.weather.temp_c).tolist() == [False, False, False, True, True, False]
    assert parsed.weather.temp_c[1] == 2.0
    assert parsed.notes[0] == "3 days have no temperature: 2024-01-02, 2024-01-04 to 2024-01-05"
    assert parsed.notes[1] == "1 of them filled from the days before and after"


def test_days_without_a_row_are_gaps() -> None:
    """The result covers consecutive days: a day that has no row is there as nan."""
    weather = parse_weather("date,temp_c\n2024-01-05,5\n2024-01-01,1\n2024-01-02,2\n").weather
    assert np.diff(weather.date).astype(int).tolist() == [1, 1, 1, 1]
    assert np.isnan(weather.temp_c).tolist() == [False, False, True, True, False]


def test_a_month_full_of_gaps_is_refused() -> None:
    """More than a fifth of a month without temperature refuses the file and names the month."""
    good = [5.0] * 31 + [6.0, 7.0] * 14
    assert codes(parse_weather(daily(good[:10] + ["M"] * 6 + good[16:]))) == []
    error = refusal(daily(good[:10] + ["M"] * 7 + good[17:]))
    assert error.problems[0].code == "month_gaps"
    assert "2024-01" in error.problems[0].mend


def test_a_month_full_of_gaps_costs_a_long_record_only_that_month() -> None:
    """Ten years and more are too good to refuse for one month: it is set aside, with a problem."""
    temps: list[object] = [float(i % 17) for i in range(11 * 366)]
    temps[1000:1040] = ["M"] * 40
    parsed = parse_weather(daily(temps, first="2000-01-01"))
    assert codes(parsed) == ["month_gaps"]
    assert np.isnan(parsed.weather.temp_c[1000:1040]).all()


def test_equal_repeats_are_dropped_unequal_ones_set_aside() -> None:
    """Of a day given twice equal rows count once; of unequal ones none is used, and the row is named."""
    text = daily([1, 2, 3, 4, 5]) + "\n2024-01-02,2\n2024-01-04,9\n"
    parsed = parse_weather(text)
    assert codes(parsed) == ["day_twice"]
    assert parsed.problems[0].row == 8
    assert parsed.weather.temp_c[1] == 2.0
    assert "1 repeated rows with equal values were dropped" in parsed.notes
    assert "2024-01-04" in parsed.notes[1]


@pytest.mark.parametrize(
    ("bad", "code"),
    [
        ("2024-01-02,warm", "not_a_number"),
        ("2024-01-02,1e400", "not_a_number"),
        ("2024-01-02,56", "temperature_range"),
        ("2024-01-02,-60.1", "temperature_range"),
        ("02/01/2024,5", "not_a_date"),
        ("2024-02-30,5", "not_a_date"),
        ("0204-01-02,5", "year"),
        ("2024-01-02,5,6", "wrong_cells"),
    ],
)
def test_a_bad_row_is_named_and_the_others_kept(bad: str, code: str) -> None:
    """Each bad row gives a problem with its number and what was seen; the good rows stay."""
    parsed = parse_weather(f"date,temp_c\n2024-01-01,4\n{bad}\n2024-01-03,6\n")
    assert codes(parsed) == [code]
    assert parsed.problems[0].row == 3
    assert parsed.problems[0].mend
    assert parsed.weather.temp_c[[0, -1]].tolist() == [4.0, 6.0]


@given(
    bad=st.dictionaries(
        st.integers(0, 59),
        st.sampled_from(["x", "1,2,3", "1e999", "--5", "٣", "0x1F", "5 C", "=1+1", "1_0", "∞"]),
        max_size=5,
    )
)
def test_every_bad_row_is_reported_and_no_good_row_lost(bad: dict[int, str]) -> None:
    """However the bad cells are spread, each has its row named and every good value is there."""
    good = [float(i % 9) for i in range(60)]
    cells: list[object] = [bad.get(i, v) for i, v in enumerate(good)]
    parsed = parse_weather(daily(cells))
    assert sorted(p.row for p in parsed.problems if p.row) == sorted(i + 2 for i in bad)
    held = {str(d): t for d, t in zip(parsed.weather.date, parsed.weather.temp_c, strict=True)}
    for i, value in enumerate(good):
        if i not in bad:
            assert held[str(np.datetime64("2024-01-01") + i)] == value


YEAR_C = [10.0 - 9.0 * np.cos(2.0 * np.pi * i / 365.0) + 3.0 * np.sin(1.7 * i) for i in range(365)]


@pytest.mark.parametrize(
    ("name", "convert"),
    [
        ("degrees Fahrenheit", lambda c: 32.0 + 1.8 * c),
        ("kelvin", lambda c: c + 273.15),
        ("tenths of a degree", lambda c: 10.0 * c),
    ],
)
def test_other_units_are_refused_and_guessed(name: str, convert: object) -> None:
    """A year in Fahrenheit, kelvin or tenths is refused with the likely unit named."""
    error = refusal(daily([round(convert(c), 2) for c in YEAR_C]))  # type: ignore[operator]
    assert error.problems[0].code == "temperature_unit"
    assert name in error.problems[0].mend


@pytest.mark.parametrize("january_c", [-7.0, -4.0, 0.0, 5.0, 9.0])
def test_a_january_in_fahrenheit_is_refused(january_c: float) -> None:
    """A winter month has no mean above 18 degC where houses are heated, so 19 F to 48 F are caught."""
    swing = [january_c + 3.0 * np.sin(1.7 * i) for i in range(31)]
    assert parse_weather(daily([round(c, 1) for c in swing])).problems == ()
    assert refusal(daily([round(32 + 1.8 * c, 1) for c in swing])).problems[0].code == "temperature_unit"


def test_a_hot_summer_and_a_hard_winter_pass() -> None:
    """Weather of Duluth and of a southern heat wave is accepted as it is."""
    winter = parse_weather(daily([-30.0 + (i % 7) for i in range(31)]))
    summer = parse_weather(daily([30.0 + (i % 7) for i in range(31)], first="2023-07-01"))
    assert winter.problems == summer.problems == ()


def test_extremes_the_wrong_way_round_are_set_aside() -> None:
    """A lowest above the highest loses both extremes, not the day's mean."""
    parsed = parse_weather("date,temp_c,tmin_c,tmax_c\n2024-01-01,5,8,2\n2024-01-02,5,2,8\n")
    assert codes(parsed) == ["min_above_max"]
    assert parsed.weather.temp_c.tolist() == [5.0, 5.0]
    assert np.isnan(parsed.weather.tmin_c[0])


def test_daily_sun_out_of_range() -> None:
    """Sun slightly below zero is set to 0 and counted; far below or beyond the sky's is a problem."""
    rows = [f"2024-01-0{d},5.{d},{g}" for d, g in ((1, -3), (2, 700), (3, -5000), (4, 14000), (5, -9999))]
    parsed = parse_weather("\n".join(["date,temp_c,ghi_wh_m2", *rows]))
    assert codes(parsed) == ["sun_range", "sun_range"]
    assert [p.row for p in parsed.problems] == [4, 5]
    assert parsed.weather.ghi_wh_m2[:2].tolist() == [0.0, 700.0]
    assert np.isnan(parsed.weather.ghi_wh_m2[2:]).all()
    assert np.isfinite(parsed.weather.temp_c).all()
    assert "1 values of sun slightly below zero were set to 0" in parsed.notes


def test_sun_in_kwh_is_set_aside() -> None:
    """A summer of 5 Wh/m2 a day is in kWh: the column is set aside with the factors to use."""
    rows = [f"2023-06-{d:02},{15 + d % 5},{4 + d % 3}" for d in range(1, 31)]
    parsed = parse_weather("\n".join(["date,temp_c,ghi_wh_m2", *rows]))
    assert codes(parsed) == ["sun_unit"]
    assert np.isnan(parsed.weather.ghi_wh_m2).all()
    assert np.isfinite(parsed.weather.temp_c).all()


def test_a_stuck_station_is_pointed_out() -> None:
    """A week of exactly equal temperatures is no error, but a question."""
    notes = parse_weather(daily([4.0, 5.0, *[6.0] * 7, 5.0])).notes
    assert any("2024-01-03 to 2024-01-09: is the station stuck?" in n for n in notes)
    assert not any("stuck" in n for n in parse_weather(daily([4.0, 5.0, *[6.0] * 6, 5.0])).notes)


# ---- what is no weather table


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty"),
        (b"  \n \n", "empty"),
        (b"date,temp_c\n", "no_rows"),
        (b"date,temp_c\n2024-01-01,M\n", "no_rows"),
        (b"day,temperature\n2024-01-01,5\n", "no_column"),
        (b"date,temp\n2024-01-01,5\n", "no_column"),
        (b"date,temp_c,temp_c\n2024-01-01,5,6\n", "column_twice"),
        (b"date,hour,temp_c\n2024-01-01,24,5\n", "hour_column"),
        (b"date,at,temp_c\n2024-01-01,2024-01-01T00:00Z,5\n", "two_forms"),
        (b"<!DOCTYPE html><html><body>503 Service Unavailable</body></html>", "web_page"),
        (
            b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/passwd">]><a>&b;</a>',
            "web_page",
        ),
        (b'{"hourly": {"temperature_2m": [1, 2]}}', "not_a_table"),
        (pickle.dumps({"temp_c": [1.0]}), "not_text"),
        (b"cos\nsystem\n(S'true'\ntR.", "no_column"),
        (b"!!python/object/apply:os.system ['true']\n", "no_column"),
        (b"PK\x03\x04\x14\x00\x00\x00", "not_text"),
        (b"\x1f\x8b\x08\x00rest", "not_text"),
        (b"PAR1\x15\x04", "not_text"),
        ("date,temp_c\n2024-01-01,5\n".encode("utf-16"), "not_utf8"),
        (b"date,temp_c\n2024-01-01,5\0\n", "nul"),
        (b"date,temp_c" + b",x" * 300 + b"\n", "too_wide"),
        (b"date,temp_c\n" + b"2024-01-01,5\n" * 500_000, "too_large"),
        (b"LOCATION,Nowhere\n1,2,3\n", "not_epw"),
    ],
)
def test_what_is_no_weather_table_is_refused_in_words(data: bytes, code: str) -> None:
    """Empty files, pages, mark-up, archives and pickles are refused unopened, with a mend."""
    error = refusal(data)
    assert code in [p.code for p in error.problems]
    assert all(p.mend for p in error.problems)


def test_an_object_array_is_refused() -> None:
    """A NumPy file that holds objects is never loaded."""
    held = io.BytesIO()
    np.save(held, np.array([{"temp_c": 1.0}], dtype=object), allow_pickle=True)
    assert refusal(held.getvalue()).problems[0].code == "not_text"


# ---- the hourly form


def test_hours_make_civil_days_of_the_zone() -> None:
    """A UTC series is averaged from midnight to midnight of the stated zone."""
    lines = ["at,temp_c", *(f"2024-01-{1 + h // 24:02}T{h % 24:02}:00Z,{h}" for h in range(54))]
    utc = parse_weather("\n".join(lines)).weather
    assert utc.temp_c.tolist() == [11.5, 35.5]
    paris = parse_weather("\n".join(lines), tz="Europe/Paris").weather
    assert [str(d) for d in paris.date] == ["2024-01-01", "2024-01-02"]
    assert paris.temp_c.tolist() == [11.0, 34.5]  # 23 of 24 hours from 0 on; then hours 23 to 46
    assert (paris.tmin_c[1], paris.tmax_c[1]) == (23.0, 46.0)


@pytest.mark.parametrize(("day", "hours"), [("2024-03-31", 23), ("2024-10-27", 25), ("2024-06-01", 24)])
def test_days_of_23_and_25_hours(day: str, hours: int) -> None:
    """The days on which clocks change have 23 and 25 hours, and their sun is summed over those."""
    first = np.datetime64(day) - 1
    at = np.datetime64(first, "h") + np.arange(72)
    lines = ["at,temp_c,ghi_w_m2", *(f"{a}:00Z,{5 + i % 3},{10}" for i, a in enumerate(at))]
    weather = parse_weather("\n".join(lines), tz="Europe/London").weather
    at_day = weather.window(np.datetime64(day), np.datetime64(day) + 1)
    assert at_day.ghi_wh_m2[0] == pytest.approx(10.0 * hours)


def test_offsets_are_honoured() -> None:
    """Times with an offset of +05:30 fall on the days of their own zone."""
    at = np.datetime64("2024-01-10T00:00") + np.arange(24) * np.timedelta64(1, "h")
    lines = ["at,temp_c", *(f"{a}+05:30,{i}" for i, a in enumerate(at))]
    weather = parse_weather("\n".join(lines), tz="Asia/Kolkata").weather
    assert weather.date.tolist() == [date(2024, 1, 10)]
    assert weather.temp_c.tolist() == [11.5]


def test_three_hours_are_filled_three_days_are_a_gap() -> None:
    """A hole of 3 hours is filled and counted; one of 3 days stays, named by its days."""
    lines = hourly(24 * 20)
    whole = parse_weather("\n".join(lines))
    assert whole.weather.temp_c.tolist() == [5.0] * 20
    short = parse_weather("\n".join(lines[:30] + lines[33:]))
    assert short.weather.temp_c.tolist() == [5.0] * 20
    assert short.notes[0].startswith("3 missing time steps")
    long = parse_weather("\n".join(lines[:49] + lines[121:]))
    assert np.isnan(long.weather.temp_c).tolist() == [False] * 2 + [True] * 3 + [False] * 15
    assert "3 days have no temperature: 2024-01-03 to 2024-01-05" in long.notes


@pytest.mark.parametrize(("missing", "known"), [(4, False), (2, True)])
def test_nine_tenths_of_the_hours_make_a_day(missing: int, known: bool) -> None:
    """At the end of a file 22 of 24 hours make a day, 20 do not: it is left out, with a note."""
    parsed = parse_weather("\n".join(hourly(48 - missing)))
    assert parsed.weather.date.size == (2 if known else 1)
    assert any("incomplete days" in n for n in parsed.notes) is not known


def test_descending_and_repeated_hours() -> None:
    """Rows in falling order read the same; equal repeats are dropped, unequal ones set aside."""
    lines = ["at,temp_c", *(f"2024-01-01T{h:02}:00Z,{h}" for h in range(24))]
    turned = parse_weather("\n".join([lines[0], *lines[:0:-1]])).weather
    assert turned.temp_c.tolist() == [11.5]
    again = parse_weather("\n".join([*lines, lines[5], "2024-01-01T06:00Z,30"]))
    assert codes(again) == ["hour_twice"]
    assert again.weather.temp_c[0] == pytest.approx(11.5)  # 06:00 filled between 5 and 7


@pytest.mark.parametrize(
    ("at", "words"),
    [
        ("2024-01-01T24:00Z", "00:00 of the next day"),
        ("2024-01-01T12:00", "add the offset"),
        ("2024-03-31 01:30", "add the offset"),
        ("01/01/2024 12:00", "give a time"),
        ("2024-01-01T25:00Z", "exist"),
    ],
)
def test_times_that_say_too_little_are_refused(at: str, words: str) -> None:
    """24:00, local times without offset and other notations are named, with the mend."""
    lines = hourly(48)
    parsed = parse_weather("\n".join([*lines, f"{at},5"]))
    assert codes(parsed) == ["not_a_time"]
    assert words in parsed.problems[0].mend
    assert parsed.problems[0].row == 50


def test_hour_ending_stamps_are_declared() -> None:
    """Stamps at the end of their hour, when declared, shift the day by an hour."""
    lines = ["at,temp_c", *(f"{np.datetime64('2024-01-01T01') + h}:00Z,{h}" for h in range(24))]
    weather = parse_weather("\n".join(lines), stamp="end").weather
    assert weather.temp_c.tolist() == [11.5]


def test_mixed_time_steps_are_refused() -> None:
    """Half a file hourly and half three-hourly is refused; ten-minute steps alone are fine."""
    mixed = hourly(72) + [f"2024-01-{4 + i // 8:02}T{3 * (i % 8):02}:00Z,5" for i in range(72)]
    assert refusal("\n".join(mixed)).problems[0].code == "mixed_steps"
    at = np.datetime64("2024-01-01T00:00") + np.arange(288) * np.timedelta64(10, "m")
    fine = parse_weather("\n".join(["at,temp_c", *(f"{a}Z,{i % 2}" for i, a in enumerate(at))])).weather
    assert fine.temp_c.tolist() == [0.5, 0.5]
    six = [f"2024-01-{1 + i // 4:02}T{6 * (i % 4):02}:00Z,5" for i in range(40)]
    assert refusal("\n".join(["at,temp_c", *six])).problems[0].code == "time_step"


def test_sun_at_night() -> None:
    """One bright night hour is set aside with its row; many mean a wrong zone and refuse the file."""
    at = np.datetime64("2024-06-01T00", "h") + np.arange(240)
    sun = np.maximum(0.0, 600.0 * np.sin(2.0 * np.pi * (np.arange(240) - 6) / 24.0))
    lines = [f"{a}:00Z,{15 + i % 4},{g:.0f}" for i, (a, g) in enumerate(zip(at, sun, strict=True))]
    header = "at,temp_c,ghi_w_m2"
    assert parse_weather("\n".join([header, *lines])).problems == ()
    one = [*lines[:24], "2024-06-02T00:00Z,15,300", *lines[25:]]
    parsed = parse_weather("\n".join([header, *one]))
    assert codes(parsed) == ["sun_at_night"]
    assert parsed.problems[0].row == 26
    assert refusal("\n".join([header, *lines]), tz="Asia/Tokyo").problems[0].code == "sun_at_night"


def test_hourly_sun_out_of_range() -> None:
    """A night offset is set to 0 and counted; more than 1,500 W/m2 is a problem of its row."""
    lines = hourly(48, temp="5,0", header="at,temp_c,ghi_w_m2")
    lines[3] = "2024-01-01T02:00Z,5,-4"
    lines[13] = "2024-01-01T12:00Z,5,1501"
    lines[14] = "2024-01-01T13:00Z,5,-21"
    parsed = parse_weather("\n".join(lines))
    assert codes(parsed) == ["sun_range", "sun_range"]
    assert [p.row for p in parsed.problems] == [14, 15]
    assert any("slightly below zero" in n for n in parsed.notes)


# ---- the outlook

ISSUES = """issued_at,date,temp_c,ghi_wh_m2
2024-01-09T06:00Z,2024-01-09,1,500
2024-01-10T06:00Z,2024-01-10,3,600
2024-01-10T06:00Z,2024-01-11,4,
2024-01-10T06:00Z,2024-01-12,5,700
2024-01-10T06:00Z,2024-01-14,9,700
2024-01-10T18:00Z,2024-01-11,20,700
"""
NOON = datetime(2024, 1, 10, 12, tzinfo=UTC)


def test_the_latest_issue_before_as_of_counts() -> None:
    """Issues after as-of are not looked at, and days are used up to the first that is missing."""
    outlook, problems, notes = parse_outlook(ISSUES, as_of=NOON, tz="Europe/London")
    assert outlook is not None
    assert outlook.issued_at == datetime(2024, 1, 10, 6, tzinfo=UTC)
    assert outlook.temp_c.tolist() == [3.0, 4.0, 5.0]
    assert np.isnan(outlook.ghi_wh_m2).tolist() == [False, True, False]
    assert problems == ()
    assert notes == ("1 days of the outlook after 2024-01-12 were not used",)


@pytest.mark.parametrize(
    ("as_of", "words"),
    [
        (datetime(2024, 1, 8, tzinfo=UTC), "no outlook issued by"),
        (datetime(2024, 1, 17, 6, tzinfo=UTC), "older than 24 hours"),
        (datetime(2024, 1, 11, 18, 1, tzinfo=UTC), "older than 24 hours"),
    ],
)
def test_an_old_forecast_is_no_forecast(as_of: datetime, words: str) -> None:
    """An outlook of more than a day ago, or of the future, is not used, and a note says why."""
    outlook, _, notes = parse_outlook(ISSUES, as_of=as_of, tz="UTC")
    assert outlook is None
    assert words in notes[0]


def test_a_later_issue_changes_nothing_earlier() -> None:
    """What is issued after as-of never changes the outlook of then."""
    early = parse_outlook(ISSUES, as_of=NOON, tz="UTC")[0]
    later = parse_outlook(ISSUES + "2024-01-10T12:01Z,2024-01-10,-9,0\n", as_of=NOON, tz="UTC")[0]
    assert early is not None
    assert later is not None
    assert early.temp_c.tolist() == later.temp_c.tolist()


def test_an_outlook_that_starts_late_is_not_spliced() -> None:
    """A forecast whose first day is the day after tomorrow leaves a hole and is not used."""
    text = "issued_at,date,temp_c\n2024-01-10T06:00Z,2024-01-12,5\n"
    outlook, _, notes = parse_outlook(text, as_of=NOON, tz="UTC")
    assert outlook is None
    assert "does not begin today" in notes[0]


def test_bad_rows_of_an_outlook_are_named() -> None:
    """A time without offset, a wrong date and a Fahrenheit-like value are problems of their rows."""
    text = (
        ISSUES
        + "2024-01-10 06:00,2024-01-13,5,\n2024-01-10T06:00Z,13.1.2024,5,\n2024-01-10T06:00Z,2024-01-13,70,\n"
    )
    outlook, problems, _ = parse_outlook(text, as_of=NOON, tz="UTC")
    assert outlook is not None
    assert [p.code for p in problems] == ["not_a_time", "not_a_date", "temperature_range"]
    assert [p.row for p in problems] == [8, 9, 10]


def test_an_outlook_in_fahrenheit_is_refused() -> None:
    """A January outlook with a mean above 18 is in another unit."""
    rows = [f"2024-01-10T06:00Z,2024-01-{10 + i},{38 + i}" for i in range(7)]
    with pytest.raises(WeatherError, match="Fahrenheit"):
        parse_outlook("\n".join(["issued_at,date,temp_c", *rows]), as_of=NOON, tz="UTC")


# ---- other makers' formats, on a real typical year that pvlib carries


def greensboro() -> str:
    """Text of the TMY3 year of Greensboro, North Carolina (NREL, carried by pvlib)."""
    from pathlib import Path

    import pvlib

    return (Path(pvlib.__file__).parent / "data" / "723170TYA.CSV").read_text()


def as_epw(tmy3: str, *, hole: range = range(0)) -> str:
    """Rewrite a TMY3 file as EPW: same hours, same columns used, 99.9 and 9999 where missing."""
    lines = tmy3.splitlines()
    _, name, state, zone, north, east, height = lines[0].split(",")
    columns = lines[1].split(",")
    temp, ghi = columns.index("Dry-bulb (C)"), columns.index("GHI (W/m^2)")
    head = [
        f"LOCATION,{name},{state},USA,TMY3,723170,{north},{east},{zone},{height}",
        *["X"] * 6,
        "DATA PERIODS,1,1",
    ]
    body = []
    for i, line in enumerate(lines[2:]):
        cells = line.split(",")
        month, day, year = cells[0].split("/")
        shown = ["99.9", "9999"] if i in hole else [cells[temp], cells[ghi]]
        values = [shown[0], *["0"] * 6, shown[1], *["0"] * 21]
        body.append(",".join([year, month, day, cells[1][:2].lstrip("0"), "60", "?", *values]))
    return "\n".join([*head, *body]) + "\n"


def test_epw_and_tmy3_read_alike() -> None:
    """A typical year in either format gives the same 365 days, and says that it is a typical year."""
    text = greensboro()
    tmy3, epw = parse_tmy3(text), parse_weather(as_epw(text).encode())
    assert tmy3.weather.date.size == epw.weather.date.size == 365
    np.testing.assert_allclose(tmy3.weather.temp_c, epw.weather.temp_c)
    np.testing.assert_allclose(tmy3.weather.ghi_wh_m2, epw.weather.ghi_wh_m2)
    assert any("typical year" in n for n in epw.notes)
    assert "GREENSBORO PIEDMONT TRIAD INT at 36.1 N, -79.95 E, 273 m" in epw.notes[0]


def test_typical_year_keeps_its_hours() -> None:
    """The first day's mean and sun are those of the file's first 24 lines."""
    lines = greensboro().splitlines()
    columns = lines[1].split(",")
    first = [line.split(",") for line in lines[2:26]]
    weather = parse_tmy3(greensboro()).weather
    assert weather.temp_c[0] == pytest.approx(
        np.mean([float(c[columns.index("Dry-bulb (C)")]) for c in first])
    )
    assert weather.ghi_wh_m2[0] == pytest.approx(sum(float(c[columns.index("GHI (W/m^2)")]) for c in first))


def test_missing_hours_of_epw_are_gaps() -> None:
    """99.9 degC and 9999 Wh/m2 in an EPW file are gaps, not weather."""
    parsed = parse_epw(as_epw(greensboro(), hole=range(240, 312)))
    assert np.isnan(parsed.weather.temp_c[10:13]).all()
    assert np.nanmax(parsed.weather.temp_c) < 40.0


def test_a_truncated_epw_is_refused() -> None:
    """An EPW file cut off in a line is refused by name, not by a traceback."""
    whole = as_epw(greensboro())
    with pytest.raises(WeatherError):
        parse_epw(whole[:300])
    with pytest.raises(WeatherError):
        parse_epw("LOCATION,http://example.org/x.epw\n")
