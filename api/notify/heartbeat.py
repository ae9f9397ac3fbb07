"""A sign of life to a watcher elsewhere: when it stays away, somebody hears the silence.

A service that has died cannot say so. So it says the opposite, every few minutes, to a watcher that
tells the person who runs it when nothing has come.

Flow     worker -> **one empty POST** -> watcher
Source   dead man's switch of monitoring systems, common practice
"""

TIMEOUT_S = 10.0
"""For the whole of a call. [s]"""


class HeartbeatError(Exception):
    """The watcher was not reached, or did not take it."""


def beat(url: str) -> None:
    """Give one sign of life; no redirect is followed.

    Parameters
    ----------
    url
        Of the watcher, as the person who runs the service has set it.

    Raises
    ------
    HeartbeatError
        When it was not taken.
    """
    import httpx2

    try:
        answer = httpx2.post(url, timeout=TIMEOUT_S, follow_redirects=False)
    except (httpx2.HTTPError, httpx2.InvalidURL) as bad:
        raise HeartbeatError(type(bad).__name__) from None
    if not answer.is_success:
        raise HeartbeatError(f"status {answer.status_code}")
