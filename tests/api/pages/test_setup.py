"""Setting a tank up by page: nothing half-written is a tank, nothing typed is lost, mends stand where they belong."""

import re
import tomllib
from datetime import UTC, datetime
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.schemas.setup import STEPS
from api.store.readings import count_readings
from api.store.tanks import TextKind, list_tanks, load_tank, load_tank_version, load_text
from api.wiring import Services

PAGES: dict[str, dict[str, str]] = {
    "shape": {"shape": "horizontal_cylinder"},
    "measures": {"length_unit": "in", "diameter": "47 1/4", "length": "71", "volume_unit": "l"},
    "sensor": {"skip": "yes"},
    "place": {"town": "Hexham"},
    "house": {
        "floor_area": "1,400".replace(",", ""),
        "area_unit": "sqft",
        "built": "1970",
        "occupants": "2.5",
    },
    "boiler": {"boiler": "condensing", "hot_water": "oil", "product": ""},
    "sun": {"evenings": "3", "windows": "4", "window_side": "180"},
    "now": {"level": "3/8", "level_kind": "part", "name": "Byre"},
}
"""A home, page by page, as somebody types it."""


def _post(client: TestClient, step: str, fields: dict[str, str]) -> Any:
    return client.post(f"/set-up/{step}", data=fields, follow_redirects=False)


def _walk(client: TestClient, pages: dict[str, dict[str, str]]) -> Any:
    answer = None
    for step in STEPS:
        answer = _post(client, step, pages.get(step, {"skip": "yes"}))
        assert answer.status_code == 303, (step, re.findall("mend.*", answer.text))
    return answer


def _tanks(services: Services) -> int:
    with services.store.read() as session:
        return len(list_tanks(session))


def _kept(services: Services, tank: str) -> tuple[dict[str, Any], dict[str, Any]]:
    with services.store.read() as session:
        stored = load_tank(session, tank)
        now = datetime(2030, 1, 1, tzinfo=UTC)
        toml = load_tank_version(session, stored.id, as_of=now).toml
        return tomllib.loads(toml), tomllib.loads(
            load_text(session, stored.id, TextKind.SURVEY, as_of=now) or ""
        )


def _id(answer: Any) -> str:
    return str(answer.headers["location"].split("/")[2])


def test_the_pages_make_a_tank_a_survey_and_a_first_reading(client: TestClient, services: Services) -> None:
    """What was typed, in inches and square feet, stands in the tank's and the survey's own keys and units."""
    answer = _walk(client, PAGES)
    tank, survey = _kept(services, _id(answer))
    assert tank["shape"] == "horizontal_cylinder"
    assert tank["diameter_mm"] == pytest.approx(1200.15)
    assert tank["length_mm"] == pytest.approx(1803.4)
    assert "sensor_height_mm" not in tank
    assert survey["floor_area_m2"] == pytest.approx(130.064, abs=0.01)
    assert (survey["timezone"], survey["boiler"]) == ("Europe/London", "condensing")
    assert survey["latitude"] == pytest.approx(54.97, abs=0.01)
    assert survey["stove"] == {"evenings_per_week": 3.0}
    with services.store.read() as session:
        assert count_readings(session, load_tank(session, _id(answer)).id) == 1
    first = client.get(answer.headers["location"])
    assert first.status_code == 200
    assert "litres in a normal year" in first.text
    assert "Hexham" in first.text


def test_nothing_is_a_tank_before_the_last_page(client: TestClient, services: Services) -> None:
    """After each page but the last there is no tank; after the last there is one."""
    for step in list(STEPS)[:-1]:
        assert _post(client, step, PAGES[step]).status_code == 303
        assert _tanks(services) == 0
    assert _post(client, "now", PAGES["now"]).status_code == 303
    assert _tanks(services) == 1


def test_the_last_page_sent_twice_makes_one_tank(client: TestClient, services: Services) -> None:
    """A second press, or a repeat after a lost answer, leads to the tank that is there."""
    first = _walk(client, PAGES)
    again = _post(client, "now", PAGES["now"])
    assert again.headers["location"] == first.headers["location"]
    assert _tanks(services) == 1


def test_what_was_typed_is_there_again_after_going_back_or_away(client: TestClient) -> None:
    """Each page shows what was typed on it, also what was wrong, in a browser that has never been there."""
    for step in ("shape", "measures"):
        _post(client, step, PAGES[step])
    _post(client, "house", {"built": "nineteen"})
    with TestClient(client.app, base_url="http://localhost") as other:
        assert 'value="47 1/4"' in other.get("/set-up/measures").text
        assert 'value="in" checked' in other.get("/set-up/measures").text
        assert 'value="nineteen"' in other.get("/set-up/house").text
        assert "Go on where you stopped" in other.get("/set-up").text


