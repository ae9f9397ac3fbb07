"""Webhooks: signed, fresh, to checked addresses only, without following anybody.

Flow     letter -> **signed post** -> outcome
Source   Standard Webhooks specification (headers webhook-id, webhook-timestamp, webhook-signature);
         its package signs. RFC 9110 section 10.2.3 (Retry-After)
"""

import base64
import json
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import Any

from api.notify.letter import Down, Gone, Later, Letter, Outcome, Sent
from api.notify.targets import Network, Resolve, Target, TargetError, check_target, look_up

TIMEOUT_S = 15.0
"""For the whole of a call, however slowly the other side answers. [s]"""
MOST_READ = 64 * 1024
"""So much of an answer is read. [bytes]"""
LONGEST_WAIT = timedelta(hours=24)


def new_secret() -> str:
    """Draw what a webhook is signed with: 32 random bytes, written as the scheme has it."""
    return "whsec_" + base64.b64encode(secrets.token_bytes(32)).decode()


def sign(message_id: str, at: datetime, payload: str, keys: Sequence[str]) -> dict[str, str]:
    """Sign a payload with one key, or while a key is being changed with two.

    Parameters
    ----------
    keys
        Secrets as `new_secret` draws them.
    """
    from standardwebhooks import Webhook

    stamp = at.astimezone(UTC).replace(microsecond=0)
    signatures = [Webhook(key).sign(message_id, stamp, payload) for key in keys]
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(int(stamp.timestamp())),
        "webhook-signature": " ".join(signatures),
    }


def payload_of(letter: Letter) -> str:
    """Write what is posted: type, time, data."""
    body = letter.body
    data: dict[str, Any] = {
        name: body.get(name) for name in ("tank", "name", "zone", "cause", "title", "page", "forecast")
    }
    data["text"] = "\n\n".join(body["paragraphs"])
    made = {"type": f"reminder.{body.get('cause', 'notice')}", "timestamp": body.get("at"), "data": data}
    return json.dumps(made, allow_nan=False, separators=(",", ":"))


@dataclass(frozen=True, slots=True)
class Webhooks:
    """Posts letters.

    Attributes
    ----------
    private
        Private networks that the operator allows.
    resolve
        Looks names up.
    trust
        File of certificates to trust instead of the system's; for receivers of one's own.
    """

    private: tuple[Network, ...] = ()
    resolve: Resolve = look_up
    trust: str | None = None
    timeout_s: float = TIMEOUT_S

    def send(self, letter: Letter) -> Outcome:
        """Post a letter."""
        import httpx2 as httpx

        try:
            target = check_target(letter.address, private=self.private, resolve=self.resolve)
        except TargetError as bad:
            return Later(str(bad))
        payload = payload_of(letter)
        headers = sign(letter.message_id, letter.at, payload, letter.secrets)
        try:
            return self._post(target, payload, headers)
        except (httpx.HTTPError, OSError, ValueError) as bad:
            return Down(f"the receiver does not answer ({type(bad).__name__})", whole=False)

    def _post(self, target: Target, payload: str, headers: dict[str, str]) -> Outcome:
        import ssl
        import time

        import httpx2 as httpx

        ends = time.monotonic() + self.timeout_s
        sent = {
            **headers, "Host": target.host_header, "Content-Type": "application/json",
            "User-Agent": "dipcast", "Accept-Encoding": "identity",
        }  # fmt: skip
        trusted = ssl.create_default_context(cafile=self.trust)
        with (
            httpx.Client(verify=trusted, follow_redirects=False, trust_env=False, timeout=self.timeout_s) as client,
            client.stream(
                "POST", target.url, content=payload.encode(), headers=sent,
                extensions={"sni_hostname": target.host},
            ) as answer,
        ):  # fmt: skip
            read = 0
            for chunk in answer.iter_raw(8192):
                read += len(chunk)
                if read > MOST_READ or time.monotonic() > ends:
                    break
            return outcome_of(answer.status_code, answer.headers.get("retry-after"))


def outcome_of(status: int, retry_after: str | None, *, now: datetime | None = None) -> Outcome:
    """Say what an answer's status means.

    Parameters
    ----------
    retry_after
        As it was sent: seconds, or a date.
    now
        Against which a date is reckoned.

    Examples
    --------
    >>> outcome_of(204, None), outcome_of(410, None)
    (Sent(), Gone(why='the receiver wants nothing more (410)'))
    >>> outcome_of(429, "120").after
    datetime.timedelta(seconds=120)
    >>> outcome_of(302, None).why
    'the receiver answered 302'
    """
    if 200 <= status < 300:
        return Sent()
    if status == 410:
        return Gone("the receiver wants nothing more (410)")
    after = _wait(retry_after, now) if status in (429, 503) else None
    return Later(f"the receiver answered {status}", after)


def _wait(retry_after: str | None, now: datetime | None) -> timedelta | None:
    if retry_after is None:
        return None
    text = retry_after.strip()
    if text.isascii() and text.isdigit() and len(text) <= 9:
        return min(timedelta(seconds=int(text)), LONGEST_WAIT)
    try:
        at = parsedate_to_datetime(text)
    except ValueError:
        return None
    if now is None or at.tzinfo is None:
        return None
    return min(max(at - now, timedelta()), LONGEST_WAIT)
