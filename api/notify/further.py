"""Further ways to reach people, through a notification library: push, text messages, chat.

Flow     letter -> **library** -> outcome
Needs    the extra ``reach``
"""

from importlib.util import find_spec
from typing import Any

from api.notify.letter import Gone, Later, Letter, Outcome, Sent

LONGEST = 1024
LOCAL = frozenset(
    {"syslog", "dbus", "qt", "kde", "glib", "gnome", "windows", "macosx", "exec", "file", "form"}
)
"""Ways that end on this machine: not for people who are somewhere else."""


def is_available() -> bool:
    """Tell whether the library is there."""
    return find_spec("apprise") is not None


def is_further_address(text: str) -> bool:
    """Tell whether the library knows a way behind an address; never one that reads files or runs programs."""
    if len(text) > LONGEST or not is_available():
        return False
    return _way(text) is not None


def send_further(letter: Letter) -> Outcome:
    """Send a letter: its title, and its text."""
    way = _way(letter.address) if is_available() else None
    if way is None:
        return Gone("no such way is known here")
    text = "\n\n".join(letter.body["paragraphs"])
    try:
        taken = way.notify(body=text, title=str(letter.body["title"]))
    except Exception as bad:  # whatever a plug-in raises, the message waits
        return Later(f"the way failed ({type(bad).__name__})")
    return Sent() if taken else Later("the way did not take it")


def _way(address: str) -> Any:
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of what the library itself imports
        import apprise

    scheme = address.partition("://")[0].lower()
    if scheme in LOCAL or "://" not in address:
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        return apprise.Apprise.instantiate(address, suppress_exceptions=True)
