"""Offers as somebody pasted them: rows of a spreadsheet, of a CSV file, or lines of a mail.

    Gauze swab 10 × 10 cm<tab>100<tab>4.50 · "Sling","10","£12.00" · plasters, pack of 50, 3,20 €

Every line that is not empty comes out once, in its order. What cannot be made out is left to
whoever pasted it.
"""

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

_SIGNS = {"£": "GBP", "€": "EUR", "$": "USD"}
_MONEY = re.compile(
    r"(?<![\w.,])(?P<sign>[£€$]|[A-Z]{3}\s)?\s*(?P<amount>[0-9]+(?:[.,][0-9]{2})?)\s*"
    r"(?P<after>[£€$]|\b[A-Z]{3}\b)?(?![\w.,]*[0-9])"
)
_PACK = re.compile(
    r"\b(?:pack|box|bag|case|packung|schachtel)s?\s*(?:of|à|a|mit|/)?\s*([0-9]{1,6})\b"
    r"|\b([0-9]{1,6})\s*(?:per|/|pro|in\s+a|je)\s*(?:pack|box|bag|case|packung|schachtel)\b"
    r"|\b([0-9]{1,6})\s*(?:pcs|pieces|stk|stück)\b\.?",
    re.I,
)
_WHOLE = re.compile(r"[0-9]{1,6}")
_EDGES = " \t,;:|–—-"


@dataclass(frozen=True)
class PastedOffer:
    """A line as it was pasted; what it names; how many units a pack has, what it costs and in which
    currency, where it says so (None, empty: it does not)."""

    text: str
    name: str
    units: int | None = None
    price: Decimal | None = None
    currency: str = ""


def offers(text: str) -> list[PastedOffer]:
    """The offers in the lines of a text that are not empty; a row of headings, in which no line
    below has anything like it, is one too, without a price."""
    return [_offer(line.strip()) for line in text.splitlines() if line.strip()]


def _offer(line: str) -> PastedOffer:
    cells = _cells(line)
    return _of_cells(line, cells) if len(cells) > 1 else _of_words(line)


def _cells(line: str) -> list[str]:
    for separator in "\t;":
        if separator in line:
            return [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]
    # A comma with a space is one of a sentence, one before two digits that of an amount.
    if '"' in line or len(re.findall(r",(?!\s|[0-9]{2}\b)", line)) > 1:
        return [cell.strip() for cell in next(csv.reader([line], skipinitialspace=True))]
    return [line]


def _of_cells(line: str, cells: Sequence[str]) -> PastedOffer:
    """By the last cell that is money, and the first that is a whole number besides."""
    price, currency, units = None, "", None
    rest = list(cells)
    for n in reversed(range(1, len(rest))):
        found = _MONEY.fullmatch(rest[n].strip())
        if found and (found["sign"] or found["after"] or not _WHOLE.fullmatch(rest[n])):
            price, currency = _amount(found), _currency(found)
            del rest[n]
            break
    for n in range(1, len(rest)):
        if _WHOLE.fullmatch(rest[n]) and int(rest[n]):
            units = int(rest[n])
            del rest[n]
            break
        if pack := _PACK.search(rest[n]):
            units = _units(pack)
            del rest[n]
            break
    return PastedOffer(line, rest[0].strip(_EDGES) or line, units, price, currency)


def _of_words(line: str) -> PastedOffer:
    """By the last amount with a currency or with decimals."""
    money = [
        found
        for found in _MONEY.finditer(line)
        if found["sign"] or found["after"] or re.search(r"[.,][0-9]{2}$", found["amount"])
    ]
    rest, price, currency = line, None, ""
    if money:
        price, currency = _amount(money[-1]), _currency(money[-1])
        rest = line[: money[-1].start()] + " " + line[money[-1].end() :]
    units = None
    if pack := _PACK.search(rest):
        units = _units(pack)
        rest = rest[: pack.start()] + " " + rest[pack.end() :]
    name = re.sub(r"\s+", " ", re.sub(r"\s*[,;|]\s*(?=[,;|]|$)", "", rest.strip())).strip(_EDGES)
    return PastedOffer(line, name or line, units, price, currency)


def _units(pack: re.Match[str]) -> int | None:
    units = int(next(group for group in pack.groups() if group))
    return units or None


def _amount(found: re.Match[str]) -> Decimal:
    return Decimal(found["amount"].replace(",", "."))


def _currency(found: re.Match[str]) -> str:
    sign = (found["sign"] or found["after"] or "").strip()
    return _SIGNS.get(sign, sign)
