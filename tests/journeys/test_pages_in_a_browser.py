"""The pages as a browser draws them: on a phone and on a desk, light and dark, printed, without scripts."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from tests.journeys.conftest import Served, Watched

pytestmark = pytest.mark.browser

PHONE, DESK = (390, 844), (1280, 900)
SIZES = pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
TOLD, WITHHELD = "old-forge", "upper-byre"
HOUSES = pytest.mark.parametrize("house", [TOLD, WITHHELD], ids=["told", "withheld"])
LOOKS = pytest.mark.parametrize(
    ("house", "size", "scheme"),
    [(TOLD, PHONE, "light"), (TOLD, DESK, "dark"), (WITHHELD, PHONE, "dark"), (WITHHELD, DESK, "light")],
    ids=["told-phone-light", "told-desk-dark", "withheld-phone-dark", "withheld-desk-light"],
)
"""Each size, each scheme and each kind of answer twice; all eight together say nothing more."""
ALL_HOUSES = pytest.mark.parametrize("house", ["weir-cottage", TOLD, WITHHELD, "long-barn"])


@contextmanager
def opened(browser: Browser, address: str, size: tuple[int, int] = DESK, **context: Any) -> Iterator[Watched]:
    """Open a page and watch what its browser complains of and asks for."""
    window = browser.new_context(viewport={"width": size[0], "height": size[1]}, **context)
    page = window.new_page()
    watched = Watched(page, [], [])
    page.on("console", lambda message: watched.complaints.append(f"{message.type}: {message.text}"))
    page.on("pageerror", lambda error: watched.complaints.append(str(error)))
    page.on("request", lambda request: watched.asked_for.append(request.url))
    answer = page.goto(address, wait_until="load")
    assert answer is not None
    assert answer.ok, answer.status
    page.evaluate("() => document.fonts.ready.then(() => true)")
    try:
        yield watched
    finally:
        window.close()


def open_all(page: Page) -> None:
    """Open every part that is folded."""
    for summary in page.locator("summary").all():
        summary.click()


@SIZES
@HOUSES
def test_the_sentence_stands_on_the_first_screen_and_nothing_is_wider_than_it(
    browser: Browser, served: Served, house: str, size: tuple[int, int]
) -> None:
    """Without scrolling a person reads the answer, and never has to scroll sideways."""
    with opened(browser, served.page(house), size) as watched:
        box = watched.page.locator("#sentence").bounding_box()
        assert box is not None
        assert box["y"] + box["height"] < size[1]
        open_all(watched.page)
        width = watched.page.evaluate("() => document.documentElement.scrollWidth")
        assert width <= size[0]


@LOOKS
def test_the_browser_has_nothing_to_complain_of_and_asks_no_other_host(
    browser: Browser, served: Served, house: str, size: tuple[int, int], scheme: str
) -> None:
    """Styles, fonts and pictures come from the service itself and pass its content policy."""
    with opened(browser, served.page(house), size, color_scheme=scheme) as watched:
        open_all(watched.page)
        assert watched.complaints == []
        assert watched.asked_for
        assert [url for url in watched.asked_for if not url.startswith(served.base + "/")] == []
        assert any(url.endswith(".woff2") for url in watched.asked_for)


@LOOKS
def test_the_accessibility_check_finds_no_violation(
    browser: Browser, served: Served, house: str, size: tuple[int, int], scheme: str
) -> None:
    """Contrast, names, roles and order pass axe's rules with every part unfolded."""
    with opened(browser, served.page(house), size, color_scheme=scheme) as watched:
        open_all(watched.page)
        found = Axe().run(watched.page)
        assert found.violations_count == 0, found.generate_report()


@pytest.mark.parametrize(
    ("path", "size", "scheme"),
    [
        ("/", PHONE, "dark"),
        ("/cautions", PHONE, "light"),
        ("/reference", PHONE, "dark"),
        ("/reference", DESK, "light"),
        (f"/tanks/{TOLD}/why", PHONE, "dark"),
        (f"/tanks/{TOLD}/why", DESK, "light"),
        (f"/tanks/{WITHHELD}/why", PHONE, "light"),
        (f"/tanks/{TOLD}/ordering", PHONE, "dark"),
        (f"/tanks/{TOLD}/ordering", DESK, "light"),
        (f"/tanks/{TOLD}/orders", PHONE, "light"),
        (f"/tanks/{TOLD}/set-up", DESK, "dark"),
    ],
)
def test_the_other_pages_pass_the_accessibility_check(
    browser: Browser, served: Served, path: str, size: tuple[int, int], scheme: str
) -> None:
    """Every other page is held to the same rules, fits the screen and asks no other host."""
    for house, tank in served.tanks.items():
        path = path.replace(f"/{house}/", f"/{tank}/")
    with opened(browser, served.base + path, size, color_scheme=scheme) as watched:
        open_all(watched.page)
        found = Axe().run(watched.page)
        assert found.violations_count == 0, found.generate_report()
        assert watched.complaints == []
        assert [url for url in watched.asked_for if not url.startswith(served.base + "/")] == []
        assert watched.page.evaluate("() => document.documentElement.scrollWidth") <= size[0]


