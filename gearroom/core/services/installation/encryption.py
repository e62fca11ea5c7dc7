"""Secrets that the program needs again as they are: kept so that the database alone tells nobody.

Each is encrypted under SECRET_KEY for one purpose, and of no use for another.
"""

import base64
import hashlib

from cryptography.fernet import Fernet, InvalidToken
from django.conf import settings


def encrypted(text: str, purpose: str) -> str:
    """A secret as it is kept; empty for none."""
    return _cipher(purpose).encrypt(text.encode()).decode() if text else ""


def decrypted(kept: str, purpose: str) -> str:
    """The secret; empty where SECRET_KEY is another now, so that a new one is needed."""
    try:
        return _cipher(purpose).decrypt(kept.encode()).decode() if kept else ""
    except InvalidToken:
        return ""


def _cipher(purpose: str) -> Fernet:
    key = hashlib.sha256(purpose.encode() + settings.SECRET_KEY.encode()).digest()
    return Fernet(base64.urlsafe_b64encode(key))
