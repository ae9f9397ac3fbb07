"""Further ways: through the library, to a receiver of our own; never to this machine itself."""

import json

import pytest

from api.notify.further import is_further_address, send_further
from api.notify.letter import Gone, Later, Letter, Sent
from tests.api.notify.receivers import AT, serve_hooks

BODY = {"title": "T", "paragraphs": ["One.", "Two."]}


def test_a_letter_goes_through_the_library() -> None:
    """Title and text arrive by one of the library's ways."""
    with serve_hooks() as server:
        server.status = 200
        letter = Letter("m", f"json://127.0.0.1:{server.port}/x", BODY, AT)
        assert send_further(letter) == Sent()
        sent = json.loads(server.posts[0].body)
        server.status = 500
        assert isinstance(send_further(letter), Later)
    assert (sent["title"], sent["message"]) == ("T", "One.\n\nTwo.")


@pytest.mark.parametrize(
    "address",
    [
        "",
        "x",
        "file:///etc/passwd",
        "syslog://",
        "dbus://",
        "exec://x",
        "nonsense://x",
        "json://" + "a" * 2000,
    ],
)
def test_ways_that_are_none_are_refused(address: str) -> None:
    """Unknown ways, and those that end on this machine, are not taken."""
    assert not is_further_address(address)
    assert isinstance(send_further(Letter("m", address, BODY, AT)), Gone)
