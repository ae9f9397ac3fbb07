"""A file that a browser sends with a form: bounded, one file, plain fields; and kept from page to page.

A file that was looked at has to come again to be stored, and a browser does not choose it twice by
itself. It travels in the form, packed; nothing of it stays here meanwhile.

Flow     request -> **file, fields** -> page -> **packed** -> request
Source   RFC 7578 (multipart/form-data); RFC 1951 by zlib
"""

import base64
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import Annotated, Any

from fastapi import Depends
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request

from api.problems import ProblemError
from api.problems.body import read_bounded

MOST_BYTES = 4 * 1024 * 1024
"""Largest file, and largest form. [bytes]"""
MOST_PACKED = 1024 * 1024
"""A file that packs to more does not travel in a form. [characters]"""
UPLOAD_S = 60.0
"""So long a sender may take. [s]"""


@dataclass(frozen=True, slots=True)
class Upload:
    """A form with a file: its fields, and the file's bytes; None where none was chosen."""

    fields: Mapping[str, str]
    file: bytes | None


async def read_upload(request: Request) -> Upload:
    """Read a form with at most one file.

    Raises
    ------
    ProblemError
        400, 408, 413, 415: for anything that is no such form.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "multipart/form-data":
        raise ProblemError(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "not_a_form")
    raw = await read_bounded(
        request, MOST_BYTES, within_s=UPLOAD_S, instead="; larger files are brought in by the command"
    )
    whole = Request(request.scope, _once(raw))
    try:
        async with whole.form(max_files=1, max_fields=20, max_part_size=MOST_PACKED) as form:
            pairs = form.multi_items()
            files = [v for _, v in pairs if isinstance(v, UploadFile)]
            file = await files[0].read() if files else None
            fields = {name: v for name, v in pairs if isinstance(v, str)}
    except (HTTPException, UnicodeError, ValueError):
        raise ProblemError(HTTPStatus.BAD_REQUEST, "not_a_form") from None
    if any("\0" in text for text in fields.values()):
        raise ProblemError(HTTPStatus.BAD_REQUEST, "not_a_form")
    return Upload(fields, file or None)


def pack(data: bytes) -> str | None:
    """Pack a file for a form's hidden field; None where it is too large for that.

    Examples
    --------
    >>> unpack(pack(b"at,dip_mm"))
    b'at,dip_mm'
    """
    packed = base64.urlsafe_b64encode(zlib.compress(data, 9)).decode()
    return packed if len(packed) <= MOST_PACKED else None


def unpack(text: str) -> bytes | None:
    """Unpack a file, up to the largest that may be sent; None for anything else.

    Examples
    --------
    >>> unpack("no file") is None
    True
    """
    try:
        packed = base64.urlsafe_b64decode(text.encode("ascii"))
        unpacker = zlib.decompressobj()
        data = unpacker.decompress(packed, MOST_BYTES + 1)
    except (ValueError, zlib.error):
        return None
    return data if unpacker.eof and len(data) <= MOST_BYTES else None


def _once(raw: bytes) -> Any:
    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": raw, "more_body": False}

    return receive


Uploaded = Annotated[Upload, Depends(read_upload)]