def test_beginning_again_throws_away_what_was_typed(client: TestClient) -> None:
    """After that, the pages are empty."""
    _post(client, "shape", PAGES["shape"])
    assert client.post("/set-up/again", follow_redirects=False).status_code == 303
    assert "Chosen so far" not in client.get("/set-up/shape").text
    assert "Start" in client.get("/set-up").text


def test_every_page_can_be_passed_over_and_says_what_is_assumed(
    client: TestClient, services: Services
) -> None:
    """With nothing told there is a tank with the assumptions that each page names, and an answer that names them."""
    for step, page in STEPS.items():
        assert page.skipped in client.get(f"/set-up/{step}").text
    answer = _walk(client, {})
    tank, survey = _kept(services, _id(answer))
    assert (tank["capacity_l"], tank["height_mm"]) == (1200, 1300)
    assert "1,200 litres" in STEPS["shape"].skipped
    assert survey == {"place": "Midlands", "timezone": "Europe/London"}
    text = client.get(answer.headers["location"]).text
    assert "Do not order by these litres" in text
    assert "Weather of the English Midlands is assumed" in text
    assert "A first reading" in text


@pytest.mark.parametrize(
    ("step", "fields", "question", "mend"),
    [
        ("measures", {"diameter": "12", "length": "180"}, "diameter", "30 to 400 cm"),
        ("measures", {"diameter": "abc", "length": "180"}, "diameter", "number"),
        ("measures", {"diameter": "120"}, "length", "Give it"),
        ("measures", {"diameter": "120", "length": "180", "capacity": "1000"}, "capacity", "2,036 litres"),
        ("sensor", {"sensor_height": "20"}, "sensor_height", "115 to 320 cm"),
        ("sensor", {"gauge": "500"}, "ullage", "Give it"),
        ("house", {"built": "70"}, "built", "such as 1970"),
        ("house", {"occupants": "-1"}, "occupants", "0 to 40"),
        ("sun", {"evenings": "9"}, "evenings", "0 to 7"),
        ("place", {"town": "Xyzzyville"}, "town", "no place of that name"),
        ("place", {"latitude": "54"}, "longitude", "both"),
        ("place", {"latitude": "-80", "longitude": "0"}, "latitude", "Europe"),
        ("place", {"town": ""}, "town", "town or village"),
        ("now", {"level": "5/4", "level_kind": "part"}, "level", "fraction"),
        ("now", {"level": "900", "level_kind": "cm"}, "level", "is 120 cm high inside, not 900 cm"),
    ],
)
def test_what_is_wrong_is_said_at_its_question_and_kept(
    client: TestClient, services: Services, step: str, fields: dict[str, str], question: str, mend: str
) -> None:
    """The page names question and mend, in the user's unit; what was typed stands there; no tank is made."""
    for before, answers in (("shape", PAGES["shape"]), ("measures", {"diameter": "120", "length": "180"})):
        assert _post(client, before, answers).status_code == 303
    answer = _post(client, step, fields)
    assert answer.status_code == 422
    told = re.search(rf'id="{question}-mend">(.*?)</span>', answer.text)
    assert told is not None
    assert mend.lower() in told[1].lower()
    assert f'href="#{question}"' in answer.text
    for name, text in fields.items():
        assert not text or f'value="{text}"' in answer.text or f'value="{text}" checked' in answer.text, name
    assert _tanks(services) == 0


def test_a_disagreement_can_be_confirmed(client: TestClient, services: Services) -> None:
    """A label that does not fit the measures is asked about, and kept with a note where both are right."""
    _post(client, "shape", PAGES["shape"])
    fields = {"diameter": "120", "length": "180", "capacity": "1000"}
    assert 'name="confirmed_capacity"' in _post(client, "measures", fields).text
    assert _post(client, "measures", {**fields, "confirmed_capacity": "yes"}).status_code == 303
    answer = _post(client, "now", {"skip": "yes"})
    assert _kept(services, _id(answer))[0]["confirmed"] == ["capacity_l"]


def test_towns_of_one_name_are_told_apart_and_chosen(client: TestClient, services: Services) -> None:
    """Several Newports are offered, each with its region; the one chosen is the place."""
    listed = _post(client, "place", {"town": "Newport"})
    assert listed.status_code == 200
    offers = re.findall(r'name="town_id" value="(\d+)">(.*?)</button>', listed.text)
    assert len({words for _, words in offers}) == len(offers) >= 3
    number, words = next(offer for offer in offers if "Wales" in offer[1])
    assert _post(client, "place", {"town": "Newport", "town_id": number}).status_code == 303
    assert words in client.get("/set-up/place").text
    _, survey = _kept(services, _id(_post(client, "now", {"skip": "yes"})))
    assert survey["longitude"] == pytest.approx(-2.998, abs=0.01)


