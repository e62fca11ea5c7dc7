"""Bodies, read strictly: what is not plainly one JSON object is refused, and nothing is guessed."""

import json
from typing import IO, Any

from django.conf import settings
from django.utils.translation import gettext as _
from rest_framework import parsers
from rest_framework.exceptions import UnsupportedMediaType

from gearroom.core.acts import Invalid, TooLarge, printable

MAX_JSON_BYTES = 1024 * 1024
MAX_DEPTH = 20
MAX_INTEGER = 2**63 - 1


class StrictJSONParser(parsers.BaseParser):
    """One JSON object (RFC 8259) in UTF-8 of at most 1 MiB, nested at most 20 deep.

    Refused: a member named twice, NaN and Infinity, numbers beyond 64 bits or a double's range,
    NUL and unpaired surrogates in texts.
    """

    media_type = "application/json"

    def parse(
        self, stream: IO[bytes], media_type: str | None = None, parser_context: Any = None
    ) -> dict[str, Any]:
        """The object; raises Invalid (400 `malformed-body`) or TooLarge (413)."""
        meta = parser_context["request"].META
        charset = parser_context["request"].content_params.get("charset", "utf-8")
        if charset.lower() not in ("utf-8", "utf8") or meta.get("HTTP_CONTENT_ENCODING"):
            raise UnsupportedMediaType(
                meta.get("CONTENT_TYPE", ""), "JSON is sent in UTF-8 and uncompressed."
            )
        length = int(meta.get("CONTENT_LENGTH") or 0)
        if length > MAX_JSON_BYTES:
            raise _too_large(MAX_JSON_BYTES)
        raw = stream.read(length)
        _require_whole(len(raw), length)
        return read_object(raw)


def read_object(raw: bytes) -> dict[str, Any]:
    """The JSON object that these bytes are; raises Invalid (400 `malformed-body`)."""
    try:
        text = raw.decode("utf-8")
        value = json.loads(
            text,
            object_pairs_hook=_object,
            parse_int=_integer,
            parse_float=_double,
            parse_constant=_no_constant,
        )
        _check(value, 1)
    except UnicodeDecodeError as error:
        raise _malformed(f"It is not UTF-8: byte {error.start} cannot be read.") from None
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise _malformed(f"It is not JSON: {error.msg} at {where}.") from None
    except RecursionError:
        raise _malformed(f"It is nested more than {MAX_DEPTH} deep.") from None
    if not isinstance(value, dict):
        raise _malformed("It has to be a JSON object: { … }.")
    return value


class StrictMultiPartParser(parsers.MultiPartParser):
    """`multipart/form-data` as one plain mapping of names to texts and uploaded files, each once.

    The whole body may have the bytes that a picture may have, and 1 MiB beside it.
    """

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        """The mapping; raises Invalid (400 `malformed-body`) or TooLarge (413)."""
        limit = settings.READING["max_bytes"] + MAX_JSON_BYTES
        length = int(parser_context["request"].META.get("CONTENT_LENGTH") or 0)
        if length > limit:
            raise _too_large(limit)
        counted: Any = _Counted(stream)
        parsed = super().parse(counted, media_type, parser_context)
        _require_whole(counted.bytes_read, length)
        result: dict[str, Any] = {}
        for name, values in [*parsed.data.lists(), *parsed.files.lists()]:
            if len(values) > 1 or name in result:
                raise _malformed(f"The part “{name}” is there more than once.")
            result[name] = values[0]
        _check({k: v for k, v in result.items() if isinstance(v, str)}, 1)
        return result


class _Counted:
    """A stream that knows how much of it was read."""

    def __init__(self, stream: IO[bytes]) -> None:
        self._stream = stream
        self.bytes_read = 0

    def read(self, size: int = -1) -> bytes:
        """Read on."""
        result = self._stream.read(size)
        self.bytes_read += len(result)
        return result


def _require_whole(received: int, announced: int) -> None:
    """A connection that breaks leaves a part, which must not pass for the whole."""
    if received < announced:
        raise _malformed(f"It broke off after {received} of {announced} bytes. Send it again.")


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    result = dict(pairs)
    if len(result) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise _malformed(f"The member “{printable(twice)}” is there more than once.")
    return result


def _integer(digits: str) -> int:
    if len(digits) > 20 or abs(int(digits)) > MAX_INTEGER:
        raise _malformed(f"The number {digits[:24]}… is beyond 64 bits.")
    return int(digits)


def _double(text: str) -> float:
    value = float(text)
    if value in (float("inf"), float("-inf")):
        raise _malformed(f"The number {text[:24]} is beyond what a double holds.")
    return value


def _no_constant(name: str) -> None:
    raise _malformed(f"{name} is not a JSON number.")


def _check(value: Any, depth: int) -> None:
    if isinstance(value, str):
        if "\0" in value or any("\ud800" <= character <= "\udfff" for character in value):
            raise _malformed(f"The text “{printable(value)}” holds a NUL or half a surrogate pair.")
    elif isinstance(value, dict | list):
        if depth > MAX_DEPTH:
            raise _malformed(f"It is nested more than {MAX_DEPTH} deep.")
        for name in value if isinstance(value, dict) else ():
            _check(name, depth)
        for inner in value.values() if isinstance(value, dict) else value:
            _check(inner, depth + 1)


def _malformed(detail: str) -> Invalid:
    return Invalid(
        _("The request body could not be read. %(detail)s") % {"detail": detail},
        code="malformed-body",
    )


def _too_large(limit: float) -> TooLarge:
    return TooLarge(
        "too-large",
        _("A request body can be at most %(most)s KiB.") % {"most": limit // 1024},
        limit_bytes=limit,
    )
