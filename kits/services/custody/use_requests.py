"""Asking whoever had kits what they used: one link for all of theirs, which needs no account and
takes one answer a kit.

The link holds which time with a kit it was made for, signed by this program; it expires.
It leads to all that the same person handed back and has not answered for, of kits at home in the
rooms of whoever made it. The key of an answer
follows from the time with the kit, signed as well, so the record itself takes one answer and no
second, and nobody else can write under it first.
An answer is a report. Where somebody has sorted the kit since, their result counts: the report
stays on record with its text and moves nothing, and the kit's people get a notice.
"""

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta

from django.core import signing
from django.db.models import F, Max, Q, QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import SYSTEM, Act, Actor, AlreadyAnswered, NotFound, one, secret_key
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped
from kits.models import Checkout, Entry, EntryKind, Kit, WithheldKind
from kits.rules.ledger.reasons import ReasonCode
from kits.services.custody import use
from kits.services.custody.returns import Remarks, write_remarks
from kits.services.kits import holds
from kits.services.ledger import Book, LooseLevel, kit_book
from kits.services.ledger.kit_state import CLOSED
from kits.services.lookup import find
from kits.services.notices import notice_text, writing

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
class UseAnswer:
    """What came of an answer: the entry, and whether the kit had been sorted before it."""

    entry: Entry
    sorted_before: bool


def latest(actor: Actor, kit: Kit) -> Checkout | None:
    """The last time that somebody whom the actor may see had a kit, whole; None where nobody had it
    or they answered already."""
    held = (
        Checkout.objects.select_related("person", "trip", "closed_by")
        .of_whole_kits()
        .not_undone()
        .filter(kit=kit, person__isnull=False)
        .order_by("-id")
        .first()
    )
    if held is None or held.person_id is None or is_answered(held):
        return None
    visible = find.people_of(actor).filter(pk=held.person_id)
    return held if find.knows_kit(actor, kit) or visible.exists() else None


def use_is_known(kit: Kit) -> bool:
    """Whether use was recorded since the kit was handed back last (with it, too)."""
    entries = Entry.objects.filter(kit=kit)
    back = _newest(entries.filter(kind=EntryKind.CHECK_IN)).get(kit.pk, 0)
    return _newest(entries.filter(kind=EntryKind.USE)).get(kit.pk, -1) >= back


def token(held: Checkout, actor: Actor = SYSTEM) -> str:
    """What a link holds that somebody makes: letters, digits and punctuation that an address
    takes as they are. It leads no further than what they may see."""
    rooms = None if actor.everywhere else sorted(actor.room_ids)
    return signing.dumps([held.pk, rooms], salt=_SALT)


def times_of_person(actor: Actor, held: Checkout) -> list[Checkout]:
    """A time with a kit, and the others of the same person that its link leads to."""
    others = open_for([held.person_id or 0]).get(held.person_id or 0, [])
    return [held, *(each for each in others if each != held and find.knows_kit(actor, each.kit))]


def open_for(people: Iterable[int]) -> dict[int, list[Checkout]]:
    """By person (id), the times with kits that they can still be asked about: handed back other
    than closed, waiting to be sorted, and without recorded use. The oldest first; the number
    of queries does not grow with them."""
    held = list(
        Checkout.objects.select_related("kit__home_room", "person", "trip")
        .of_whole_kits()
        .not_undone()
        .filter(
            person__in=list(people),
            in_at__gte=clock.now() - WITHIN,
            kit__to_sort_since__isnull=False,
        )
        .exclude(as_found__in=CLOSED)
        .order_by("in_at", "id")
    )
    answered = set(_answers(held).values_list("checkout", flat=True))
    kits = {each.kit_id for each in held}
    used = _newest(Entry.objects.filter(kit__in=kits, kind=EntryKind.USE))
    back = _newest(Entry.objects.filter(kit__in=kits, kind=EntryKind.CHECK_IN))
    return grouped(
        (each.person_id or 0, each)
        for each in held
        if back.get(each.kit_id) == each.closed_by_id  # its newest time
        and used.get(each.kit_id, 0) < (each.closed_by_id or 0)
        and each.pk not in answered
    )


def _newest(entries: QuerySet[Entry]) -> dict[int | None, int]:
    rows = entries.filter(reversed_by__isnull=True).values_list("kit").annotate(newest=Max("id"))
    return dict(rows.order_by())


