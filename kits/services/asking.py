"""Asking whoever had a kit what they used: a link that needs no account and works once.

The link says which time with the kit it is about, signed by this program; it ends after a while.
The key of the answer follows from that time too, so the book itself takes one answer and no second.
What is told is a report. Where somebody has sorted the kit since, the book follows what they found:
the report is kept with its words and moves nothing, and the kit's people are told.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from django.core import signing
from django.utils.translation import gettext as _

from gearroom.core.act import Act, Actor
from gearroom.core.problems import NotFound, Refused
from kits.models import Checkout, Entry, EntryKind, Kit, WithheldKind
from kits.rules.irregular import Broken
from kits.services import keeping, notices, use
from kits.services.ledger import Book

WITHIN = timedelta(days=14)
"""How long a link may be answered."""

_SALT = "kits.what-was-used"
_KEYS = uuid.UUID("6b1c7d0e-6c5e-4f5f-9d6e-0d2f4a6f1b53")
_SORTED = (
    EntryKind.LOOK_INSIDE,
    EntryKind.RESTOCK,
    EntryKind.COUNT,
    EntryKind.BUILD,
    EntryKind.STRIP,
)


@dataclass(frozen=True)
class Told:
    """What came of an answer: the entry, and whether the kit had been sorted before it."""

    entry: Entry
    sorted_before: bool


def latest(kit: Kit) -> Checkout | None:
    """The last time that somebody who is named had a kit, whole; None where nobody had it or they
    told what they used already."""
    held = (
        Checkout.objects.select_related("person", "trip", "closed_by")
        .filter(kit=kit, section__isnull=True, undone__isnull=True, person__isnull=False)
        .order_by("-id")
        .first()
    )
    return held if held is not None and not was_told(held) else None


def use_is_known(kit: Kit) -> bool:
    """Whether use was written down or told since the kit was handed back last (with it, too)."""
    back = Entry.objects.filter(kit=kit, kind=EntryKind.CHECK_IN, reversed_by__isnull=True)
    newest = back.order_by("-id").values_list("pk", flat=True).first() or 0
    told = Entry.objects.filter(kit=kit, kind=EntryKind.USE, reversed_by__isnull=True)
    return told.filter(pk__gte=newest).exists()


def token(held: Checkout) -> str:
    """What the link says: of letters, digits and punctuation that an address takes as they are."""
    return signing.dumps(held.pk, salt=_SALT)


def asked(said: str) -> Checkout:
    """Which time with a kit a link is about.

    Raises NotFound for one that was not made here, Refused: `link-too-old`, `told-already`.
    """
    try:
        pk = signing.loads(said, salt=_SALT, max_age=WITHIN)
    except signing.SignatureExpired:
        raise Refused(
            "link-too-old",
            _("This link has ended. Tell whoever looks after the kits what was used."),
        ) from None
    except signing.BadSignature:
        raise NotFound("link", said[:20]) from None
    held = (
        Checkout.objects.select_related(
            "kit__home_room", "kit__room", "kit__list_version", "person", "trip", "closed_by"
        )
        .defer("kit__list_version__signed_page")
        .filter(pk=pk, undone__isnull=True)
        .first()
    )
    if held is None:
        raise NotFound("link", said[:20])
    if was_told(held):
        raise _told_already(held)
    return held


def was_told(held: Checkout) -> bool:
    """Whether the link of a time with a kit was answered."""
    return Entry.objects.filter(key=_key(held)).exists()


def tell(
    held: Checkout,
    used: Sequence[use.UseLine],
    *,
    levels: Sequence[use.LevelSeen] = (),
    wrong: str = "",
) -> Told:
    """Write what somebody says they used, in their name, against the trip they had the kit for.

    Raises Refused (`told-already`), Invalid.
    """
    act = Act(actor=Actor(person=held.person), key=_key(held), claimed_at=held.in_at)
    if held.person is None:
        raise NotFound("link", held.pk)  # nobody was asked
    with Book(act) as book:
        (kit,) = book.lock(held.kit_id)
        if was_told(held):
            raise _told_already(held)
        done = _sorted_since(held)
        if done:
            entry = _keep_the_words(book, kit, held, used)
        else:
            entry = use.write(book, kit, used, levels=levels, checkout=held).entry
        if wrong:
            keeping.withhold_kit(book, kit, WithheldKind.SOMETHING_WRONG, wrong)
    return Told(entry, done)


def _sorted_since(held: Checkout) -> bool:
    """Whether somebody looked inside, restocked or counted, or wrote down use, since it was handed
    back (with it, for use)."""
    if held.closed_by is None:
        return False
    since = Entry.objects.filter(kit=held.kit_id, pk__gte=held.closed_by_id)
    since = since.filter(reversed_by__isnull=True)
    since = since.exclude(kind=EntryKind.RESTOCK, detail__looked_inside=False)  # adding one line
    used = since.filter(kind=EntryKind.USE, movements__isnull=False)
    return since.filter(kind__in=_SORTED).exists() or used.exists()


def _keep_the_words(book: Book, kit: Kit, held: Checkout, used: Sequence[use.UseLine]) -> Entry:
    words = ", ".join(f"{line.units} × {line.item.name}" for line in used)
    told = _("Told after it was sorted, not taken from the book: %(used)s.")
    entry = book.post(
        EntryKind.USE,
        kit=kit,
        trip=held.trip,
        checkout=held,
        reason=(told % {"used": words or _("nothing used")})[:500],
        irregular=[Broken.TOLD_AFTER_SORTING] if used else [],
    )
    if used:
        notices.tell_keepers(entry, "irregular", kit=kit)
    return entry


def _told_already(held: Checkout) -> Refused:
    return Refused(
        "told-already",
        _(
            "What was used from %(kit)s was told already. Thank you. Tell whoever looks after the"
            " kits if there is more."
        )
        % {"kit": held.kit.name},
    )


def _key(held: Checkout) -> uuid.UUID:
    return uuid.uuid5(_KEYS, str(held.pk))
