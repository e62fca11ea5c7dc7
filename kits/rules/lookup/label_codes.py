"""Label codes: eight characters that survive gloves, keyboards, bad handwriting and worse reading.

Seven random characters and an ISO/IEC 7064 MOD 37,36 check character, all of one alphabet without
vowels (no words), without look-alikes (0 1 I L O U) and without the letters that move between
keyboard layouts (A Q W Z Y M). The check finds every single wrong character and nearly every pair
of swapped ones; nothing acts on a code whose check fails. At least one character is a letter, so
that a code is never taken for a retail code of eight digits (EAN-8).
"""

import unicodedata
from collections.abc import Callable, Sequence
from urllib.parse import urlsplit

from stdnum.iso7064 import mod_37_36

ALPHABET = "23456789BCDFGHJKNPRSTVX"
LENGTH = 8

# Table 5 of ISO/IEC 18004: what a QR symbol's alphanumeric mode can say.
_ALPHANUMERIC_MODE = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")


def new_code(choice: Callable[[Sequence[str]], str]) -> str:
    """Return a new code: 8 characters, no dash.

    `choice` picks one element of a sequence, as `secrets.choice` does. Codes are drawn until the
    check character is in the alphabet (23 of 36 are) and one character is a letter.
    """
    while True:
        stem = "".join(choice(ALPHABET) for _ in range(LENGTH - 1))
        code = stem + str(mod_37_36.calc_check_digit(stem))
        if is_valid(code):
            return code


def is_valid(code: str) -> bool:
    """Whether `code` is exactly a code: 8 capitals and digits of the alphabet, its check right."""
    return (
        len(code) == LENGTH
        and all(character in ALPHABET for character in code)
        and not code.isdigit()
        and bool(mod_37_36.is_valid(code))
    )


def shown(code: str) -> str:
    """Return the code as people see it: `XXXX-XXXX`."""
    return f"{code[:4]}-{code[4:]}"


def bare(text: str) -> str:
    """Return `text` as capitals and digits alone: without spaces, dashes and what is typed for
    them.

    A scanner that types a US dash sends `ß`, `)`, `'` or `+` on other keyboards; all are dropped.
    """
    plain = unicodedata.normalize("NFKC", text).replace("ß", "-").replace("ẞ", "-")
    return "".join(character for character in plain.upper() if character.isalnum())


def parse(text: str) -> str | None:
    """Return the valid code that `text` is, in any case and with any dash, or None."""
    code = bare(text)
    return code if is_valid(code) else None


def payload(public_url: str, code: str) -> str:
    """Return the text of a label's QR symbol: `HTTPS://HOST/L/CODE`, all capitals.

    `public_url` is scheme, host and maybe port. Raises ValueError where it has a path, or a
    character that alphanumeric mode cannot say (write such a host in its `xn--` form).
    """
    parts = urlsplit(public_url)
    address = f"{parts.scheme}://{parts.netloc}".upper()
    for wrong, says in (
        (
            parts.scheme not in ("http", "https") or not parts.netloc,
            "The public address must start with https:// and a host name.",
        ),
        (
            parts.path.strip("/") or parts.query or parts.fragment or "@" in parts.netloc,
            "The public address must be https:// and a host name, without a path.",
        ),
        (
            not _ALPHANUMERIC_MODE.issuperset(address),
            "The public address may contain only letters, digits, dots and hyphens.",
        ),
        (not is_valid(code), f"{code!r} is not a label code."),
    ):
        if wrong:
            raise ValueError(says)
    return f"{address}/L/{code}"


def corrections(code: str) -> tuple[str, ...]:
    """Return the valid codes one substitution away from `code`, in alphabetical order.

    For offering to a person, never for taking. `code` is 8 characters, as `bare` gives them; any
    other length has none, and nor has a code that is valid already.
    """
    if len(code) != LENGTH or is_valid(code):
        return ()
    near = (
        code[:place] + character + code[place + 1 :]
        for place in range(LENGTH)
        for character in ALPHABET
    )
    return tuple(sorted(candidate for candidate in near if is_valid(candidate)))
