"""Webhooks against a real receiver: signed by the public scheme, aimed only where they may go."""

import base64
import hmac
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from standardwebhooks import Webhook, WebhookVerificationError

from api.notify.letter import Down, Gone, Later, Letter, Sent
from api.notify.targets import parse_networks
from api.notify.webhook import Webhooks, new_secret, outcome_of, sign
from tests.api.notify.receivers import AT, CERTIFICATE, serve_hooks

HERE = parse_networks(["127.0.0.0/8"])
SECRET = new_secret()
BODY = {
    "kind": "reminder", "cause": "order", "tank": "t1", "name": "Byre", "zone": "Europe/London", "title": "T",
    "paragraphs": ["One.", "Two."], "page": "", "at": AT.isoformat(), "forecast": None,
}  # fmt: skip


def letter_to(port: int, *, scheme: str = "http", host: str = "127.0.0.1", at: datetime = AT) -> Letter:
    """Write a letter to a receiver on this machine."""
    return Letter("msg_1", f"{scheme}://{host}:{port}/in", BODY, at, (SECRET,))


def test_published_vector_of_the_signature() -> None:
    """The example of the scheme's own libraries: a known key, id, time and payload give the known signature.

    Source: test of the reference libraries of Standard Webhooks (from memory), checked here also by
    hand with HMAC-SHA256 over ``id.timestamp.payload``.
    """
    key, message_id = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_p5jXN8AQM9LWM0D4loKWxJek"
    at, payload = datetime.fromtimestamp(1614265330, UTC), '{"test": 2432232314}'
    signed = sign(message_id, at, payload, [key])
    assert signed["webhook-signature"] == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
    raw = base64.b64decode(key.removeprefix("whsec_"))
    by_hand = hmac.new(raw, f"{message_id}.1614265330.{payload}".encode(), "sha256").digest()
    assert signed["webhook-signature"] == "v1," + base64.b64encode(by_hand).decode()


def test_a_hook_is_signed_and_read() -> None:
    """What arrives is accepted by the scheme's own verifier, and says what happened."""
    now = datetime.now(UTC)
    with serve_hooks() as server:
        assert Webhooks(HERE).send(letter_to(server.port, at=now)) == Sent()
        post = server.posts[0]
    read = Webhook(SECRET).verify(post.body, post.headers)
    assert read["type"] == "reminder.order"
    assert read["data"]["text"] == "One.\n\nTwo."
    assert read["data"]["forecast"] is None
    assert json.loads(post.body)["timestamp"] == AT.isoformat()


def check_verifier_refuses(message_id: str, payload: str, headers: dict[str, str], key: str) -> None:
    """One flipped bit, another key, an old time: each is refused by the verifier."""
    Webhook(key).verify(payload, headers)
    flipped = payload[:-2] + chr(ord(payload[-2]) ^ 1) + payload[-1]
    hour = {**headers, "webhook-timestamp": str(int(headers["webhook-timestamp"]) - 3600)}
    other = {**headers, "webhook-id": message_id + "x"}
    for body, sent, secret in (
        (flipped, headers, key), (payload, hour, key), (payload, other, key), (payload, headers, new_secret()),
    ):  # fmt: skip
        with pytest.raises(WebhookVerificationError):
            Webhook(secret).verify(body, sent)


def test_what_was_altered_is_refused_P18() -> None:  # noqa: N802
    """P18: a flipped bit, another id, an old time or another key is refused; id, time and body are signed."""
    payload = '{"a": 1}'
    check_verifier_refuses("m", payload, sign("m", datetime.now(UTC), payload, [SECRET]), SECRET)


def test_two_keys_are_accepted_while_one_is_changed_P18() -> None:  # noqa: N802
    """P18: during a change both keys open it."""
    old, payload = new_secret(), '{"a": 1}'
    headers = sign("m", datetime.now(UTC), payload, [SECRET, old])
    assert [Webhook(key).verify(payload, headers) for key in (SECRET, old)] == [{"a": 1}, {"a": 1}]


def test_answers_are_understood_P18() -> None:  # noqa: N802
    """P18: redirects are failures and not followed, 410 ends it, Retry-After is obeyed, others are tried again."""
    with serve_hooks() as server:
        ways, letter = Webhooks(HERE), letter_to(server.port)
        server.status, server.answer_headers = 302, {"Location": f"http://127.0.0.1:{server.port}/elsewhere"}
        assert ways.send(letter) == Later("the receiver answered 302", None)
        server.status, server.answer_headers = 410, {}
        assert ways.send(letter) == Gone("the receiver wants nothing more (410)")
        server.status, server.answer_headers = 429, {"Retry-After": "90"}
        assert ways.send(letter) == Later("the receiver answered 429", timedelta(seconds=90))
        server.status, server.answer_headers = 500, {}
        assert isinstance(ways.send(letter), Later)
        assert {post.path for post in server.posts} == {"/in"}
    assert isinstance(ways.send(letter), Down)


def test_a_retry_date_is_read_and_bounded() -> None:
    """Retry-After may be a date; it is never longer than a day, and nonsense is no wait."""
    later = outcome_of(503, "Sat, 10 Jan 2026 13:00:00 GMT", now=AT)
    assert isinstance(later, Later)
    assert later.after == timedelta(hours=1)
    assert outcome_of(503, "99999999", now=AT) == Later("the receiver answered 503", timedelta(hours=24))
    for nonsense in ("soon", "-5", "1e9", ""):
        assert outcome_of(503, nonsense, now=AT) == Later("the receiver answered 503", None)


def test_endless_and_silent_receivers_are_cut_off_H6() -> None:  # noqa: N802
    """H6: an answer without end is read to 64 KiB, one that never comes is given up."""
    with serve_hooks() as server:
        server.endless = True
        assert Webhooks(HERE).send(letter_to(server.port)) == Sent()
        server.endless, server.status, server.wait_s = False, 204, 1.0
        assert isinstance(Webhooks(HERE, timeout_s=0.3).send(letter_to(server.port)), Down | Sent)


def test_the_certificate_is_checked_against_the_name() -> None:
    """Connected by its number, the receiver must still show the certificate of its name."""

    def resolve(name: str, port: int) -> list[str]:
        return ["127.0.0.1"]

    with serve_hooks(tls=True) as server:
        good = replace(letter_to(server.port), address=f"https://hooks.test:{server.port}/in")
        other = replace(good, address=f"https://other.test:{server.port}/in")
        ways = Webhooks(HERE, resolve=resolve, trust=str(CERTIFICATE))
        assert ways.send(good) == Sent()
        assert server.posts[0].headers["host"] == f"hooks.test:{server.port}"
        assert isinstance(ways.send(other), Down)
        assert isinstance(Webhooks(HERE, resolve=resolve).send(good), Down)


def test_a_private_receiver_is_not_called() -> None:
    """Without the operator's list nothing on this machine is called."""
    with serve_hooks() as server:
        outcome = Webhooks().send(letter_to(server.port))
        assert outcome == Later("that address is not a public one")
        assert server.posts == []
