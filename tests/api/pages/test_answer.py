"""The answer's page: what it says, and what it must never say."""

import re
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.pages.telling.page import STATE_WORDS
from forecaster.confidence import Appointment, LastTrusted, OrderAdvice, Reason, State
from forecaster.readings import Readings
from forecaster.reorder import OrderSettings
from forecaster.screening import Flag
from forecaster.wording import answer
from tests.api.pages.sights import (
    AS_OF,
    TANK,
    TODAY,
    ZONE,
    page_of,
    sight,
    some_days,
    told,
    withheld,
    words_of,
)
from tests.strategies import few

WITHHELD = [state for state in State if not state.is_told]
MONTHS = [date(2025, month, 1).strftime("%B") for month in range(1, 13)]
DATE = re.compile(
    rf"\b(\d{{1,2}}) ({'|'.join(MONTHS)}|{'|'.join(m[:3] for m in MONTHS)})\b(?: (\d{{4}}))?"
    r"|\b(\d{4})-(\d\d)-(\d\d)\b"
)


def dates_in(text: str) -> list[date]:
    """Every date in a text; without a year it is of as-of's year."""
    found = []
    for day, month, year, *iso in DATE.findall(text):
        if day:
            number = [m[:3] for m in MONTHS].index(month[:3]) + 1
            found.append(date(int(year or TODAY.year), number, int(day)))
        else:
            found.append(date(*map(int, iso)))
    return found


def test_dates_in_finds_every_way_of_writing_a_date() -> None:
    """The property below looks with an eye that sees."""
    text = "Fri 20 June, 3 Jul, 2025-08-01, 4 January 2026"
    assert dates_in(text) == [date(2025, 6, 20), date(2025, 7, 3), date(2025, 8, 1), date(2026, 1, 4)]


@given(
    state=st.sampled_from([State.OK, State.WIDE]),
    a_day_l=st.floats(0.5, 40.0),
    note=st.sampled_from(["window", "order_today", "no_safe_window", "no_need"]),
)
@settings(few, max_examples=8)
def test_the_page_says_the_same_sentence_as_every_other_door(state: State, a_day_l: float, note: str) -> None:
    """Sentence, reasons and cautions are those of the wording, whole and in order."""
    order = OrderAdvice(TODAY, TODAY + timedelta(days=20), 700.0, note, "Order about 700 litres.")
    reasons = (Reason("wide_band", State.WIDE, "How much is left is known only roughly."),)
    forecast = told(
        state=state,
        order=order,
        daily=some_days(a_day_l=a_day_l),
        reasons=reasons if state is State.WIDE else (),
    )
    said = answer(forecast, zone=ZONE, settings=OrderSettings())
    words = words_of(page_of(sight(forecast)))
    for part in (said.sentence, *said.reasons, *said.cautions):
        assert part in words
    assert words.index(said.sentence) < min(words.index(part) for part in (*said.reasons, *said.cautions))


@given(
    state=st.sampled_from(WITHHELD),
    seen_days_ago=st.none() | st.integers(0, 120),
    promised_in=st.none() | st.integers(-20, 200),
    litres=st.integers(0, 1900),
)
@few
def test_a_withheld_page_has_no_date_ahead_and_no_litres_but_the_last_trusted(
    state: State, seen_days_ago: int | None, promised_in: int | None, litres: int
) -> None:
    """Whatever was promised before, a page that cannot see the tank names no day to come."""
    last = None if seen_days_ago is None else LastTrusted(AS_OF - timedelta(days=seen_days_ago), litres)
    promised = (
        None
        if promised_in is None
        else Appointment(TODAY + timedelta(days=promised_in), AS_OF - timedelta(days=30))
    )
    html = page_of(sight(withheld(state, last=last, appointment=promised)))
    words = words_of(html)
    assert [day for day in dates_in(words) if day > TODAY] == []
    figures = {int(f.replace(",", "")) for f in re.findall(r"([\d,]*\d) litres", words)}
    allowed = {round(TANK.safe_fill_l), round(TANK.heel_l), 500}  # 500: the smallest delivery
    trusted = set() if last is None else {round(litres / 10) * 10}
    assert figures - allowed <= trusted
    assert 'class="fan"' not in html
    assert "by week" not in words


