"""Logs hold no secret address: whoever reads one could open what was sent to somebody else.

Every handler of ours formats by `Masked`: Django's and our own (settings.LOGGING), the worker's and
the scheduler's, which use those, and the web server's (`gearroom.site.ops.web_server`).
"""

import logging
import re

SECRET_PATHS = (
    "sign-in/new",
    "begin",
    "reached",
    "used",
    "cleared",
    "sign",
    "trip-advice",
    "api/v1/calendars",
)
"""The paths below which an address is a secret: it opens something without a sign-in."""

MASK = "[secret]"

_slash = r"(?:/|%2F)"
_paths = "|".join(path.replace("/", _slash) for path in SECRET_PATHS)
_SECRET = re.compile(rf"({_slash}(?:{_paths}){_slash})[^\s\"'<>?#\\]+", re.IGNORECASE)


def is_secret(path: str) -> bool:
    """Whether a path is a secret address."""
    return any(path.startswith(f"/{below}/") for below in SECRET_PATHS)


def masked(text: str) -> str:
    """A text with what follows a secret path replaced; as quoted in a query too."""
    return _SECRET.sub(rf"\1{MASK}", text)


class Masked(logging.Formatter):
    """A formatter of whole records, traceback and all, without secret addresses."""

    def format(self, record: logging.LogRecord) -> str:
        """The line, or lines."""
        return masked(super().format(record))
