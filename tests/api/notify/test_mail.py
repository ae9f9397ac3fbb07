"""Mail against a real server: encrypted, signed in, with text, HTML and picture; refusals told apart."""

import email
import email.policy
from collections.abc import Iterator
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.notify.letter import Down, Gone, Later, Letter, Sent
from api.notify.mail import MailServer, is_mail_address, write_mail
from tests.api.notify.receivers import AT, CERTIFICATE, Mailbox, serve_mail

PNG = b"\x89PNG\r\n\x1a\n" + bytes(40)
LETTER = Letter(
    "0a1b2c", "ann@example.org",
    {"title": "Time to order", "paragraphs": ["One.", "Two: https://x.test/t"], "page": "https://x.test/t"},
    AT,
)  # fmt: skip


@pytest.fixture(scope="module")
def box() -> Iterator[Mailbox]:
    """A mail server."""
    with serve_mail() as made:
        yield made


def server(box: Mailbox, **more: object) -> MailServer:
    """Say how to reach it."""
    usual = MailServer(
        "localhost", box.port, "dipcast@home.test", "dipcast", "secret", trust=str(CERTIFICATE)
    )
    return replace(usual, **more)  # type: ignore[arg-type]


def test_a_mail_arrives_encrypted_and_whole(box: Mailbox) -> None:
    """Text, HTML and the picture inside it arrive; the id is the message's own, and the link is one."""
    assert server(box).send(replace(LETTER, picture=PNG)) == Sent()
    sender, receivers, raw = box.mails[-1]
    assert (sender, receivers, box.peers[-1]) == ("dipcast@home.test", ["ann@example.org"], True)
    mail = email.message_from_bytes(raw, policy=email.policy.default)
    assert mail["Message-ID"] == "<0a1b2c@home.test>"
    assert mail["Auto-Submitted"] == "auto-generated"
    kinds = [part.get_content_type() for part in mail.walk()]
    assert kinds == ["multipart/alternative", "text/plain", "multipart/related", "text/html", "image/png"]
    parts = list(mail.walk())
    assert parts[1].get_content().split() == ["One.", "Two:", "https://x.test/t"]
    assert '<a href="https://x.test/t">https://x.test/t</a>' in parts[3].get_content()
    assert "cid:fan" in parts[3].get_content()
    assert parts[4].get_content() == PNG


def test_every_attempt_has_the_same_message_id(box: Mailbox) -> None:
    """A second attempt is the same message to every mail program."""
    for _ in range(2):
        server(box).send(LETTER)
    ids = [email.message_from_bytes(raw)["Message-ID"] for _, _, raw in box.mails[-2:]]
    assert ids[0] == ids[1] == "<0a1b2c@home.test>"


def test_a_hard_refusal_is_told_from_a_soft_one(box: Mailbox) -> None:
    """550 ends the address, 451 puts it off."""
    box.refuse = {"no@example.org": "550 no such user", "busy@example.org": "451 later"}
    assert server(box).send(replace(LETTER, address="no@example.org")) == Gone(
        "the mail server refuses the address (550)"
    )
    assert isinstance(server(box).send(replace(LETTER, address="busy@example.org")), Later)


def test_without_encryption_or_password_nothing_is_said(box: Mailbox) -> None:
    """A server whose certificate is not trusted, a wrong password, no server at all: the way is down."""
    sent = len(box.mails)
    for wrong in (
        server(box, trust=None),
        server(box, password="wrong"),
        server(box, starttls=False),
        server(box, port=1),
    ):
        outcome = wrong.send(LETTER)
        assert isinstance(outcome, Down | Later)
        assert "secret" not in outcome.why
    assert len(box.mails) == sent


HOSTILE = (
    "a@b.c\r\nBcc: x@y.z", '"x" <a@b.c>, d@e.f', "a@b.c,d@e.f", "a" * 400 + "@b.cc", "a@localhost",
    '"quoted part"@b.cc', "a b@c.dd", "a@b..cc", "a@-b.cc", "a@b.c\x00", "", "@b.cc", "a@", "a@1.2.3.4",
    "ä@b.cc", ".a@b.cc", "a..b@c.dd",
)  # fmt: skip


@pytest.mark.parametrize("address", HOSTILE)
def test_only_one_plain_address_is_taken_H8(address: str) -> None:  # noqa: N802
    """H8: line breaks, lists, names, quotes, no dot, too long: none of it is an address."""
    assert not is_mail_address(address)


@given(st.text(max_size=60))
def test_whatever_is_taken_is_one_line_with_one_at(text: str) -> None:
    """Of any text what is taken for an address has one at-sign, no space and no control sign."""
    if is_mail_address(f"{text}@example.org"):
        assert text.isascii()
        assert not any(c.isspace() or c in '@,;<>"()' or ord(c) < 33 for c in text)


def test_what_people_typed_stays_text() -> None:
    """I2: a tank named like a script is shown, not run; a line break in it makes no header."""
    body = {"title": "Hi\r\nBcc: x@y.z", "paragraphs": ["<script>alert(1)</script>"], "page": ""}
    mail = write_mail(replace(LETTER, body=body), sender="d@home.test")
    assert mail["Bcc"] is None
    html = next(p for p in mail.walk() if p.get_content_type() == "text/html").get_content()
    assert "<script>" not in html
    assert "&lt;script&gt;" in html
