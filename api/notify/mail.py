"""Mail: text and HTML with the chart, through a mail server with STARTTLS and a password.

Flow     letter -> **message** -> mail server -> outcome
Source   RFC 5321 (4xx: try again, 5xx: do not), RFC 5322 (Message-ID), RFC 3834 (Auto-Submitted),
         RFC 2387 (a picture that belongs to the HTML)
"""

import re
import smtplib
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import format_datetime

from markupsafe import escape

from api.notify.letter import Down, Gone, Later, Letter, Outcome, Sent

TIMEOUT_S = 20.0
LONGEST = 254
"""Longest address, by RFC 5321. [characters]"""
_LOCAL = re.compile(r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+(?:\.[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+)*", re.ASCII)
_LABEL = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?", re.ASCII)
_CID = "fan"
_STYLE = "font:16px/1.5 Georgia,serif;color:#222;max-width:38em;margin:1em auto;padding:0 1em"


@dataclass(frozen=True, slots=True)
class MailServer:
    """Where mail is handed in.

    Attributes
    ----------
    sender
        Address that the mail comes from.
    user, password
        None: without.
    starttls
        Encrypt before anything else is said; a server that cannot is refused.
    trust
        File of certificates to trust besides the system's; for a server of one's own.
    """

    host: str
    port: int
    sender: str
    user: str | None = None
    password: str | None = None
    starttls: bool = True
    trust: str | None = None

    def send(self, letter: Letter) -> Outcome:
        """Send a letter."""
        message = write_mail(letter, sender=self.sender)
        try:
            with self._connection() as connection:
                return _hand_in(connection, message, self.sender, letter.address)
        except smtplib.SMTPAuthenticationError:
            return Down("the mail server does not take our password", whole=True)
        except (smtplib.SMTPException, ssl.SSLError, OSError) as bad:
            return Down(f"the mail server cannot be reached ({type(bad).__name__})", whole=True)

    @contextmanager
    def _connection(self) -> Iterator[smtplib.SMTP]:
        connection = smtplib.SMTP(self.host, self.port, timeout=TIMEOUT_S)
        try:
            if self.starttls:
                connection.starttls(context=ssl.create_default_context(cafile=self.trust))
            if self.user is not None and self.password is not None:
                connection.login(self.user, self.password)
            yield connection
        except (smtplib.SMTPException, OSError):
            connection.close()  # no farewell: after a broken handshake it would be waited for in vain
            raise
        try:
            connection.quit()
        except (smtplib.SMTPException, OSError):
            connection.close()  # it was taken over before


def write_mail(letter: Letter, *, sender: str) -> EmailMessage:
    """Write a letter as mail: plain text, and HTML with the picture in it.

    Nothing is loaded from anywhere when it is opened.
    """
    mail = EmailMessage()
    title, paragraphs = letter.body["title"], list(letter.body["paragraphs"])
    mail["From"] = Address("Dipcast", addr_spec=sender)
    mail["To"] = Address(addr_spec=letter.address)
    mail["Subject"] = " ".join(str(title).split())
    mail["Date"] = format_datetime(letter.at)
    mail["Message-ID"] = f"<{letter.message_id}@{sender.rpartition('@')[2]}>"
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content("\n\n".join(paragraphs) + "\n")
    mail.add_alternative(_html(letter, title, paragraphs), subtype="html")
    if letter.picture is not None:
        html = mail.get_payload()[1]  # type: ignore[index]
        assert isinstance(html, EmailMessage)
        html.add_related(letter.picture, "image", "png", cid=f"<{_CID}>", filename="forecast.png")
    return mail


def is_mail_address(text: str) -> bool:
    r"""Tell whether a text is one plain mail address.

    Examples
    --------
    >>> [is_mail_address(a) for a in ("ann@example.org", "a@b", '"x" <a@b.c>, d@e.f', "a@b.c\r\nBcc: x@y.z")]
    [True, False, False, False]
    """
    local, at, domain = text.rpartition("@")
    labels = domain.split(".")
    return (
        bool(at)
        and len(text) <= LONGEST
        and len(local) <= 64
        and _LOCAL.fullmatch(local) is not None
        and len(labels) > 1
        and all(_LABEL.fullmatch(label) for label in labels)
        and not labels[-1].isdigit()
    )


def _hand_in(connection: smtplib.SMTP, message: EmailMessage, sender: str, address: str) -> Outcome:
    try:
        connection.send_message(message, from_addr=sender, to_addrs=[address])
    except smtplib.SMTPRecipientsRefused as refused:
        code, _ = refused.recipients[address]
        if code in (421, 450, 451, 452) or code < 500:
            return Later(f"the mail server put it off ({code})")
        return Gone(f"the mail server refuses the address ({code})")
    except smtplib.SMTPResponseException as bad:
        why = f"the mail server did not take it ({bad.smtp_code})"
        return Down(why, whole=True) if bad.smtp_code == 421 else Later(why)
    return Sent()


def _html(letter: Letter, title: str, paragraphs: list[str]) -> str:
    picture = (
        f'<p><img src="cid:{_CID}" alt="Litres ahead; the text says the same" style="max-width:100%"></p>'
        if letter.picture is not None
        else ""
    )
    lead, *rest = [_paragraph(text, letter.body.get("page") or "") for text in paragraphs]
    return (
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title></head>'
        f'<body style="{_STYLE}">{lead}{picture}{"".join(rest)}</body></html>'
    )


def _paragraph(text: str, page: str) -> str:
    said = str(escape(text))
    if page and text.endswith(page):
        link = escape(page)
        said = f'{escape(text.removesuffix(page))}<a href="{link}">{link}</a>'
    return f"<p>{said}</p>"
