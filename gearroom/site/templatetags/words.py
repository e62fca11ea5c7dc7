"""The pages' words for values of the rules' vocabularies, and what a form said."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from django import template
from django.utils import formats

from gearroom.core import clock
from gearroom.core.models import Room
from gearroom.site.web.page import words
from kits.services.text import wording
from kits.services.text.planning import rate_texts

register = template.Library()


@register.filter
def field(sent: Mapping[str, str] | None, name: str) -> str:
    """What a form said in a field whose name a template cannot write."""
    return sent.get(name, "") if sent else ""


@register.filter
def priority(criticality: str) -> str:
    """How much a line matters, in a word."""
    return str(words.CRITICALITIES[criticality])


@register.filter
def hazard(slug: str) -> str:
    """A hazard in words."""
    return str(words.HAZARDS[slug])


@register.filter
def money(amount: Decimal | None, currency: str = "") -> str:
    """An amount with two decimals and its currency's code (ISO 4217)."""
    if amount is None:
        return ""
    return f"{formats.number_format(amount, decimal_pos=2)} {currency}".strip()


@register.filter
def word(name: str | None) -> str:
    """A need's or an activity's name, or a hazard's reason, in words; empty for none."""
    return rate_texts.word(name) if name else ""


register.filter(wording.disposal)


@register.filter
def today(room: Room | None) -> date:
    """The day that it is in a room; in UTC without one."""
    return clock.today(room.time_zone if room else "UTC")