@SIZES
@ALL_HOUSES
def test_no_label_of_a_picture_stands_on_another(
    browser: Browser, served: Served, house: str, size: tuple[int, int]
) -> None:
    """In the fan and in the tank every text has its own place, inside the picture."""
    with opened(browser, served.page(house), size) as watched:
        pictures = watched.page.locator(".picture svg:visible").all()
        assert len(pictures) == (1 if house == WITHHELD else 2)
        for picture in pictures:
            frame, *boxes = picture.evaluate(BOXES)
            assert boxes
            for i, a in enumerate(boxes):
                assert frame["left"] - 1 <= a["left"], a
                assert a["right"] <= frame["right"] + 1, a
                for b in boxes[i + 1 :]:
                    assert not overlap(a, b), (a, b)


BOXES = """svg => [svg, ...svg.querySelectorAll('text')].filter(e => e.textContent.trim()).map(e => {
  const r = e.getBoundingClientRect();
  return {words: e === svg ? '' : e.textContent, left: r.left, right: r.right, top: r.top, bottom: r.bottom};
})"""


def overlap(a: Any, b: Any) -> bool:
    """Whether two texts share a place; their boxes are a quarter taller than their letters."""
    across = min(a["right"], b["right"]) - max(a["left"], b["left"])
    down = min(a["bottom"], b["bottom"]) - max(a["top"], b["top"])
    return bool(across > 1.0 and down > 0.25 * (a["bottom"] - a["top"]))


def test_the_page_says_and_shows_everything_without_scripts(browser: Browser, served: Served) -> None:
    """Sentence, picture and table are there with scripts switched off, and there is no script at all."""
    with opened(browser, served.page(TOLD), PHONE) as watched:
        assert watched.page.locator("script").count() == 0
    window = browser.new_context(java_script_enabled=False)
    page = window.new_page()
    page.goto(served.page(TOLD))
    assert page.locator("#sentence").is_visible()
    assert page.locator(".fan svg:visible").count() == 1
    page.locator("summary").first.click()
    assert page.locator("table").first.is_visible()
    window.close()


def test_everything_is_reached_by_the_keyboard_and_seen_to_be(browser: Browser, served: Served) -> None:
    """Tab goes from the way past the links through every part in reading order, each with a visible ring."""
    with opened(browser, served.page(TOLD)) as watched:
        page = watched.page
        reached: list[str] = []
        for _ in range(20):
            page.keyboard.press("Tab")
            here = page.evaluate(
                """() => { const e = document.activeElement, s = getComputedStyle(e);
                return e === document.body ? null : [e.tagName, e.textContent.trim(), s.outlineStyle,
                parseFloat(s.outlineWidth)]; }"""
            )
            if here is None:
                break
            tag, words, style, width = here
            assert style == "solid", words
            assert width >= 2, words
            reached.append(f"{tag} {words}")
        summaries = page.locator("summary").all_text_contents()
        assert reached[0] == "A To the answer"
        assert [r for r in reached if r.startswith("SUMMARY")] == [f"SUMMARY {s}" for s in summaries]
        page.locator("summary").first.focus()
        page.keyboard.press("Enter")
        assert page.locator("table").first.is_visible()


@HOUSES
def test_print_holds_the_answer_and_unfolds_the_tables(browser: Browser, served: Served, house: str) -> None:
    """On paper the links of the page are gone, its ground is white, and what was folded is open."""
    with opened(browser, served.page(house), color_scheme="dark") as watched:
        page = watched.page
        page.emulate_media(media="print", color_scheme="dark")
        assert not page.locator(".top").is_visible()
        assert page.locator("#sentence").is_visible()
        assert page.locator("details li").first.is_visible()
        ink = page.evaluate("() => getComputedStyle(document.querySelector('#sentence')).color")
        assert ink == "rgb(42, 33, 24)"
        assert page.pdf(format="A4").startswith(b"%PDF")


def test_a_dark_screen_turns_every_colour_of_the_fan(browser: Browser, served: Served) -> None:
    """No colour of the paper's fan is left on a dark screen."""
    seen = {}
    for scheme in ("light", "dark"):
        with opened(browser, served.page(TOLD), color_scheme=scheme) as watched:
            seen[scheme] = watched.page.evaluate(
                """() => { const colours = new Set();
                for (const e of document.querySelectorAll('.fan .desk svg *')) for (const a of ['fill', 'stroke']) {
                  if (/^#/.test(e.getAttribute(a) || '')) colours.add(getComputedStyle(e)[a]); }
                return [...colours]; }"""
            )
    assert len(seen["light"]) >= 6
    assert set(seen["light"]) & set(seen["dark"]) == set()
