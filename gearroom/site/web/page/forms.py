"""Forms of pages: one way to read what was sent, and the kinds of fields that pages have.

A template writes its inputs by hand; a form says what they may hold, under the same names:

    class MoveForm(PageForm):
        units = WholeNumber(least=1, label=_("How many"))
        reason = ShortText(200)

    stock.move(act, lot, **MoveForm.read(request.POST))

What is wrong is raised as `Invalid`, as services do: a page shows both alike.
"""

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import date, datetime, time
from decimal import Decimal
from enum import Enum
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils.dateparse import parse_date, parse_datetime, parse_time
from django.utils.translation import gettext_lazy as _

from gearroom.core.acts import Invalid, printable

MOST_UNITS = 1_000_000
MOST_ID = 10**18
FOREIGN = _("This form was not sent from this page. Reload the page.")
"""What is wrong with a value that no input of a page sends."""


class PageForm(forms.Form):
    """What a page was sent. `zone` (IANA) is the clock by which its times are read. `row` ends the
    name of every input where a page has the same ones for several things: `units-7`; `labels` name
    fields by what they are of there."""

    def __init__(
        self,
        data: Mapping[str, Any],
        files: Mapping[str, Any] | None = None,
        *,
        zone: str = "UTC",
        row: object = None,
        labels: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(data, files)  # type: ignore[arg-type]  # files are looked up by name only
        self.row = row
        for name, label in (labels or {}).items():
            self.fields[name].label = label
        for field in self.fields.values():
            if isinstance(field, Moment):
                field.zone = ZoneInfo(zone)

    def add_prefix(self, field_name: str) -> str:
        """The name of a field's input."""
        return field_name if self.row is None else f"{field_name}-{self.row}"

    def values(self) -> dict[str, Any]:
        """The value of each field, by its name. Raises Invalid with the first sentence that
        something is wrong, and the name of the input."""
        if self.errors:
            name, messages = next(iter(self.errors.items()))
            raise Invalid(
                str(messages[0]), field=self.add_prefix(name) if name in self.fields else ""
            )
        return self.cleaned_data

    @classmethod
    def read(
        cls, data: Mapping[str, Any], files: Mapping[str, Any] | None = None, **options: Any
    ) -> dict[str, Any]:
        """The values of what was sent (see `values`)."""
        return cls(data, files, **options).values()


@contextmanager
def invalid(field: str = "") -> Iterator[None]:
    """Raise Invalid, of a field, for what the validators of a service refuse."""
    try:
        yield
    except ValidationError as error:
        raise Invalid(" ".join(error.messages), field=field) from None


class _Field(forms.Field):
    """A field that makes its value of a text in `parse`. Whatever is wrong has one sentence
    (`message`, else the field's own), in which `label` names the field. An empty one is `initial`;
    where it is required it is wrong too."""

    def __init__(self, *, message: Any = None, **options: Any) -> None:
        super().__init__(error_messages={"invalid": message} if message else {}, **options)
        self.limits: dict[str, int | Decimal] = {}

    def parse(self, text: str) -> Any:
        """The value that a text stands for; None for one that stands for none, or ValueError,
        ArithmeticError or LookupError."""
        raise NotImplementedError

    def clean(self, value: Any) -> Any:
        """The value, or a ValidationError with the field's sentence."""
        text = (value or "").strip()
        if not text and not self.required:
            return self.initial
        with suppress(ValueError, ArithmeticError, LookupError):
            if (parsed := self.parse(text)) is not None:
                return parsed
        raise ValidationError(
            self.error_messages["invalid"],
            params={"what": self.label, "text": printable(text), **self.limits},
        )


class WholeNumber(_Field):
    """A whole number from `least` to `most`."""

    default_error_messages = {
        "invalid": _(
            "%(what)s: “%(text)s” is not valid. Enter a whole number from %(least)d to %(most)d."
        )
    }

    def __init__(self, *, least: int = 0, most: int = MOST_UNITS, **options: Any) -> None:
        super().__init__(**options)
        self.least, self.most = least, most
        self.limits = {"least": least, "most": most}

    def parse(self, text: str) -> int:
        """Digits, and where it may be negative a minus."""
        text = text.replace("\N{MINUS SIGN}", "-")
        digits = text.removeprefix("-")
        if not (digits.isascii() and digits.isdigit() and len(digits) < 19):
            raise ValueError
        if not self.least <= int(text) <= self.most:
            raise ValueError
        return int(text)


class Day(_Field):
    """A day."""

    default_error_messages = {
        "invalid": _("%(what)s: enter a date as year, month and day, such as 2026-05-31.")
    }

    def parse(self, text: str) -> date | None:
        """As ISO 8601 writes it."""
        return parse_date(text)


class Moment(_Field):
    """A day and a time as a clock in the form's zone shows them, in this century or the next."""

    default_error_messages = {
        "invalid": _("%(what)s: enter a date and a time, such as 2026-05-31 08:30.")
    }
    zone = ZoneInfo("UTC")

    def parse(self, text: str) -> datetime | None:
        """As ISO 8601 writes it, with or without an offset."""
        at = parse_datetime(text)
        if at is None or not 2000 <= at.year < 2200:
            return None
        return at if at.tzinfo else at.replace(tzinfo=self.zone)


class TimeOfDay(_Field):
    """Hours and minutes."""

    def parse(self, text: str) -> time | None:
        """As ISO 8601 writes it."""
        return parse_time(text)


class Money(_Field):
    """An amount of money. A comma is a decimal point too."""

    default_error_messages = {
        "invalid": _("%(what)s: “%(text)s” is not a price. Enter an amount such as 12.50.")
    }

    def parse(self, text: str) -> Decimal:
        """A number from 0 to below a milliard."""
        amount = Decimal(text.replace(",", "."))
        if not amount.is_finite() or not 0 <= amount < 10**9:
            raise ValueError
        return amount


class Number(_Field):
    """A number above 0, at most `most`. A comma is a decimal point too."""

    default_error_messages = {
        "invalid": _("%(what)s: enter a number above 0 and at most %(most)s, such as 1.5.")
    }

    def __init__(self, most: Decimal, **options: Any) -> None:
        super().__init__(**options)
        self.limits = {"most": most}

    def parse(self, text: str) -> Decimal:
        """With at most four digits behind the point."""
        if not re.fullmatch(r"[0-9]{1,6}([.,][0-9]{0,4})?|[.,][0-9]{1,4}", text):
            raise ValueError
        number = Decimal(text.replace(",", "."))
        if not 0 < number <= self.limits["most"]:
            raise ValueError
        return number


class Length(_Field):
    """A length in millimetres, to the micrometre. A comma is a decimal point too."""

    default_error_messages = {
        "invalid": _("%(what)s: enter a length in millimetres, such as 63.5.")
    }

    def parse(self, text: str) -> float:
        """At most four digits before the point and three behind it."""
        text = text.replace(",", ".")
        if not re.fullmatch(r"[0-9]{1,4}(\.[0-9]{0,3})?|\.[0-9]{1,3}", text):
            raise ValueError
        return float(text)


class Choice(_Field):
    """A member of an enumeration, by its value; `initial` where nothing is chosen."""

    default_error_messages = {"invalid": FOREIGN}

    def __init__(self, of: type[Enum], **options: Any) -> None:
        super().__init__(**options)
        self.of = of

    def parse(self, text: str) -> Enum:
        """The member with that value."""
        return self.of(text)


class YesOrNo(_Field):
    """An answer to a question."""

    def parse(self, text: str) -> bool:
        """One of the two words that its buttons send."""
        return {"yes": True, "no": False}[text]


class Line(_Field):
    """A text of at most `most` characters, on one line, with one space between its words."""

    default_error_messages = {"invalid": _("Use at most %(most)d characters.")}

    def __init__(self, most: int, **options: Any) -> None:
        super().__init__(**{"initial": "", **options})
        self.limits = {"most": most}

    def parse(self, text: str) -> str:
        """The text as it is kept."""
        line = " ".join(text.split())
        if not 0 < len(line) <= self.limits["most"]:
            raise ValueError
        return line


class ShortText(forms.CharField):
    """A text without spaces at its ends; what is over `most` characters is cut off."""

    def __init__(self, most: int = 300, **options: Any) -> None:
        super().__init__(**{"required": False, **options})
        self.most = most

    def to_python(self, value: Any) -> str:
        """The text as it is kept."""
        return (super().to_python(value) or "")[: self.most]


class Tick(forms.BooleanField):
    """Whether a box was ticked, or a button pressed."""

    def __init__(self, **options: Any) -> None:
        super().__init__(required=False, **options)


class Several(forms.Field):
    """What was chosen of several, as texts."""

    widget = forms.MultipleHiddenInput

    def __init__(self, **options: Any) -> None:
        super().__init__(required=False, **options)

    def clean(self, value: Any) -> list[str]:
        """Those that are not empty."""
        return [text for text in value or () if text]


def read_field(field: forms.Field, sent: Mapping[str, Any], name: str) -> Any:
    """The value of one input: of a form's only one, or of one whose name depends on what the page
    shows. Raises Invalid."""
    try:
        return field.clean(sent.get(name))
    except ValidationError as error:
        raise Invalid(error.messages[0], field=name) from None


def id_of(text: str) -> int | None:
    """The number of a row that an address or an input names; None for what is none."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else None


def one_more(text: str, most: int = MOST_UNITS) -> str:
    """One more than what was entered; one, where that is no number."""
    return str(min(most, int(text) + 1) if text.isdecimal() and len(text) < 8 else 1)
