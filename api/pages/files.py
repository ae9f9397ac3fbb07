"""Styles, fonts and the mark, out of the package, under addresses that change with their content.

Flow     package -> **files** -> browser
"""

import hashlib
from dataclasses import dataclass
from functools import cache
from importlib import resources

from fastapi import APIRouter, Response

from api.schemas.relation import Relation, relation
from api.store import NotFoundError

router = APIRouter()

MEDIA_TYPES = {"css": "text/css; charset=utf-8", "woff2": "font/woff2", "svg": "image/svg+xml"}
"""Kinds of file that are given out; anything else in the folder stays inside."""
A_YEAR = "public, max-age=31536000, immutable"


@dataclass(frozen=True, slots=True)
class File:
    """A file as it is sent."""

    body: bytes
    media_type: str


@cache
def packaged_files() -> dict[str, File]:
    """Read every file that a page may ask for, by its path below the folder."""
    root = resources.files("api.pages") / "static"
    found: dict[str, File] = {}
    for folder, prefix in ((root, ""), (root / "fonts", "fonts/")):
        for entry in folder.iterdir():
            media_type = MEDIA_TYPES.get(entry.name.rpartition(".")[2])
            if media_type is not None:
                found[prefix + entry.name] = File(entry.read_bytes(), media_type)
    return found


@cache
def edition() -> str:
    """Name the present content of all files, short."""
    digest = hashlib.sha256()
    for path, file in sorted(packaged_files().items()):
        digest.update(path.encode() + b"\0" + file.body)
    return digest.hexdigest()[:12]


def address_of(path: str) -> str:
    """Give the address of a file.

    Raises
    ------
    KeyError
        When there is no such file: a template names it wrongly.

    Examples
    --------
    >>> address_of("page.css").startswith("/static/")
    True
    """
    if path not in packaged_files():
        raise KeyError(path)
    return f"/static/{edition()}/{path}"


@router.get("/static/{named}/{path:path}")
@relation(Relation.ANYONE)
def read_file(named: str, path: str) -> Response:
    """Give a file; the address holds for this edition only, so it may be kept for a year."""
    file = packaged_files().get(path)
    if file is None or named != edition():
        raise NotFoundError
    return Response(file.body, media_type=file.media_type, headers={"Cache-Control": A_YEAR})
