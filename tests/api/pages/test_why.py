"""The page that takes an answer apart, and the same by program."""

import re
from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.api.pages.sights import words_of

DAYS = 40


@pytest.fixture
def read(client: TestClient, tank_id: str) -> str:
    """A tank with forty days of readings up to now, one of which cannot be the level."""
    readings: list[dict[str, Any]] = [
        {"at": f"2025-12-{day:02d}T06:00:00Z", "ullage_mm": 400 + 7 * day} for day in range(2, 32)
    ]
    readings += [{"at": f"2026-01-{day:02d}T06:00:00Z", "ullage_mm": 617 + 7 * day} for day in range(1, 11)]
    readings[15]["ullage_mm"] = 1100
    sent = client.post(f"/api/tanks/{tank_id}/readings", json={"readings": readings})
    assert sent.status_code in (200, 201), sent.text
    return tank_id


def test_the_page_says_a_sentence_then_the_picture_then_the_table(client: TestClient, read: str) -> None:
    """What was used stands first, then the months as columns, then their table, readings, weather and survey."""
    page = client.get(f"/tanks/{read}/why")
    assert page.status_code == 200
    words = words_of(page.text)
    assert f"This rests on {DAYS - 1} of {DAYS} readings." in words
    order = [page.text.index(part) for part in ('id="sentence"', 'class="picture"', 'id="months-what"')]
    assert order == sorted(order)
    for part in ("Readings", "Weather", "Your survey, and what your readings made of it"):
        assert f"<h2>{part}</h2>" in page.text
    assert "far from the readings before and after it, which agree with each other" in words
    assert "Normal weather for the season stands for all of the past." in words


def test_nothing_of_the_survey_is_shown_as_measured(client: TestClient, read: str) -> None:
    """The page and the object agree on what is the survey's, and each such column is marked."""
    told = client.get(f"/api/tanks/{read}/why").json()
    page = client.get(f"/tanks/{read}/why").text
    by_survey = [rate for rate in told["rates"] if rate["ground"] == "survey"]
    assert words_of(page).count("your survey’s still: your readings cannot tell it") == len(by_survey)
    head = re.findall(r'<th scope="col">([^<]+)</th>', page[page.index('id="months-what"') :])
    assert ("Heating *" in head) == (told["grounds"]["heating"] == "survey")
    assert "Spared by sun *" in head
    assert "* From your survey: your readings cannot tell this part from the others." in words_of(page)


def test_the_object_has_every_figure_with_its_interval(client: TestClient, read: str) -> None:
    """Months, their sum and the rates come with intervals that hold their means, and add up to the burn."""
    told = client.get(f"/api/tanks/{read}/why").json()
    assert told["readings"]["used"] + sum(r["count"] for r in told["readings"]["set_aside"]) == DAYS
    for month in (*told["months"], told["total"]):
        for name in ("burned", "hot_water", "heating", "sun", "wood", "opening", "closing"):
            assert month[name]["low"] <= month[name]["mean"] <= month[name]["high"]
        whole = month["hot_water"]["mean"] + month["heating"]["mean"]
        assert whole == pytest.approx(month["burned"]["mean"], abs=0.01)
    assert told["weather"]["observed"] is None
    assert told["weather"]["weather_years"]["days"] == 365


def test_a_tank_without_a_level_tells_nothing_of_its_burn(client: TestClient, tank_id: str) -> None:
    """Without any reading there is no account, no picture and no date, and the page says what it has."""
    page = client.get(f"/tanks/{tank_id}/why").text
    assert "No reading of the level is known yet." in words_of(page)
    assert 'class="picture"' not in page
    told = client.get(f"/api/tanks/{tank_id}/why").json()
    assert (told["months"], told["total"], told["rates"]) == ([], None, [])


def test_the_answer_leads_to_it(client: TestClient, read: str) -> None:
    """From the answer one gets to why, and back."""
    assert f'href="/tanks/{read}/why"' in client.get(f"/tanks/{read}").text
    assert f'href="/tanks/{read}"' in client.get(f"/tanks/{read}/why").text
