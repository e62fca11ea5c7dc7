"""Names and texts as people see them: two that look alike are alike, and none reads otherwise than
it is kept.

What nobody sees is left out: controls of direction, which turn a name round (Unicode Standard Annex
9), characters without width, soft hyphens and fillers. Letters get one form (NFC, Unicode Standard
Annex 15). Kept is what a script needs: joiners between letters that join (RFC 5892, appendix A) and
in pictures made of several, and the form of a picture or of an ideograph.
"""

import unicodedata

_JOINERS = "\u200c\u200d"
_JOINING = ((0x0600, 0x0DFF), (0x1000, 0x109F), (0x1780, 0x18AF))
"""Arabic and its neighbours, the scripts of India, Burmese, Khmer and Mongolian."""
_PICTURES = ((0x2600, 0x27BF), (0x1F000, 0x1FAFF))
_FORMS = ((0xFE00, 0xFE0F), (0xE0100, 0xE01EF))
_INVISIBLE = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0")
"""Those without a look that Unicode counts as letters, marks or symbols."""
_BREAKS = {"\u2028": "\n", "\u2029": "\n"}


def plain(text: str) -> str:
    """A text in the one form in which it is kept. Line breaks, tabs and other controls stay; who
    takes a line refuses them. Of a plain text it is the text itself."""
    if text.isascii():
        return text
    text = _composed(text)
    kept = ""
    for place, character in enumerate(text):
        if _is_visible(character, kept[-1:], text[place + 1 : place + 2]):
            kept += _BREAKS.get(character, character)
    return _composed(kept)


def _composed(text: str) -> str:
    """NFC, but for the few texts that it makes longer: a bound on their length still holds."""
    result = unicodedata.normalize("NFC", text)
    return result if len(result) <= len(text) else text


def _is_visible(character: str, before: str, after: str) -> bool:
    if character in _JOINERS:
        return _joins(before) and _joins(after)
    if _within(character, _FORMS):
        category = unicodedata.category(before) if before else ""
        return category in ("Lo", "So", "Sk", "Sm", "Po", "Nd")
    return character not in _INVISIBLE and unicodedata.category(character) != "Cf"


def _joins(neighbour: str) -> bool:
    if not neighbour or unicodedata.category(neighbour) == "Cf":
        return False
    return _within(neighbour, (*_JOINING, *_PICTURES, (0xFE0F, 0xFE0F)))


def _within(character: str, ranges: tuple[tuple[int, int], ...]) -> bool:
    return any(first <= ord(character) <= last for first, last in ranges)
