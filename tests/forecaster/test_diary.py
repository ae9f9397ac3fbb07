"""The diary and what it makes of a day."""

from datetime import date
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.diary import (
    CHANGES,
    FACTORS,
    DeclaredChange,
    DiaryEntry,
    diary_factors,
    parse_changes,
    parse_diary,
    water_spared,
)
from forecaster.errors import SurveyError

HEADER = "start,end,what\n"
MARCH = np.arange("2024-03-01", "2024-04-01", dtype="datetime64[D]")


def test_entries_in_order_of_days() -> None:
    """Entries come out by start, whatever the order of the file and the writing of the words."""
    entries, problems = parse_diary(
        HEADER + "2024-03-10,2024-03-12,Frost_Setting\n2024-03-01,2024-03-02, guests\n"
    )
    assert not problems
    assert entries == (
        DiaryEntry(date(2024, 3, 1), date(2024, 3, 2), "guests"),
        DiaryEntry(date(2024, 3, 10), date(2024, 3, 12), "frost setting"),
    )


@pytest.mark.parametrize(
    ("row", "field", "words"),
    [
        ("2024-03-12,2024-03-11,away", "end", "from 2024-03-12 on"),
        ("2024-03-12,,away", "end", "2024-01-10"),
        ("12/03/2024,2024-03-13,away", "start", "2024-01-10"),
        ("2024-02-30,2024-03-13,away", "start", "exists"),
        ("2024-03-12,2025-03-13,away", "end", "366 days"),
        ("2024-03-12,2024-03-13,holiday", "what", "away, frost setting, guests, let, boiler off"),
        ("2024-03-12,2024-03-13,", "what", "away, frost setting"),
        ("2024-03-02,2024-03-03,guests", "start", "2024-03-01 to 2024-03-02 is away already"),
        ("2024-03-12,2024-03-13", "row", "3 cells"),
    ],
)
def test_bad_row_is_named_and_good_rows_kept(row: str, field: str, words: str) -> None:
    """Each bad row gives one problem with its line, field and mend; the others are kept."""
    entries, (problem,) = parse_diary(
        f"{HEADER}2024-03-01,2024-03-02,away\n{row}\n2024-03-20,2024-03-20,let\n"
    )
    assert (problem.row, problem.field) == (3, field)
    assert words in problem.mend
    assert [e.what for e in entries] == ["away", "let"]


def test_day_after_day_is_no_overlap() -> None:
    """An entry may start on the day after another's last."""
    entries, problems = parse_diary(HEADER + "2024-03-01,2024-03-02,away\n2024-03-03,2024-03-04,guests\n")
    assert len(entries) == 2
    assert not problems


@pytest.mark.parametrize("text", ["", "start,what\n2024-03-01,away\n"])
def test_no_diary_at_all_is_refused(text: str) -> None:
    """A file without the columns is refused."""
    with pytest.raises(SurveyError):
        parse_diary(text)


def test_first_and_last_day_count() -> None:
    """Both ends of an entry are in it, the days around are not."""
    base, heat = diary_factors((DiaryEntry(date(2024, 3, 2), date(2024, 3, 3), "boiler off"),), MARCH[:4])
    assert base.tolist() == heat.tolist() == [1.0, 0.0, 0.0, 1.0]


def test_empty_diary_changes_nothing() -> None:
    """Without entries every factor is one."""
    base, heat = diary_factors((), MARCH)
    assert base.tolist() == heat.tolist() == [1.0] * 31


def test_entries_outside_the_days_change_nothing() -> None:
    """An entry long ago or far ahead leaves these days alone."""
    old = DiaryEntry(date(2020, 1, 1), date(2020, 2, 1), "away")
    ahead = DiaryEntry(date(2030, 1, 1), date(2030, 2, 1), "away")
    base, _ = diary_factors((old, ahead), MARCH)
    assert base.tolist() == [1.0] * 31


@given(
    st.lists(
        st.tuples(st.integers(0, 40), st.integers(-2, 12), st.sampled_from([*FACTORS, "skiing"])), max_size=12
    )
)
def test_every_row_is_an_entry_or_a_problem(rows: list[tuple[int, int, str]]) -> None:
    """No row is lost, entries never overlap, and factors are those of a known word or one."""
    first = date(2024, 3, 1).toordinal()
    lines = [
        f"{date.fromordinal(first + start)},{date.fromordinal(first + start + days)},{what}"
        for start, days, what in rows
    ]
    entries, problems = parse_diary(HEADER + "\n".join(lines))
    assert len(entries) + len(problems) == len(rows)
    assert all(a.end < b.start for a, b in pairwise(entries))
    base, heat = diary_factors(entries, MARCH)
    known = {(f.base, f.heat) for f in FACTORS.values()} | {(1.0, 1.0)}
    assert set(zip(base.tolist(), heat.tolist(), strict=True)) <= known


# ---- changes for good


def test_changes_stand_beside_entries() -> None:
    """One file holds days away and changes; each reader takes its own, and neither finds a problem."""
    text = HEADER + "2024-05-03,,New boiler\n2024-03-01,2024-03-02,away\n2024-01-20,,insulation\n"
    entries, problems = parse_diary(text)
    assert [e.what for e in entries] == ["away"]
    assert problems == ()
    assert parse_changes(text) == (
        DeclaredChange(date(2024, 1, 20), "insulation"),
        DeclaredChange(date(2024, 5, 3), "new boiler"),
    )


@pytest.mark.parametrize("what", CHANGES)
def test_each_change_is_read(what: str) -> None:
    """Every word of a change is read, its end empty or its own day, and twice the same counts once."""
    text = f"{HEADER}2024-05-03,,{what}\n2024-05-03,2024-05-03,{what}\n"
    assert parse_changes(text) == (DeclaredChange(date(2024, 5, 3), what),)
    assert parse_diary(text) == ((), ())


def test_a_change_within_days_away_is_no_overlap() -> None:
    """A boiler may be changed while the household is away."""
    text = HEADER + "2024-05-01,2024-05-10,away\n2024-05-03,,new boiler\n2024-05-11,2024-05-12,guests\n"
    assert parse_diary(text)[1] == ()
    assert len(parse_changes(text)) == 1


@pytest.mark.parametrize(
    ("row", "field", "words"),
    [
        ("2024-05-03,2024-06-03,insulation", "end", "leave it empty"),
        ("3 May,,insulation", "start", "2024-01-10"),
        ("2024-05-03,2024-05-04,new stove", "what", "new boiler, insulation, occupants, stove"),
    ],
)
def test_a_bad_change_is_named(row: str, field: str, words: str) -> None:
    """A change with an end, without a day, or of an unknown word is a problem, and no change."""
    (problem,) = parse_diary(HEADER + row + "\n")[1]
    assert (problem.row, problem.field) == (2, field)
    assert words in problem.mend
    assert parse_changes(HEADER + row + "\n") == ()


def test_panels_spare_hot_water_alone() -> None:
    """On days on which panels heat the water only the hot water is spared, the rest of the base load burns on."""
    entry = DiaryEntry(date(2024, 3, 2), date(2024, 3, 3), "panels heat water")
    base, heat = diary_factors((entry,), MARCH[:4])
    assert base.tolist() == heat.tolist() == [1.0] * 4
    assert water_spared((entry,), MARCH[:4]).tolist() == [0.0, 0.9, 0.9, 0.0]
    away = DiaryEntry(date(2024, 3, 2), date(2024, 3, 3), "away")
    assert not water_spared((away,), MARCH[:4]).any()
