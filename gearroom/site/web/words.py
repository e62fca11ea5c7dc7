"""The words that pages have for the values of the rules' vocabularies."""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kits.models import Disposal
from kits.rules.facts import Criticality
from kits.services.wording import HAZARDS, hazards

__all__ = ["CRITICALITIES", "DISPOSALS", "HAZARDS", "hazards"]

CRITICALITIES: dict[str, Promise] = {
    Criticality.ROUTINE: _("routine"),
    Criticality.IMPORTANT: _("important"),
    Criticality.MUST_HAVE: _("must-have"),
}

DISPOSALS: dict[str, Promise] = {
    Disposal.BIN: _("bin"),
    Disposal.SHARPS: _("sharps tub"),
    Disposal.CLINICAL: _("clinical waste"),
    Disposal.PHARMACY: _("pharmacy"),
    Disposal.RETURNED: _("returned to maker"),
}
