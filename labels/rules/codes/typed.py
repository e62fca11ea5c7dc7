"""What a scanned or typed text is: one of our labels, a maker's code, or something else.

A USB scanner types as a keyboard does. Where it is set for one country and the computer for
another, letters are kept by the choice of the code's alphabet, but the punctuation of the address
changes, and digits may turn into the other character of their key. Both are undone here. Nothing is
ever called ours-and-right unless its check character holds.
"""

import re
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from gearroom.core.rules.sentences import Sentence, say
from kits.rules.lookup import label_codes
from labels.rules.codes import gs1


class TextKind(StrEnum):
    """What a text is."""

    OWN = "own"  # one of our codes, its check right; whether it is bound to anything is not known
    OWN_WRONG = "own-wrong"  # looks like one of our codes, its check wrong: act on nothing
    MAKER = "maker"  # a maker's code: see `maker`
    MAKER_WRONG = "maker-wrong"  # a maker's code with a part that cannot be right: see `says`
    LINK = "link"
    WIFI = "wi-fi"
    CONTACT = "contact"
    BINARY = "binary"
    OTHER = "other"
    EMPTY = "empty"


@dataclass(frozen=True)
class ResolvedText:
    """A text and what it is.

    `code`: 8 characters, for OWN and OWN_WRONG (there as read, for `codes.corrections`).
    `maker`: for MAKER. `says`: a sentence for a person, what this is and what to do; None for OWN
    and MAKER.
    """

    kind: TextKind
    text: str
    code: str | None = None
    maker: gs1.MakersCode | None = None
    says: Sentence | None = None


# What a scanner's `/` and its keys 1 to 9, 0 give on some keyboards. Where digits keep their place
# (German, Spanish, Italian, Nordic …) the code is read as it stands, whatever the punctuation
# became. These are the others; "held" is a scanner that holds Shift down.
_KEYBOARDS = (
    ("!", "&é\"'(-è_çà"),  # French
    ("=", "&é\"'(§è!çà"),  # Belgian, French on a Mac
    ("?", "!@#$%^&*()"),  # US, held
    ("?", '!"£$%^&*()'),  # British, held
    ("_", '!"§$%&/()='),  # German, held
    ("_", '!"·$%&/()='),  # Spanish, held
    ("_", '!"#¤%&/()='),  # Danish, Finnish, Norwegian, Swedish, held
)

# Every key that gives another character on French and Belgian keyboards, and what a US one gives.
_US_KEYS = "1234567890-=qwa;zm,./'!@#$%^&*()_QWA:ZM<>?\""
_AZERTY = (
    "&é\"'(-è_çà)=azqmw,;:!ù1234567890°AZQMW?./§%",
    "&é\"'(§è!çà)-azqmw,;:=ù1234567890°AZQMW?./+%",
)

# An address of any host that ends in a slash, L, the same slash and eight characters; the slash and
# the colon may have become anything.
_ADDRESS = re.compile(
    r"https?.+(?P<slash>[^A-Za-z0-9])L(?P=slash)(?P<code>[^\s]{8})(?P=slash)?(?:[?#].*)?$",
    re.I | re.S,
)
_LINK = re.compile(r"(?:https?://|www\.)(?P<host>[^/?#\s]*)", re.I)
_CONTACT = re.compile(r"begin:vcard|mecard:|bizcard:", re.I)
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1c\x7f\ufffd]")

CHECK_THE_CODE = say("Check the code: one of its characters is wrong.")


def resolve(text: str, *, today: date, from_gs1_symbol: bool = False) -> ResolvedText:
    """Tell what `text` is. `today` fixes the century of a maker's dates.

    `from_gs1_symbol`: the text was read from a picture, from a symbol marked as GS1, with FNC1 in
    it as GS (0x1D). A kit's name may look like a mistyped code: look for names before refusing
    an OWN_WRONG.
    """
    if not (plain := text.strip(" \t\r\n\x00\ufeff")):
        return ResolvedText(TextKind.EMPTY, text, says=say("No code was found."))
    own = set() if from_gs1_symbol else _own_codes(plain)
    if len(own) == 1:
        return ResolvedText(TextKind.OWN, text, code=own.pop())
    foreign = _foreign(plain)
    if foreign and foreign[0] is not TextKind.LINK:
        return ResolvedText(foreign[0], text, says=foreign[1])
    maker = _makers(plain, today, from_gs1_symbol)
    if isinstance(maker, gs1.MakersCode):
        return ResolvedText(TextKind.MAKER, text, maker=maker)
    if mistyped := _mistyped(plain):
        return ResolvedText(TextKind.OWN_WRONG, text, code=mistyped, says=CHECK_THE_CODE)
    if foreign:
        return ResolvedText(foreign[0], text, says=foreign[1])
    if maker.field != "code" or from_gs1_symbol:
        return ResolvedText(TextKind.MAKER_WRONG, text, says=maker.says)
    kind, sentence = (
        (
            TextKind.BINARY,
            say("This code contains data that is not text, so it is not one of our labels."),
        )
        if _CONTROL.search(plain)
        else (TextKind.OTHER, say("This is neither one of our labels nor a maker’s code."))
    )
    return ResolvedText(kind, text, says=sentence)


def _own_codes(text: str) -> set[str]:
    """Return the valid codes that the text can be: one, or none, or more where it is unclear."""
    if address := _ADDRESS.match(text):
        return _read_code(address["code"], address["slash"])
    return _read_code(text, None) if len(text) <= label_codes.LENGTH + 3 else set()


def _read_code(written: str, slash: str | None) -> set[str]:
    if as_it_is := label_codes.parse(written):
        return {as_it_is}
    tables = (
        str.maketrans(digits + digits.upper(), "1234567890" * 2)
        for its_slash, digits in _KEYBOARDS
        if slash in (None, its_slash)
    )
    return {code for keys in tables if (code := label_codes.parse(written.translate(keys)))}


def _mistyped(text: str) -> str | None:
    """Return the 8 characters of what was meant as one of our codes, or None."""
    address = _ADDRESS.match(text)
    code = label_codes.bare(address["code"] if address else text)
    strangers = sum(character not in label_codes.ALPHABET for character in code)
    if len(code) != label_codes.LENGTH or not code.isascii() or strangers > 1:
        return None
    return code


def _foreign(text: str) -> tuple[TextKind, Sentence] | None:
    if link := _LINK.match(text):
        return TextKind.LINK, say(
            "This is a web link to %(host)s, not one of our labels.", host=link["host"][:60]
        )
    if text[:5].upper() == "WIFI:":
        return TextKind.WIFI, say(
            "This code is for joining a wireless network; it is not one of our labels."
        )
    if _CONTACT.match(text):
        return TextKind.CONTACT, say("This is somebody’s contact card, not one of our labels.")
    return None


def _makers(text: str, today: date, from_gs1_symbol: bool) -> gs1.MakersCode | gs1.MakersCodeError:
    """Read a maker's code as it stands, or else as typed on a French or Belgian keyboard."""
    try:
        return gs1.parse(text, today=today, fnc1_kept=from_gs1_symbol)
    except gs1.MakersCodeError as error:
        if not from_gs1_symbol and not re.search(r"\d{4}", text):
            for keys in _AZERTY:
                try:
                    return gs1.parse(text.translate(str.maketrans(keys, _US_KEYS)), today=today)
                except gs1.MakersCodeError:
                    continue
        return error
