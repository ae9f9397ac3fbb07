"""What a page hands out besides itself: an archive to be saved, an address as a picture.

Flow     archive, address -> **answer, picture** -> pages of accounts
"""

from starlette.responses import Response


def zip_answer(archive: bytes, name: str) -> Response:
    """Answer with an archive to be saved."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(archive, media_type="application/zip", headers=headers)


def picture_of(address: str) -> str:
    """Draw an address as a picture for a phone's camera; itself an address of a picture."""
    import segno

    return segno.make(address, error="m").svg_data_uri(scale=5, border=4, dark="#000", light="#fff")
