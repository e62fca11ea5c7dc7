"""A kit that needs attention before it goes: who lets it go, and who gets a notice."""

import hashlib

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Refused
from gearroom.core.models import Person
from kits.models import Checkout, Entry, EntryKind, Kit
from kits.rules.custody.going_short import guide_may
from kits.rules.custody.in_class import goes_to_class, keeps_from_class
from kits.rules.ledger.facts import Verdict, Weight, Word
from kits.services.custody import clearances, offers
from kits.services.notices import WentShort, recipients, writing
from kits.services.text import reason_texts, verdict_texts, wording
from kits.services.trips.purpose import Plan


class MayNotGo(Refused):
    """A kit may not go as it stands, or not without a reason; `offers` are what settles it."""


def permit(act: Act, going: Plan, short_reason: str, cleared_by: Person | None) -> None:
    """Refuse what may not go as it stands, or only with a reason of somebody who may give one, or
    only once somebody who may has cleared it by telephone.

    Raises Refused: `not-fit`, `short-needs-a-reason` (both with `offers`); Unacceptable:
    `may-not-clear`; NotAllowed for a reason of somebody who may not give one.
    """
    kit, verdict = going.kit, going.verdict
    if goes_to_class(training=kit.training, for_trip=going.trip is not None, emergency=False):
        if (kept := keeps_from_class(verdict)) is not None:
            raise _refused(act, going, "not-fit", str(reason_texts.reason(kept)["text"]))
        return
    if verdict.fit or verdict.word is Word.NOT_SET_UP:
        return
    if cleared_by is not None and by_telephone(verdict):
        clearances.refuse_unless_may_clear(kit, cleared_by)
        return
    if not verdict.may_go:
        call = _("Call somebody who is allowed to approve taking the kit, and enter their name.")
        raise _refused(
            act,
            going,
            "not-fit",
            call if verdict.by_phone else str(reason_texts.reason(verdict.reasons[0])["text"]),
        )
    if not short_reason:
        raise _refused(act, going, "short-needs-a-reason", _why(act, kit, verdict))
    if not guide_may(verdict, important_too=kit.home_room.guides_decide_important):
        act.actor.require("check_out_short", kit.room_id)


def by_telephone(verdict: Verdict) -> bool:
    """Whether somebody who may can clear a kit by telephone: only must-have lines below their
    minimum stop it, or it is short."""
    return verdict.by_phone or verdict.word is Word.SHORT


def record(
    entry: Entry, checkout: Checkout, verdict: Verdict, short_reason: str, cleared_by: Person | None
) -> None:
    """Write down, in the transaction of a take-out, who cleared a kit that was not fit, or tell
    its keepers that it went short."""
    if verdict.fit or verdict.word is Word.NOT_SET_UP:
        return
    if cleared_by is not None and by_telephone(verdict):
        if cleared_by in offers.clearers(checkout.kit):
            clearances.record(entry, checkout, cleared_by, verdict)
    elif short_reason:
        _tell(entry, checkout.kit, verdict)


# ------------------------------------------------------------------------------------------- inside
def _refused(act: Act, going: Plan, code: str, more: str) -> MayNotGo:
    kit, verdict = going.kit, going.verdict
    offered = offers.offers(act.actor, kit, verdict, trip=going.trip, person=going.person)
    sentence = _("%(kit)s, status for %(day)s: %(verdict)s. %(more)s") % {
        "kit": kit.name,
        "day": wording.day(verdict.through),
        "verdict": verdict_texts.verdict(verdict),
        "more": more,
    }
    return MayNotGo(
        code,
        sentence,
        kit=kit.name,
        through=verdict.through.isoformat(),
        reasons=[reason_texts.reason(r) for r in verdict.reasons],
        offers=offers.as_values(act.actor, kit, offered),
    )


def _why(act: Act, kit: Kit, verdict: Verdict) -> str:
    return (
        _("Enter the reason for taking the kit out anyway.")
        if offers.may_decide(act.actor, kit, verdict)
        else _(
            "A keeper or an instructor can give a reason for taking the kit out as it is, or "
            "approve it by phone."
        )
    )


def _tell(entry: Entry, kit: Kit, verdict: Verdict) -> None:
    """Tell the kit's people, but for whoever let it go, once for the same lack: until something is
    put in or counted, it is the same."""
    short = [r for r in verdict.reasons if r.weight is Weight.SHORT]
    filled = Entry.objects.filter(
        kit=kit,
        kind__in=(EntryKind.RESTOCK, EntryKind.COUNT, EntryKind.BUILD),
        reversed_by__isnull=True,
    )
    last = filled.order_by("-pk").values_list("pk", flat=True).first() or 0
    causes = sorted(f"{r.code}:{r.facts.get('line')}" for r in short)
    digest = hashlib.sha256("|".join(causes).encode()).hexdigest()[:16]
    people = recipients.Keepers().of_kit(kit)
    writing.notify(
        [p for p in people if p.pk != entry.person_id],
        "went-short",
        f"short:{kit.pk}:{last}:{digest}",
        entry=entry,
        kit=kit,
        facts=WentShort(short=[clearances.lack(r) for r in short]),
    )
