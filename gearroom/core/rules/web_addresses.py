"""Addresses of other programs, as somebody typed them: read strictly, into what is connected to."""

import re
from dataclasses import dataclass
from enum import StrEnum
from ipaddress import IPv4Address, IPv6Address, ip_address
from urllib.parse import quote, urlsplit

import idna

SECURE_PORT = 443
LONGEST = 2000
"""Characters of an address."""
LONGEST_NAME = 253
"""Characters of a host's name (RFC 1035, 2.3.4, without the length bytes at both ends)."""

_LABEL = r"[a-z0-9_](?:[a-z0-9_-]{0,61}[a-z0-9_])?"
_NAME = re.compile(rf"{_LABEL}(?:\.{_LABEL})*")
_NUMBER = re.compile(r"[0-9]+|0x[0-9a-f]*")
"""A last label that makes the whole name a number to some: 2130706433 and 0x7f.1 are 127.0.0.1."""
_SAFE = "/%:@!$&'()*+,;=?~"


class Wrong(StrEnum):
    """What is wrong with an address."""

    NOT_AN_ADDRESS = "not-an-address"
    NOT_HTTPS = "not-https"
    CREDENTIALS = "credentials"


class WrongAddress(ValueError):
    """An address that nothing can be sent to."""

    def __init__(self, why: Wrong) -> None:
        super().__init__(why.value)
        self.why = why


@dataclass(frozen=True)
class WebAddress:
    """An address of HTTPS: host in lower case and ASCII, port, path with its query."""

    host: str
    port: int
    target: str

    @property
    def literal(self) -> IPv4Address | IPv6Address | None:
        """The host where it is a number, not a name."""
        return _literal(self.host)

    @property
    def authority(self) -> str:
        """Host and port as in an address."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return host if self.port == SECURE_PORT else f"{host}:{self.port}"

    def __str__(self) -> str:
        return f"https://{self.authority}{self.target}"


def web_address(text: str) -> WebAddress:
    """The address that a text is. Raises WrongAddress."""
    text = text.strip()
    if len(text) > LONGEST or re.search(r"[\x00-\x20\x7f\\]", text):
        raise WrongAddress(Wrong.NOT_AN_ADDRESS)
    try:
        parts = urlsplit(text)
        host, port = parts.hostname or "", parts.port
    except ValueError:
        raise WrongAddress(Wrong.NOT_AN_ADDRESS) from None
    if parts.scheme != "https":
        named = parts.scheme and parts.netloc
        raise WrongAddress(Wrong.NOT_HTTPS if named else Wrong.NOT_AN_ADDRESS)
    if parts.username is not None or parts.password is not None:
        raise WrongAddress(Wrong.CREDENTIALS)
    query = f"?{parts.query}" if parts.query else ""
    target = quote(f"{parts.path or '/'}{query}", safe=_SAFE)
    return WebAddress(_host(host), SECURE_PORT if port is None else port, target)


def host_and_port(text: str) -> tuple[str, int]:
    """A host as in an address, with the port where one stands behind it. Raises WrongAddress."""
    if re.search(r"[/?#]", text):
        raise WrongAddress(Wrong.NOT_AN_ADDRESS)
    to = web_address(f"https://{text}/")
    return to.host, to.port


def _host(text: str) -> str:
    """A host in its one form. Raises WrongAddress."""
    if known := _literal(text):
        if getattr(known, "scope_id", None):
            raise WrongAddress(Wrong.NOT_AN_ADDRESS)
        return str(known)
    try:
        name = text if text.isascii() else idna.encode(text, uts46=True).decode("ascii")
    except idna.IDNAError:
        raise WrongAddress(Wrong.NOT_AN_ADDRESS) from None
    name = name.removesuffix(".").lower()
    is_number = _NUMBER.fullmatch(name.rpartition(".")[2]) and not _literal(name)
    if len(name) > LONGEST_NAME or not _NAME.fullmatch(name) or is_number:
        raise WrongAddress(Wrong.NOT_AN_ADDRESS)
    return name


def _literal(text: str) -> IPv4Address | IPv6Address | None:
    try:
        return ip_address(text)
    except ValueError:
        return None
