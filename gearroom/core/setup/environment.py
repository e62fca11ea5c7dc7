"""Settings from the environment that would be dangerous or useless as given: refused at the start,
with what to set instead."""

import re
from collections.abc import Iterable
from urllib.parse import urlsplit

from django.core.exceptions import ImproperlyConfigured

from gearroom.core.rules.public_addresses import AllowedInside, allowed_inside

LEAST_KEY_CHARACTERS, LEAST_KEY_VARIETY = 50, 5
"""What Django's own check asks of a key (security.W009)."""

_HOST = re.compile(r"(\[[0-9a-f:.]+\]|[^\s/?#@:\[\]\\]+)(:[0-9]{1,5})?", re.I)


def secret_key(key: str) -> str:
    """The key that signs sessions and links. Raises ImproperlyConfigured where it may be guessed.

    It is not said how it was: that would tell others of it.
    """
    weak = len(key) < LEAST_KEY_CHARACTERS or len(set(key)) < LEAST_KEY_VARIETY
    if weak or key.startswith("django-insecure-"):
        raise ImproperlyConfigured(
            f"SECRET_KEY is too weak: it needs at least {LEAST_KEY_CHARACTERS} random characters,"
            " such as those from `openssl rand -base64 48`. If you leave it out, one is created in"
            " the data folder."
        )
    return key


def public_url(address: str) -> str:
    """The address on labels and in mails without a slash at its end; "" for none.

    Raises ImproperlyConfigured for what is no address of a whole host.
    """
    address = address.strip().rstrip("/")
    if not address:
        return ""
    scheme, _, rest = address.rpartition("://")
    try:
        parts = urlsplit(address)
        port_is_right = parts.port is None or parts.port > 0
    except ValueError:
        port_is_right = False
    if scheme.lower() in ("http", "https") and port_is_right and _HOST.fullmatch(rest):
        return f"{scheme.lower()}://{rest.lower()}"
    host = rest.split("/")[0] or "gear.example.org"
    raise ImproperlyConfigured(
        f"GEARROOM_PUBLIC_URL is {address}, which is not an address: it must begin with "
        f"https:// (or http://) and end with the host, such as https://{host}."
    )


def internal_hosts(texts: Iterable[str]) -> AllowedInside:
    """What may be connected to although it is not public. Raises ImproperlyConfigured."""
    try:
        return allowed_inside(texts)
    except ValueError as error:
        raise ImproperlyConfigured(
            "GEARROOM_INTERNAL_HOSTS has an entry that is neither a host nor a network. Enter hosts"
            " and networks, such as booking.example.org:8443,10.1.2.0/24."
        ) from error