@pytest.mark.parametrize("state", list(State))
def test_the_state_stands_in_words_and_never_as_its_name(state: State) -> None:
    """A person reads how much may be said, not a code."""
    forecast = told(state=state) if state.is_told else withheld(state)
    html = page_of(sight(forecast))
    assert STATE_WORDS[state] in words_of(html)
    assert re.search(rf"\b{state.name}\b", html) is None


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("<script>alert(1)</script>", "<bdi>&lt;script&gt;alert(1)&lt;/script&gt;</bdi>"),
        ('" onload="x', "<bdi>&#34; onload=&#34;x</bdi>"),
        ("{{ 7*7 }}", "<bdi>{{ 7*7 }}</bdi>"),
        ("Byre \u202e knat", "<bdi>Byre [U+202E] knat</bdi>"),
        ("a\u2069b\u200fc\x00d", "<bdi>a[U+2069]b[U+200F]c[U+0000]d</bdi>"),
        ("خزان الزيت", "<bdi>خزان الزيت</bdi>"),
        ("x" * 500, f"<bdi>{'x' * 79}…</bdi>"),
    ],
    ids=["tag", "quote", "template", "override", "isolate", "arabic", "long"],
)
def test_what_people_typed_is_text_and_keeps_its_direction_to_itself(name: str, shown: str) -> None:
    """A tank's name neither becomes markup nor turns the text around it."""
    html = page_of(sight(told(), name=name))
    assert f'<h1 id="name">{shown}</h1>' in html
    assert "<script" not in html
    assert not set("\u202a\u202b\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\x00") & set(html)


def test_the_table_has_the_picture_s_weeks_and_nothing_below_the_heel() -> None:
    """Every seventh evening from today on, rounded as in the sentence, down to the heel."""
    html = page_of(sight(told()))
    rows = re.findall(r'<tr><th scope="row">([^<]+)</th><td>([\d,]+)</td>', html)
    assert [row[0] for row in rows[:3]] == ["Sat 14 June", "Sat 21 June", "Sat 28 June"]
    # 1,000 litres, 10 a day: known to 8 / 1.28 = 6 litres today, so told in steps of 10
    assert [row[1] for row in rows[:3]] == ["990", "920", "850"]
    assert min(int(row[1].replace(",", "")) for row in rows) == 30


def test_readings_left_out_are_shown_with_time_value_and_reason() -> None:
    """A reading that was set aside is named in the tank's own time, with why; the others are counted."""
    at = np.datetime64("2025-06-01T06:00:00") + np.arange(12) * np.timedelta64(86_400, "s")
    value = np.full(12, 600.0)
    value[6] = 100.0
    nan = np.full(12, np.nan)
    readings = Readings(at, np.full(12, "ullage_mm"), value, nan, nan)
    words = words_of(page_of(sight(told(), readings=readings)))
    assert "Left out: 1 of 12 readings" in words
    assert "Sat 7 June 2025 07:00" in words
    assert "100 mm above the oil" in words
    assert "12 readings from 1 June 2025 to 12 June 2025; 1 left out." in words


def test_every_flag_has_its_words() -> None:
    """No reading is left out without a reason that can be read."""
    from api.pages.telling.left_out import REASONS

    assert set(REASONS) == set(Flag) - {Flag.NONE}


def test_the_moment_is_told_in_the_tank_s_own_time() -> None:
    """05:30 UTC in June is 06:30 in London."""
    assert "As of Sat 14 June 2025, 06:30 (Europe/London time)." in words_of(page_of(sight(told())))


def test_no_text_shows_a_missing_value() -> None:
    """Nothing of the program's insides is on any page."""
    pages = [told(), told(state=State.WIDE), *(withheld(state) for state in WITHHELD)]
    for forecast in pages:
        words = words_of(page_of(sight(forecast)))
        for slip in ("None", "nan", "NaN", "Undefined", "object at", "-1 days"):
            assert slip not in words
