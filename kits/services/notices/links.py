"""Addresses of our pages in mails, and what the links say that need no sign-in."""

from datetime import date, timedelta
from typing import Any
from urllib.parse import quote

from django.conf import settings
from django.core import signing

from gearroom.core.acts import NotFound, Refused

CLEARANCE_SALT = "kits.cleared-by-phone"
SIGNATURE_SALT = "kits.extend-signature"


def page(path: str) -> str:
    """The whole address of one of our pages, or nothing while no public address is set."""
    return f"{settings.PUBLIC_URL}{path}" if settings.PUBLIC_URL else ""


def kit_page(name: str) -> str:
    """The address of a kit's own page."""
    return page(f"/kits/{quote(name, safe='')}/")


def clearance_token(clearance: int) -> str:
    """What the link of a clearance (an id) says."""
    return signing.dumps(clearance, salt=CLEARANCE_SALT)


def signature_token(version: int, person: int, until: date) -> str:
    """What the link says with which somebody extends a signature that ends on a day."""
    return signing.dumps([version, person, until.isoformat()], salt=SIGNATURE_SALT)


def read(token: str, salt: str, within: timedelta, expired: str) -> Any:
    """What the link holds that was signed with a salt. Raises NotFound for one that was not made
    here; Refused (`link-too-old`), which says `expired`."""
    try:
        return signing.loads(token, salt=salt, max_age=within)
    except signing.SignatureExpired:
        raise Refused("link-too-old", expired) from None
    except signing.BadSignature:
        raise NotFound("link", token[:20]) from None
