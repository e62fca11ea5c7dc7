"""What a form's fields say, as the values that services take. A wrong one raises Invalid with a
sentence that names it, so that the page can show it beside the form."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from zoneinfo import ZoneInfo

from django.utils.dateparse import parse_date, parse_datetime
from django.utils.translation import gettext as _

from gearroom.core.acts.problems import Invalid, printable

MOST_UNITS = 1_000_000


def words(said: Mapping[str, str], name: str, most: int = 300) -> str:
    """A line of text without spaces at its ends; what is over `most` characters is cut off."""
    return said.get(name, "").strip()[:most]


def whole(
    said: Mapping[str, str], name: str, *, least: int = 0, most: int = MOST_UNITS, what: str = ""
) -> int:
    """A whole number from `least` to `most`. Nothing said is a wrong number too."""
    text = said.get(name, "").strip()
    if text.isascii() and text.isdigit() and len(text) < 10 and least <= int(text) <= most:
        return int(text)
    told = {"what": what or name, "text": printable(text), "least": least, "most": most}
    raise Invalid(
        _("%(what)s: “%(text)s” is not valid. Enter a whole number from %(least)d to %(most)d.")
        % told,
        field=name,
    )


def one_more(text: str) -> str:
    """One more than a field says; one, where it says no number."""
    return str(int(text) + 1 if text.isdecimal() and len(text) < 8 else 1)


def day(said: Mapping[str, str], name: str, what: str = "") -> date | None:
    """A day; None where nothing was said."""
    text = said.get(name, "").strip()
    if not text:
        return None
    try:
        found = parse_date(text)
    except ValueError:
        found = None
    if found is None:
        raise Invalid(
            _("%(what)s: enter a day as year, month and day, such as 2026-05-31.")
            % {"what": what or name},
            field=name,
        )
    return found


def instant(said: Mapping[str, str], name: str, zone: str, what: str = "") -> datetime:
    """A day and a time as a clock in `zone` (IANA) shows them, in this century or the next."""
    text = said.get(name, "").strip()
    try:
        found = parse_datetime(text)
    except ValueError:
        found = None
    if found is None or not 2000 <= found.year < 2200:
        raise Invalid(
            _("%(what)s: enter a day and a time, such as 2026-05-31 08:30.")
            % {"what": what or name},
            field=name,
        )
    return found if found.tzinfo else found.replace(tzinfo=ZoneInfo(zone))


def money(said: Mapping[str, str], name: str, what: str = "") -> Decimal | None:
    """An amount of money; None where nothing was said. A comma is a decimal point too."""
    text = said.get(name, "").strip().replace(",", ".")
    if not text:
        return None
    try:
        amount = Decimal(text)
    except InvalidOperation:
        amount = Decimal("NaN")
    if not amount.is_finite() or amount < 0 or amount >= Decimal(10) ** 9:
        raise Invalid(
            _("%(what)s: “%(text)s” is not a price. Enter an amount such as 12.50.")
            % {"what": what or name, "text": printable(text)},
            field=name,
        )
    return amount
