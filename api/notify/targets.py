"""Where a webhook may go: public addresses over https, and what the operator lists besides.

The name is looked up when the target is given and again at each connection, and the connection is made
to the address that was checked: a name that turns to a private address in between is refused.

Flow     url -> **checked** -> addresses -> **checked** -> connection
Source   OWASP Server-Side Request Forgery prevention; RFC 6890 (special-purpose addresses)
"""

import ipaddress
import socket
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from urllib.parse import SplitResult, urlsplit

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network
Resolve = Callable[[str, int], Sequence[str]]
"""Looks a name up: all its addresses as text."""

LONGEST = 2048
PORTS = frozenset({443, 8443})
"""Ports that may be called outside what the operator lists."""


class TargetError(Exception):
    """An address that may not be called, and why."""


@dataclass(frozen=True, slots=True)
class Target:
    """An address that may be called: its parts, and the checked address to connect to."""

    scheme: str
    host: str
    port: int
    path: str
    address: str

    @property
    def host_header(self) -> str:
        """The name as the receiver expects it."""
        name = f"[{self.host}]" if ":" in self.host else self.host
        usual = 443 if self.scheme == "https" else 80
        return name if self.port == usual else f"{name}:{self.port}"

    @property
    def url(self) -> str:
        """The same address by its number, so that no other lookup comes between."""
        place = f"[{self.address}]" if ":" in self.address else self.address
        return f"{self.scheme}://{place}:{self.port}{self.path}"


def look_up(name: str, port: int) -> Sequence[str]:
    """Look a name up with the system's resolver."""
    found = socket.getaddrinfo(name, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(entry[4][0]) for entry in found))


def parse_networks(texts: Sequence[str]) -> tuple[Network, ...]:
    """Read the networks that an operator lists.

    Raises
    ------
    ValueError
        For what is no network.

    Examples
    --------
    >>> parse_networks(["192.168.1.0/24"])
    (IPv4Network('192.168.1.0/24'),)
    """
    return tuple(ipaddress.ip_network(text.strip()) for text in texts)


def check_target(url: str, *, private: Sequence[Network] = (), resolve: Resolve = look_up) -> Target:
    """Check an address, and choose the number to connect to.

    Parameters
    ----------
    url
        As it was given.
    private
        Networks that the operator allows although they are private; there http is allowed too.
    resolve
        Looks a name up.

    Raises
    ------
    TargetError
        With what is wrong.
    """
    parts, port = _split(url)
    host = parts.hostname or ""
    if parts.scheme not in ("https", "http"):
        raise TargetError("give an address that begins with https://")
    if parts.username is not None or parts.password is not None or parts.fragment:
        raise TargetError("give an address without a password and without #")
    if not _is_plain_host(host):
        raise TargetError("give the name of a host in plain letters")
    try:
        numbers = [ipaddress.ip_address(text.partition("%")[0]) for text in resolve(host, port)]
    except (OSError, ValueError, UnicodeError):
        raise TargetError("the name of the host is not known") from None
    if not numbers:
        raise TargetError("the name of the host is not known")
    listed = all(_is_listed(number, private) for number in numbers)
    if not listed and not all(is_public(number) for number in numbers):
        raise TargetError("that address is not a public one")
    if not listed and (parts.scheme != "https" or port not in PORTS):
        raise TargetError("give an https address with the usual port")
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return Target(parts.scheme, host, port, path, str(numbers[0]))


def is_public(number: Address) -> bool:
    """Tell whether an address is one of the open internet, also where it wraps another.

    Examples
    --------
    >>> [is_public(ipaddress.ip_address(a)) for a in ("9.9.9.9", "::ffff:10.0.0.1", "100.64.0.1", "64:ff9b::7f00:1")]
    [True, False, False, False]
    """
    if isinstance(number, ipaddress.IPv6Address):
        inner = number.ipv4_mapped or number.sixtofour or (number.teredo[1] if number.teredo else None)
        if number in _NAT64:
            inner = ipaddress.IPv4Address(int(number) & 0xFFFFFFFF)
        if inner is not None:
            return number.ipv4_mapped is None and number.sixtofour is None and is_public(inner)
    return number.is_global and not number.is_multicast


_NAT64 = ipaddress.ip_network("64:ff9b::/96")


def _split(url: str) -> tuple[SplitResult, int]:
    if len(url) > LONGEST or any(ord(c) <= 32 or ord(c) == 127 or c == "\\" for c in url):
        raise TargetError("give an address without spaces")
    try:
        parts = urlsplit(url)
        port = parts.port or (80 if parts.scheme == "http" else 443)
    except ValueError:
        raise TargetError("give an address such as https://example.org/hook") from None
    return parts, port


def _is_plain_host(host: str) -> bool:
    """A name in ASCII with a dot, or a plain number: no shorthand of a number, no escapes, no look-alikes."""
    if not host or not host.isascii() or "%" in host:
        return False
    try:
        ipaddress.ip_address(host)
    except ValueError:
        last = host.rstrip(".").rpartition(".")[2]
        numeric = last.isdigit() or last.lower().startswith("0x")
        return all(c.isalnum() or c in "-." for c in host) and not numeric
    return True


def _is_listed(number: Address, private: Sequence[Network]) -> bool:
    return any(number.version == network.version and number in network for network in private)
