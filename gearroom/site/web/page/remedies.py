"""Which page or act settles what keeps a kit from being ready."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from urllib.parse import urlencode

from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core.models import Person
from kits.models import Kit, WithheldKind
from kits.rules.ledger import OF_LINES, Reason, ReasonCode, Verdict, Word

_CHECKS = frozenset({ReasonCode.CHECK_DUE, ReasonCode.CHECK_NOT_ANSWERED})


@dataclass(frozen=True)
class Settle:
    """What to press: a link, or a form's button where it is one act, with the fields it sends."""

    label: str
    url: str
    act: bool = False
    fields: Mapping[str, str] = field(default_factory=dict)
    of_list: bool = False
    """It is done on the page of the kit list."""


def settle(kit: Kit, person: Person | None, verdict: Verdict) -> Settle:
    """The one thing to do now for a kit that waits to go out; to whom, where that is known."""
    goes = verdict.fit or verdict.word is Word.NOT_SET_UP
    if goes and person is not None:
        out = {"intent": "check-out", "text": kit.name}
        return Settle(_("Take out"), reverse("scan"), act=True, fields=out)
    if goes:
        return Settle(_("Take out"), reverse("scan") + "?" + urlencode({"text": kit.name}))
    return settle_reason(kit, verdict.reasons[0])


def hand_back(kit: Kit) -> Settle:
    """For a kit that is out and wanted here."""
    return Settle(_("Hand back"), reverse("hand-back", args=[kit.name]))


def settle_verdict(kit: Kit, verdict: Verdict) -> Settle | None:
    """The one thing that settles the worst of what keeps a kit from being ready, if anything
    does: what nobody has entered is counted first."""
    if verdict.word is Word.NOT_SET_UP:
        return Settle(_("Count the contents"), reverse("kit-count", args=[kit.name]))
    if verdict.word is Word.READY:
        return None
    return settle_reason(kit, verdict.reasons[0])


def settle_reason(kit: Kit, reason: Reason) -> Settle:
    """The one thing that settles a reason."""
    match reason.code:
        case ReasonCode.TAKE_OUT:
            return Settle(
                _("Recalled items removed"), reverse("take-out", args=[kit.name]), act=True
            )
        case code if code in OF_LINES and reason.facts.get("cause") in _CHECKS:
            return Settle(_("Check now"), reverse("kit", args=[kit.name]) + "#checks")
        case code if code in OF_LINES:
            return Settle(_("Restock"), reverse("sort", args=[kit.name]))
        case (
            ReasonCode.NOT_LOOKED_INSIDE
            | ReasonCode.DATE_NOT_KNOWN
            | ReasonCode.WAITING_TO_BE_SORTED
        ):
            return Settle(_("Check contents"), reverse("sort", args=[kit.name]))
        case ReasonCode.LIST_NOT_SIGNED | ReasonCode.UNSIGNED_MEDICINE:
            version = kit.list_version
            url = reverse("list-version", args=[version.packing_list_id, version.number])
            return Settle(_("View the kit list"), url, of_list=True)
        case ReasonCode.WITHHELD if reason.facts.get("reason") == WithheldKind.MIXED:
            return Settle(_("Count the kit"), reverse("kit-count", args=[kit.name]))
        case ReasonCode.WITHHELD:
            return Settle(_("Check, then release"), reverse("kit", args=[kit.name]) + "#kept-back")
    return Settle(_("See why"), reverse("kit", args=[kit.name]))
