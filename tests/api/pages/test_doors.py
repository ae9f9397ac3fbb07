"""The pages' addresses, through the application: status, protections, files."""

import re
from importlib import resources
from typing import TYPE_CHECKING

import pytest

from api.pages.charts.svg import FONT
from api.pages.files import MEDIA_TYPES, packaged_files
from tests.api.pages.sights import words_of

if TYPE_CHECKING:
    from fastapi.testclient import TestClient

FONTS_BYTES = 700_000
"""All letters together stay below that."""


@pytest.fixture
def database_url(sqlite_url: str) -> str:
    """Pages are the same whatever stores the data: SQLite is enough."""
    return sqlite_url


def test_the_list_names_every_tank_and_leads_to_it(client: "TestClient", tank_id: str) -> None:
    """From the first page a tank's answer is one step away."""
    answer = client.get("/")
    assert answer.status_code == 200
    assert f'<a href="/tanks/{tank_id}"><bdi>Byre</bdi></a>' in answer.text


def test_an_empty_installation_says_so(client: "TestClient") -> None:
    """Without a tank there is a page all the same."""
    assert "No tank has been entered here yet." in words_of(client.get("/").text)


def test_a_tank_without_a_reading_has_a_page_that_tells_nothing(client: "TestClient", tank_id: str) -> None:
    """A new tank's page gives no date and says what to do."""
    answer = client.get(f"/tanks/{tank_id}")
    assert answer.status_code == 200
    words = words_of(answer.text)
    assert "No level of this tank has been seen yet" in words
    assert "if nothing is delivered" not in words


@pytest.mark.parametrize(
    "path", ["/tanks/nobody", "/tanks/..%2f..%2fetc", "/tanks/%00", "/tanks/" + "x" * 300]
)
def test_an_unknown_tank_is_a_page_that_says_so(client: "TestClient", path: str) -> None:
    """Whatever stands in the address, the answer is a page, and gives nothing of the address back."""
    answer = client.get(path)
    assert answer.status_code == 404
    if answer.headers["content-type"].startswith("text/html"):
        assert "There is no such tank here" in answer.text
    assert "nobody" not in answer.text
    assert "etc" not in words_of(answer.text).replace("fetch", "")


def test_a_tank_without_a_place_says_what_is_missing(client: "TestClient") -> None:
    """Where nothing can be forecast the page says what to give, and to read the gauge meanwhile."""
    tank = {"shape": "horizontal_cylinder", "product": "kerosene", "diameter_mm": 1200, "length_mm": 1800}
    made = client.post("/api/tanks", json={"tank": tank})
    answer = client.get(f"/tanks/{made.json()['id']}")
    assert answer.status_code == 409
    assert "latitude and longitude or a place" in words_of(answer.text)
    assert "read the gauge" in words_of(answer.text)


@pytest.mark.parametrize("path", ["/", "/cautions", "/tanks/nobody"])
def test_every_page_is_protected_and_is_not_kept(client: "TestClient", path: str) -> None:
    """Pages load from the service only, run no script that is not its own, and stay in no cache."""
    answer = client.get(path)
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    assert '<html lang="en-GB">' in answer.text
    assert re.search(r'(?:src|href)="(?!/|#)', answer.text) is None
    assert "style=" not in answer.text


def test_every_file_that_a_page_names_is_there_and_may_be_kept(client: "TestClient") -> None:
    """Styles, mark and fonts answer under the address that the page and the style sheet give."""
    page = client.get("/").text
    named = re.findall(r'(?:href|src)="(/static/[^"]+)"', page)
    sheet = next(path for path in named if path.endswith(".css"))
    fonts = re.findall(r"url\(([^)]+)\)", client.get(sheet).text)
    assert len(fonts) == 3
    for path in (*named, *(sheet.rpartition("/")[0] + "/" + font for font in fonts)):
        answer = client.get(path)
        assert answer.status_code == 200, path
        assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"
        assert answer.headers["content-type"] == MEDIA_TYPES[path.rpartition(".")[2]]


@pytest.mark.parametrize(
    "path",
    [
        "/static/old/page.css",
        "/static/{}/fonts/SourceSans3-Regular.ttf",
        "/static/{}/../answer.py",
        "/static/{}/",
    ],
)
def test_nothing_else_of_the_package_is_given_out(client: "TestClient", path: str) -> None:
    """Only the listed kinds of file, under the present edition's name."""
    from api.pages.files import edition

    assert client.get(path.format(edition())).status_code == 404


def test_letters_are_free_small_and_of_the_pictures_name() -> None:
    """The fonts' licence travels with them, all together are small, and pictures and page share one."""
    folder = resources.files("api.pages") / "static" / "fonts"
    sizes = {entry.name: len(entry.read_bytes()) for entry in folder.iterdir()}
    assert sum(sizes.values()) < FONTS_BYTES
    for name in ("LICENSE-source-sans-3.txt", "LICENSE-source-serif-4.txt"):
        assert "SIL Open Font License" in (folder / name).read_text()
    assert f'font-family: "{FONT}"' in packaged_files()["page.css"].body.decode()


def test_the_cautions_can_be_read_without_any_tank(client: "TestClient") -> None:
    """What must be known before anything goes wrong needs no data and no account."""
    words = words_of(client.get("/cautions").text)
    for caution in (
        "do not keep pressing reset",
        "not a leak detector",
        "Do not climb on a tank",
        "Do not hose it away",
        "oil needs room to expand",
        "carbon monoxide",
    ):
        assert caution in words
