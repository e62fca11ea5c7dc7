"""Fields that bodies and queries of several views share, with the bounds that the schema says."""

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.fields import empty

from gearroom.core.api.requests.serializers import INSTANT, YEARS_FORM
from gearroom.core.rules.years import YEARS
from kits.rules.text.hazards import HAZARDS, MEANINGS

HAZARDS_HELP = "; ".join(f"`{hazard}`: {meaning}" for hazard, meaning in MEANINGS.items()) + "."
"""What the hazards mean, for the schema."""


def gtin_field(**more: Any) -> serializers.RegexField:
    """A maker's pack code (GS1 General Specifications 3.3): 8, 12, 13 or 14 digits, typed with
    spaces or dashes or without. Its last digit is checked later."""
    sentence = _("This must be a GTIN: 8, 12, 13 or 14 digits, as printed below the barcode.")
    more.setdefault("help_text", "8, 12, 13 or 14 digits, with or without spaces or hyphens.")
    form = r"^[0-9]([ -]?[0-9]){7}(([ -]?[0-9]){4,6})?$"
    return serializers.RegexField(form, max_length=30, error_messages={"invalid": sentence}, **more)


def price_field(**more: Any) -> serializers.DecimalField:
    """An amount of money of 0 or more, with at most two decimals."""
    return serializers.DecimalField(12, 2, min_value=Decimal(0), **more)


def currency_field(*, required: bool = False) -> serializers.RegexField:
    """Three capitals of ISO 4217; unless required, empty where there is no price."""
    empty_too = _("This must be three capital letters, such as GBP, or be left empty.")
    return serializers.RegexField(
        r"^[A-Z]{3}$" if required else r"^([A-Z]{3})?$",
        max_length=3,
        required=required,
        allow_blank=not required,
        help_text="The currency of the price, such as GBP.",
        error_messages={
            "invalid": _("This must be three capital letters, such as GBP.")
            if required
            else empty_too
        },
    )


def hazards_field() -> serializers.ListField:
    """Hazards of a trip or a kit list, each of `kits.rules.text.hazards`."""
    child = serializers.ChoiceField(list(HAZARDS))
    return serializers.ListField(
        child=child, default=list, max_length=len(HAZARDS), help_text=HAZARDS_HELP
    )


@extend_schema_field(
    {
        "anyOf": [
            {"type": "string", "format": form, "pattern": YEARS_FORM}
            for form in ("date", "date-time")
        ]
    }
)
class DayOrInstantField(serializers.CharField):
    """A day, or a time with its offset, of the years that dates may be in."""

    default_error_messages = {
        "when": _(
            "Enter a day, such as 2026-05-31, or a time with its UTC offset, such as "
            "2026-05-31T08:15:00+01:00. The year must be from %(which)s to %(which_2)s."
        )
    }

    def __init__(self, **more: Any) -> None:
        super().__init__(max_length=40, **more)

    def run_validation(self, data: Any = empty) -> Any:
        """The date or the datetime; raises ValidationError."""
        text = super().run_validation(data)
        try:
            read = date.fromisoformat(text) if len(text) == 10 else _instant(text)
        except ValueError:
            read = None
        if read is None or read.year not in YEARS:
            raise serializers.ValidationError(
                self.default_error_messages["when"] % {"which": YEARS[0], "which_2": YEARS[-1]}
            )
        return read


def _instant(text: str) -> datetime | None:
    return parse_datetime(text) if INSTANT.fullmatch(text) else None
