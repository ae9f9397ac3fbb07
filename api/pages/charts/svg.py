"""A chart's description to SVG on the server, without a browser, and each picture only once.

Flow     description -> **SVG** -> page; **PNG** -> mail
"""

import hashlib
import json
import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from markupsafe import Markup

from api.drawing import DrawingProcess

FONT = "Source Sans 3"
"""Letters of the pictures, carried by the package, so that the layout is measured as it is shown."""
KEPT = 256
"""Pictures that are kept, about 30 kB each."""

_process = DrawingProcess()


def draw_svg(description: Mapping[str, Any]) -> Markup:
    """Draw a chart as an SVG element to stand in a page.

    Notes
    -----
    The element has no style, no script and no address in it, so that the strictest content policy
    lets it pass; its inner names are its own, so that two pictures on a page do not share them. It is
    hidden from screen readers: what stands around it says what it shows.
    """
    return Markup(_draw(json.dumps(description, sort_keys=True, allow_nan=False)))  # noqa: S704 - our own SVG


def draw_png(description: Mapping[str, Any]) -> bytes:
    """Draw a chart as PNG on white, for where no SVG is shown, such as mail."""
    text = json.dumps({**description, "background": "white"}, sort_keys=True, allow_nan=False)
    drawn = _process.svg(text)
    # a name with a digit has to stand in quotes, or no letter is drawn at all
    return _process.png(drawn.replace(f'font-family="{FONT}"', f"font-family=\"'{FONT}'\""))


@lru_cache(maxsize=KEPT)
def _draw(description: str) -> str:
    raw = _process.svg(description)
    return _tidy(raw, name="p" + hashlib.sha256(description.encode()).hexdigest()[:8])


def _tidy(svg: str, *, name: str) -> str:
    svg = svg[svg.index("<svg") :]
    head, _, body = svg.partition(">")
    head = re.sub(r' (?:xmlns(?::\w+)?|version|class)="[^"]*"', "", head)
    body = re.sub(r'\bid="', f'id="{name}-', body)
    body = body.replace("url(#", f"url(#{name}-")
    return f'{head} aria-hidden="true" focusable="false">{body}'
