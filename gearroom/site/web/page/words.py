"""The words that pages have for the values of the rules' vocabularies."""

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kits.rules.ledger.facts import Criticality, Kind, Level
from kits.services.text.wording import DISPOSALS, HAZARDS, WENT, hazards

__all__ = ["CRITICALITIES", "DISPOSALS", "HAZARDS", "ITEM_KINDS", "LEVELS", "WENT", "hazards"]

CRITICALITIES: dict[str, Promise] = {
    Criticality.ROUTINE: _("routine"),
    Criticality.IMPORTANT: _("important"),
    Criticality.MUST_HAVE: _("must-have"),
}

ITEM_KINDS: dict[str, Promise] = {
    Kind.CONSUMABLE: _("Consumables"),
    Kind.MEDICINE: _("Medicines"),
    Kind.INSTRUMENT: _("Instruments"),
    Kind.TOOL: _("Tools"),
    Kind.DOCUMENT: _("Documents"),
}

LEVELS: dict[str, Promise] = {
    Level.FULL: _("full"),
    Level.LOW: _("low"),
    Level.EMPTY: _("empty"),
}