def people_to_ask(actor: Actor, room: Room) -> list[list[Checkout]]:
    """Whom to ask about kits that stand in a room or are at home there: each their times with kits
    (see `open_for`) that somebody may see, by name."""
    waiting = Kit.objects.filter(Q(room=room) | Q(home_room=room), to_sort_since__isnull=False)
    had = Checkout.objects.filter(kit__in=waiting, person__isnull=False, in_at__isnull=False)
    of_room = set(waiting.values_list("pk", flat=True))
    people = open_for(had.values_list("person", flat=True).distinct())
    visible = (
        [each for each in held if find.knows_kit(actor, each.kit)] for held in people.values()
    )
    return sorted(
        [held for held in visible if any(each.kit_id in of_room for each in held)],
        key=lambda held: (held[0].person.name if held[0].person else "", held[0].pk),
    )


def times_of_link(link: str) -> list[Checkout]:
    """The times with kits that a link is about and that have no answer yet: the one that it was
    made for, and all others of the same person (see `open_for`).

    Raises NotFound for one that was not made here, Refused: `link-too-old`, `told-already`.
    """
    expired = _("This link has expired. Tell a keeper what was used.")
    made_for = notice_text.read_link(link, _SALT, WITHIN, expired)
    # A link that was sent before they named rooms leads to that one time alone.
    pk, rooms = made_for if isinstance(made_for, list) else (made_for, [])
    checkouts = Checkout.objects.select_related(
        "kit__home_room", "kit__room", "kit__list_version", "person", "trip", "closed_by"
    ).defer("kit__list_version__signed_page")
    held = one(checkouts.not_undone().filter(pk=pk), "link", link[:20])
    times = open_for([held.person_id]).get(held.person_id, []) if held.person_id else []
    times = [t for t in times if t == held or rooms is None or t.kit.home_room_id in rooms]
    if held not in times and not is_answered(held):
        times = [held, *times]
    if not times:
        raise _answered_already(held)
    return times


def is_answered(held: Checkout) -> bool:
    """Whether the link of a time with a kit was answered."""
    return _answers([held]).exists()


def answer(
    held: Checkout,
    used: Sequence[use.UseLine],
    *,
    levels: Sequence[LooseLevel] = (),
    wrong: str = "",
    remarks: Remarks = Remarks(),  # noqa: B008  # frozen
) -> UseAnswer:
    """Record an answer, in the name of whoever had the kit, against the trip they had it for.

    Raises Refused (`told-already`), Invalid.
    """
    act = Act(actor=Actor(person=held.person), key=_key(held), claimed_at=held.in_at)
    if held.person is None:
        raise NotFound("link", held.pk)  # nobody was asked
    act.actor.require("answer_use")
    with kit_book(act, held.kit, *remarks.mixed_with) as (book, kit):
        if is_answered(held):
            raise _answered_already(held)
        done = _sorted_since(held)
        entry = (
            _keep_the_words(book, kit, held, used)
            if done
            else use.write(book, kit, used, levels=levels, checkout=held).entry
        )
        write_remarks(book, kit, remarks, held)
        if wrong:
            holds.withhold_kit(book, kit, WithheldKind.SOMETHING_WRONG, wrong)
    return UseAnswer(entry, done)


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
    text = _("Reported after the kit was sorted, so not removed from its contents: %(used)s.")
    entry = book.post(
        EntryKind.USE,
        kit=kit,
        trip=held.trip,
        checkout=held,
        reason=(text % {"used": words or _("nothing used")})[:500],
        irregular=[ReasonCode.REPORTED_AFTER_SORTING] if used else [],
    )
    if used:
        writing.notify_keepers(entry, "irregular", kit=kit)
    return entry


def _answered_already(held: Checkout) -> AlreadyAnswered:
    return AlreadyAnswered(
        "told-already",
        _(
            "The items used from %(kit)s have already been reported. Thank you. If more was "
            "used, tell a keeper."
        )
        % {"kit": held.kit.name},
    )


def _key(held: Checkout) -> uuid.UUID:
    return secret_key(_SALT, held.pk)


def _answers(times: Sequence[Checkout]) -> QuerySet[Entry]:
    """The answers that were given for times with kits. Before keys were signed anybody could work
    them out, so that one counts only where whoever was asked wrote of that very time."""
    keys = [_key(each) for each in times] + [uuid.uuid5(_KEYS, str(each.pk)) for each in times]
    return Entry.objects.filter(
        key__in=keys,
        kind=EntryKind.USE,
        checkout__in=[each.pk for each in times],
        person=F("checkout__person"),
    )
