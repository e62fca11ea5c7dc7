"""Kits, lists, items and batches as they were known at an instant.

Rows are overwritten when a kit is edited, a list signed again, an item renamed; their former values
are in entries and facts. Instances given here get the values of then: they are for showing and
judging, and are not saved.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from django.db.models import Q, QuerySet

from gearroom.core import clock
from gearroom.core.rules.grouping import grouped
from kits.models import (
    Entry,
    EntryKind,
    Item,
    ItemFact,
    Kit,
    Lot,
    PackingListVersion,
    Recall,
    SignatureFact,
    WithheldFact,
)
from kits.models.details import FollowListDetail, KitDetail
from kits.rules.recalls.certainty import Outcome
from kits.services.ledger import facts, lots

_BEGINNING = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Then:
    """An instant, and by when what is given of it was known."""

    on: datetime
    known_by: datetime

    def later(self, kit: Kit) -> QuerySet[Entry]:
        """A kit's entries that happened after it or were not known yet, oldest first."""
        then = Q(occurred_at__lte=self.on, recorded_at__lte=self.known_by)
        return Entry.objects.filter(kit=kit).exclude(then).order_by("id")


# -------------------------------------------------------------------------------------------- kits
def version_id(kit: Kit, then: Then) -> int:
    """The version of a list that a kit followed: what the first later change replaced."""
    change = then.later(kit).filter(kind=EntryKind.FOLLOW_LIST).first()
    return change.detail_as(FollowListDetail)["from"] if change else kit.list_version_id


def version(kit: Kit, then: Then, day: date) -> PackingListVersion:
    """The version that a kit followed, with the signature that counted on a day: the latest known
    that had been given by that day, else the latest known."""
    followed = (
        PackingListVersion.objects.select_related("packing_list")
        .defer("signed_page")
        .get(pk=version_id(kit, then))
    )
    signatures = list(followed.signature_facts.select_related("signed_by").order_by("id"))
    if not signatures:  # its signature has never been overwritten
        return followed
    known = [fact for fact in signatures if fact.recorded_at <= then.known_by]
    given = [fact for fact in known if fact.signed_on <= day]
    signed = next(reversed(given or known), None)
    for name in ("signed_by", "signed_on", "signed_until"):
        setattr(followed, name, getattr(signed, name, None))
    return followed


def remember_signature(version: PackingListVersion, at: datetime | None = None) -> None:
    """Write down a version's signature, where it is not what was written last: as known from `at`
    on (None: from the beginning)."""
    if version.signed_by is None or version.signed_on is None or version.signed_until is None:
        return
    last = version.signature_facts.order_by("-id").first()
    signed = (version.signed_by_id, version.signed_on, version.signed_until)
    if last is None or (last.signed_by_id, last.signed_on, last.signed_until) != signed:
        SignatureFact.objects.create(
            version=version,
            signed_by=version.signed_by,
            signed_on=version.signed_on,
            signed_until=version.signed_until,
            recorded_at=at or _BEGINNING,
        )


def of_kit(kit: Kit, then: Then) -> dict[str, Any]:
    """A kit's `name`, `responsible` (a person's id) and `look_interval_days`."""
    known = {
        "name": kit.name,
        "responsible": kit.responsible_id,
        "look_interval_days": kit.look_interval_days,
    }
    for edit in reversed(then.later(kit).filter(kind=EntryKind.KIT, detail__what="edited")):
        changed = edit.detail_as(KitDetail)["changed"]
        known |= {name: before for name, (before, _after) in changed.items() if name in known}
    return known


# ------------------------------------------------------------------------------------------- items
_COLUMNS = (
    "name",
    "kind",
    "needs_date",
    "sterile",
    "by_eye",
    "opened_life_days",
    "check_question",
    "goes_with_id",
)


def remember(item: Item) -> None:
    """Write down what is on record of an item, where that is not what was written last. What is
    written first counts from the beginning."""
    instead = sorted(item.substitutes.values_list("instead", flat=True))
    values = {**{name: getattr(item, name) for name in _COLUMNS}, "instead": instead}
    last = item.facts.order_by("-id").first()
    if last is None or last.said != values:
        at = _BEGINNING if last is None else clock.now()
        ItemFact.objects.create(item=item, said=values, recorded_at=at)


def restore(items: Iterable[Item], known_by: datetime) -> dict[int, frozenset[int]]:
    """Give items the values that were known of them; the ids of what did instead of each."""
    rows = grouped((item.pk, item) for item in items)
    instead: dict[int, frozenset[int]] = {}
    for fact in ItemFact.objects.filter(item__in=rows, recorded_at__lte=known_by).order_by("id"):
        instead[fact.item_id] = frozenset(fact.said["instead"])
        for item in rows[fact.item_id]:
            for name in _COLUMNS:
                setattr(item, name, fact.said.get(name))
    return instead


# ----------------------------------------------------------------------------------------- batches
def recalled(numbers: Mapping[Lot, str], then: Then) -> frozenset[int]:
    """The batches, each with its number as it was known, that a recall was about that its maker had
    not withdrawn."""
    began = Recall.objects.filter(
        item__in={lot.item_id for lot in numbers},
        entry__occurred_at__lte=then.on,
        entry__recorded_at__lte=then.known_by,
    )
    recalls = {recall.pk: recall for recall in began.order_by("id")}
    ended = Entry.objects.filter(
        kind__in=(EntryKind.RECALL, EntryKind.RECALL_CLOSE),
        detail__recall__in=list(recalls),
        occurred_at__lte=then.on,
        recorded_at__lte=then.known_by,
    )
    withdrawn = {
        entry.detail["recall"]: entry.detail.get("outcome") == Outcome.WITHDRAWN
        for entry in ended.order_by("id")  # the last one counts: it may have been followed again
    }
    blocking = [recall for pk, recall in recalls.items() if not withdrawn.get(pk)]
    return frozenset(
        lot.pk
        for lot, number in numbers.items()
        if any(lot.item_id == r.item_id and lots.is_about(r, number) for r in blocking)
    )


def withheld(kit: Kit, lot_ids: Iterable[int], then: Then) -> tuple[list[str], frozenset[int]]:
    """Why a kit was on hold, and which of these batches were."""
    about = Q(kit=kit) | Q(lot__in=list(lot_ids))
    on_hold = facts.on_hold(WithheldFact.objects.filter(about, facts.then(then.on, then.known_by)))
    return (
        [kind for of, _lot, kind in on_hold if of == kit.pk],
        frozenset(lot for _kit, lot, _kind in on_hold if lot is not None),
    )
