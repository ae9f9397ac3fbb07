"""Templates to HTML: everything escaped, what people typed kept from disturbing the text around it.

Flow     telling -> **HTML**
"""

import unicodedata
from datetime import date, datetime
from functools import cache
from http import HTTPStatus
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.responses import HTMLResponse

from api.pages.files import address_of
from forecaster.phrases import day_text

LONGEST_NAME = 80
"""Characters of a typed name that are shown."""


def render(template: str, *, status: HTTPStatus = HTTPStatus.OK, **values: Any) -> HTMLResponse:
    """Fill a template and answer with it."""
    return HTMLResponse(_environment().get_template(template).render(**values), status_code=status.value)


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("api.pages", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals["static"] = address_of
    environment.filters["plain"] = show_typed
    environment.filters["plain_long"] = show_sentence
    environment.filters["pair"] = lambda value: (value, value)
    environment.filters["typed"] = isolate_typed
    environment.filters["day"] = show_day
    return environment


def show_sentence(text: str) -> str:
    """Make a sentence that holds something typed harmless as text, however long it is.

    Examples
    --------
    >>> show_sentence("Stored: 640 mm in Byre" + chr(0x202E))
    'Stored: 640 mm in Byre[U+202E]'
    """
    return "".join(c if _is_harmless(c) else f"[U+{ord(c):04X}]" for c in " ".join(text.split()))


def show_typed(text: str) -> str:
    """Make what somebody typed harmless as text: one line, no signs that steer the text's direction.

    Such signs are shown by their number instead. For places that hold text only, such as the title;
    elsewhere `isolate_typed`.

    Examples
    --------
    >>> show_typed("Byre" + chr(0x202E) + " knat")
    'Byre[U+202E] knat'
    """
    shown = show_sentence(text)
    return shown if len(shown) <= LONGEST_NAME else shown[: LONGEST_NAME - 1] + "…"


def _is_harmless(character: str) -> bool:
    # Cc control, Cf format (direction overrides and isolates, zero widths), Cs, Co, Cn
    return not unicodedata.category(character).startswith("C")


def show_day(instant: date) -> str:
    """Write the day of an instant, in UTC: for what need not be told to the hour.

    Examples
    --------
    >>> show_day(date(2026, 12, 2))
    'Wed 2 December 2026'
    """
    return day_text(instant.date() if isinstance(instant, datetime) else instant, year=True)


def isolate_typed(text: str) -> Markup:
    """Put what somebody typed into an element that keeps its direction of writing to itself.

    Examples
    --------
    >>> isolate_typed("<b>Byre")
    Markup('<bdi>&lt;b&gt;Byre</bdi>')
    """
    return Markup("<bdi>{}</bdi>").format(show_typed(text))