def test_a_postcode_is_a_place(client: TestClient, services: Services) -> None:
    """A UK postcode stands for its area, for whom no town is known."""
    assert _post(client, "place", {"town": "NE46 3PX"}).status_code == 303
    _, survey = _kept(services, _id(_post(client, "now", {"skip": "yes"})))
    assert survey["place"] == "NE46 3PX"


def test_an_unknown_page_is_not_found(client: TestClient, tank_id: str) -> None:
    """Neither while setting up nor while changing."""
    for path in ("/set-up/nothing", f"/tanks/{tank_id}/set-up/nothing", f"/tanks/{tank_id}/set-up/now"):
        assert client.get(path).status_code == 404


# ---- changing what was told


def _change(client: TestClient, tank: str, step: str, fields: dict[str, str]) -> Any:
    return client.post(f"/tanks/{tank}/set-up/{step}", data=fields, follow_redirects=False)


def test_what_was_told_is_filled_in_again_in_its_units(client: TestClient) -> None:
    """The pages of a tank show its measures in inches and its floor in square feet, as they were typed."""
    tank = _id(_walk(client, PAGES))
    measures = client.get(f"/tanks/{tank}/set-up/measures").text
    assert 'value="47.25"' in measures
    assert 'value="in" checked' in measures
    assert 'value="1400"' in client.get(f"/tanks/{tank}/set-up/house").text
    assert "Hexham" in client.get(f"/tanks/{tank}/set-up/place").text


def test_a_mistake_put_right_keeps_all_readings_and_every_other_key(
    client: TestClient, services: Services, tank_id: str
) -> None:
    """A tank that came over HTTP gets its length mended from the beginning; its sensor and name stay."""
    before, _ = _kept(services, tank_id)
    text = client.get(f"/tanks/{tank_id}/set-up/measures").text
    assert 'value="180"' in text
    changed = {"length_unit": "cm", "diameter": "120", "length": "200", "shape": "horizontal_cylinder"}
    assert _change(client, tank_id, "measures", changed).status_code == 303
    after, _ = _kept(services, tank_id)
    assert after == {**before, "length_mm": 2000.0, "diameter_mm": 1200.0}
    with services.store.read() as session:
        stored = load_tank(session, tank_id)
        assert load_tank_version(session, stored.id, as_of=datetime(2030, 1, 1, tzinfo=UTC)).is_first


def test_another_tank_from_now_on_leaves_the_old_description_as_it_was(
    client: TestClient, services: Services, tank_id: str
) -> None:
    """With "from now on" a new version begins, and the one before stays."""
    changed = {"shape": "moulded", "capacity": "1300", "height": "130", "since": "now"}
    client.post(f"/tanks/{tank_id}/set-up/sensor", data={"sensor_height": "135"})
    shape = _change(client, tank_id, "shape", {"shape": "moulded"})
    assert shape.headers["location"].endswith("measures?shape=moulded")
    assert _change(client, tank_id, "measures", changed).status_code == 303
    after, _ = _kept(services, tank_id)
    assert (after["shape"], after["capacity_l"]) == ("moulded", 1300.0)
    assert "diameter_mm" not in after
    with services.store.read() as session:
        stored = load_tank(session, tank_id)
        old = load_tank_version(session, stored.id, as_of=datetime(2025, 1, 1, tzinfo=UTC))
        assert 'shape = "horizontal_cylinder"' in old.toml


def test_a_changed_house_and_place_keep_what_the_pages_do_not_ask(
    client: TestClient, services: Services, tank_id: str
) -> None:
    """Answers of one page replace its own keys; a place in another zone moves the tank's civil days."""
    assert _change(client, tank_id, "house", {"built": "1930"}).status_code == 303
    assert _change(client, tank_id, "place", {"town": "Enniskillen"}).status_code == 303
    _, survey = _kept(services, tank_id)
    assert survey["built"] == 1930.0
    assert survey["timezone"] == "Europe/London"
    assert "place" not in survey
    with services.store.read() as session:
        assert load_tank(session, tank_id).zone == "Europe/London"


def test_a_change_that_cannot_be_used_changes_nothing(
    client: TestClient, services: Services, tank_id: str
) -> None:
    """The page names the question and keeps what was typed; what is kept stays."""
    before = _kept(services, tank_id)
    answer = _change(
        client, tank_id, "measures", {"shape": "horizontal_cylinder", "diameter": "12", "length": "x"}
    )
    assert answer.status_code == 422
    assert 'value="12"' in answer.text
    assert _kept(services, tank_id) == before
