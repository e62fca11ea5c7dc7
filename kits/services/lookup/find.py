"""Finding things by what a person has at hand: a name, a label's code, an id.

A person finds only what is in their rooms; anything else is not there for them.
"""

from collections.abc import Iterable, Sequence

from django.db.models import Q, QuerySet
from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as _lazy

from gearroom.core import clock
from gearroom.core.acts import Actor, Invalid, NotFound, Refused, Unacceptable, one
from gearroom.core.models import Person, Room
from gearroom.core.services.people import people
from kits.models import (
    INNER,
    Checkout,
    Entry,
    EntryKind,
    Item,
    Kit,
    Label,
    LabelKind,
    Location,
    Lot,
    Place,
    Trip,
)
from kits.models.kits import KitQuerySet
from kits.models.labels import LabelQuerySet
from kits.models.stock.places import PlaceQuerySet
from kits.rules.lookup import label_codes, short_names


def label(code: str) -> Label:
    """A label by its code, written in any way. Raises NotFound, or Refused (`label-cancelled`)."""
    labels = Label.objects.select_related("kit", "place", "lot__item", "person", "replaced_by")
    row = one(labels.filter(code=label_codes.parse(code) or ""), "label", code)
    if row.cancelled_at is not None:
        raise cancelled(row, instead=row.replaced_by)
    return row


def cancelled(label: Label, *, instead: Label | None) -> Refused:
    """The refusal that says of a cancelled label what took its place, and what to do."""
    code = label_codes.shown(instead.code) if instead else ""
    return Refused(
        "label-cancelled",
        (
            _(
                "The label %(label)s has been cancelled and replaced by %(instead)s. Remove "
                "the old label, and put a new one on if the item is in use."
            )
            if instead
            else _(
                "The label %(label)s has been cancelled. Remove it, and put a new label on if "
                "the item is in use."
            )
        )
        % {"label": label_codes.shown(label.code), "instead": code},
        label=label_codes.shown(label.code),
        replaced_by=code,
    )


_ON: dict[str, str | Promise] = {
    LabelKind.KIT: _lazy("on a kit"),
    LabelKind.SECTION: _lazy("on a pouch"),
    LabelKind.LOT: _lazy("on a batch"),
    LabelKind.SHELF: _lazy("on a shelf"),
    LabelKind.PERSON: _lazy("a name tag"),
    LabelKind.BLANK: _lazy("on nothing yet"),
}


def on_what(kind: str) -> str:
    """What a label of a kind is on, in people's words."""
    return str(_ON[kind]) if kind in _ON else _("on something else")


def _kits() -> KitQuerySet:
    return Kit.objects.select_related("room", "home_room", "list_version__packing_list").defer(
        "list_version__signed_page"
    )


def kits_of(actor: Actor) -> KitQuerySet:
    """The kits that somebody may see: at home or now in a room of theirs."""
    near = Q(home_room__in=actor.room_ids) | Q(room__in=actor.room_ids)
    return _kits() if actor.everywhere else _kits().filter(near)


def sees_kit(actor: Actor, kit: Kit) -> bool:
    """Whether a kit is one of those that somebody may see (see `kits_of`)."""
    return actor.belongs_to(kit.home_room_id) or actor.belongs_to(kit.room_id)


def knows_kit(actor: Actor, kit: Kit) -> bool:
    """Whether somebody may see all of a kit's story and the people in it: who belongs to the room
    where it is at home. To whoever belongs only to the room where it stands now, it is what is in
    their hands, with what happened to it there (see `entries_of`)."""
    return actor.belongs_to(kit.home_room_id)


def any_kit(ref: str, actor: Actor | None = None) -> Kit:
    """A kit by label code or name, in whatever room: for facts, which anyone may report. With an
    actor also by what is short for the name of one that they may see: *d3* for DAY-03.

    Raises NotFound, Unacceptable (`not-a-kit`), Refused (`which-kit`: several may be meant).
    """
    kits = _kits()
    if (code := label_codes.parse(ref)) is not None:
        of = label(code)
        if of.kind != LabelKind.KIT:
            raise Unacceptable(
                "not-a-kit",
                _("The label %(shown)s is %(on_what)s, not on a kit. Scan the kit’s own label.")
                % {"shown": label_codes.shown(code), "on_what": on_what(of.kind)},
                means=of.kind,
            )
        return kits.get(pk=of.kit_id or 0)
    kit = kits.filter(name__iexact=ref).first()
    intended = [kit] if kit else kits_short_for(actor, ref) if actor else []
    if not intended:
        raise NotFound("kit", ref)
    if len(intended) > 1:
        raise which_kit(ref, intended)
    return intended[0]


def kits_short_for(actor: Actor, typed: str) -> list[Kit]:
    """The kits of the actor's rooms, not retired, that a typed text may be short for, by name."""
    return kits_short_for_each(actor, [typed])[typed]


def names_short_for(actor: Actor, typed: str) -> list[str]:
    """Their names alone, by name. Nothing is read for a text that can be short for none."""
    if len(typed) > LONGEST_SHORT_NAME:
        return []
    return short_names.fitting(typed, kits_of(actor).active().values_list("name", flat=True))


def kits_short_for_each(actor: Actor, texts: Iterable[str]) -> dict[str, list[Kit]]:
    """The kits of several texts, in one query."""
    fitting: dict[str, list[Kit]] = {text: [] for text in texts}
    if short := [text for text in fitting if len(text) <= LONGEST_SHORT_NAME]:
        kits = {kit.name: kit for kit in kits_of(actor).active()}
        fitting |= {
            text: [kits[name] for name in short_names.fitting(text, kits)] for text in short
        }
    return fitting


LONGEST_SHORT_NAME = 40


def which_kit(typed: str, meant: Sequence[Kit]) -> Refused:
    """The refusal that offers the kits that a typed text may be short for."""
    names = [kit.name for kit in meant]
    return Refused(
        "which-kit",
        _("“%(typed)s” could be %(names)s. Which one do you mean?")
        % {"typed": typed, "names": _(" or ").join(names)},
        kits=names,
    )


def kit(actor: Actor, ref: str) -> Kit:
    """A kit of the actor's rooms, by label code or name."""
    row = any_kit(ref, actor)
    if not sees_kit(actor, row):
        raise NotFound("kit", ref)
    return row


def section(of_kit: Kit, key: str) -> Place:
    """A kit's section by its key or name; with an empty key, the only or first one."""
    sections = list(of_kit.sections.open())
    if not key and sections:
        return sections[0]
    for place in sections:
        if key.casefold() in (place.section_key.casefold(), place.name.casefold()):
            return place
    raise Invalid(
        _("%(of_kit)s has no section “%(key)s”. Its sections are: %(names)s.")
        % {"of_kit": of_kit.name, "key": key, "names": ", ".join(p.section_key for p in sections)},
        field="section",
    )


def _id(ref: int | str, kind: LabelKind) -> int:
    """The id that a reference names: of what a label of this kind is on, or itself."""
    if isinstance(ref, int) or (code := label_codes.parse(ref)) is None:
        return _pk(ref)
    of = label(code)
    if of.kind != kind:
        raise Unacceptable(
            "wrong-label",
            _("The label %(shown)s is %(on_what)s. Scan a label that is %(on_what_2)s.")
            % {
                "shown": label_codes.shown(code),
                "on_what": on_what(of.kind),
                "on_what_2": on_what(kind),
            },
            means=of.kind,
        )
    return of.lot_id or of.place_id or of.person_id or 0


def _pk(ref: int | str) -> int:
    if isinstance(ref, int):
        return ref
    return int(ref) if ref.isascii() and ref.isdigit() and len(ref) < 19 else 0


def lot(ref: int | str) -> Lot:
    """A batch by id or by the code of its label. Batches are the organisation's, not a room's."""
    return one(Lot.objects.select_related("item").filter(pk=_id(ref, LabelKind.LOT)), "batch", ref)


def item(ref: int | str) -> Item:
    """A thing by id or exact name."""
    row = Item.objects.filter(pk=_pk(ref)).first() if _pk(ref) else None
    named = Item.objects.filter(name__iexact=ref if isinstance(ref, str) else "")
    if (row := row or named.first()) is None:
        raise NotFound("thing", ref)
    return row


def places_of(actor: Actor) -> PlaceQuerySet:
    """The inner places that somebody may see, with those of the kits they may see."""
    places, rooms = Place.objects.select_related("room", "kit", "location"), actor.room_ids
    near = Q(room__in=rooms) | Q(kit__home_room__in=rooms) | Q(kit__room__in=rooms)
    return places if actor.everywhere else places.filter(near)


def shelf(actor: Actor, ref: int | str) -> Place:
    """A shelf of the actor's rooms by id or by the code of its label."""
    return one(places_of(actor).shelves().filter(pk=_id(ref, LabelKind.SHELF)), "shelf", ref)


def place(actor: Actor, ref: int | str) -> Place:
    """An inner place of the actor's rooms by id, or by a shelf's or section's label."""
    pk = _pk(ref)
    if isinstance(ref, str) and (code := label_codes.parse(ref)) is not None:
        pk = label(code).place_id or 0
    return one(places_of(actor).filter(pk=pk, kind__in=INNER), "place", ref)


def locations_of(actor: Actor) -> QuerySet[Location]:
    """The locations in use of the actor's rooms."""
    rows = Location.objects.filter(closed_on=None).select_related("room")
    return rows if actor.everywhere else rows.filter(room__in=actor.room_ids)


def location(actor: Actor, ref: int | str) -> Location:
    """A location in use of the actor's rooms by id."""
    return one(locations_of(actor).filter(pk=_pk(ref)), "location", ref)


def people_of(actor: Actor) -> QuerySet[Person]:
    """The people whom somebody may see and name: those of their rooms, and whoever has or answers
    for a kit that is at home there, or leads a trip from there that is not over."""
    if actor.everywhere:
        return people.visible_to(actor)
    rooms = actor.room_ids
    kits = Kit.objects.active().filter(home_room__in=rooms)
    trips = Trip.objects.filter(room__in=rooms, returns_at__gt=clock.now(), cancelled_at=None)
    if not actor.may("see_people"):
        trips = trips.filter(leader_email="")  # whose it is, is not for a program to find out
    near = (
        Q(pk__in=people.visible_to(actor).values("pk"))
        | Q(pk__in=Checkout.objects.open().filter(kit__in=kits).values("person"))
        | Q(pk__in=kits.values("responsible"))
        | Q(pk__in=kits.values("deputy"))
        | Q(pk__in=trips.values("leader"))
    )
    return Person.objects.filter(near, merged_into=None).select_related("home_room")


def labels_of(actor: Actor) -> LabelQuerySet:
    """The labels of somebody's rooms, by whose label it is or by where its kit is now."""
    labels = Label.objects.all()
    if actor.everywhere:
        return labels
    rooms = actor.room_ids
    near = Q(room__in=rooms) | Q(kit__room__in=rooms) | Q(place__kit__room__in=rooms)
    return labels.filter(near).filter(Q(person=None) | Q(person__in=people_of(actor)))


def sees_place(actor: Actor, of: Place) -> bool:
    """Whether an inner place is one of those that somebody may see (see `places_of`)."""
    return sees_kit(actor, of.kit) if of.kit is not None else actor.belongs_to(of.room_id)


def person(actor: Actor, ref: int | str) -> Person:
    """One of the people whom somebody may see, by id or by the code of their tag; of a record that
    was merged, the kept one. Raises NotFound for anybody else, there or not."""
    row = Person.objects.filter(erased_at=None, pk=_id(ref, LabelKind.PERSON)).first()
    kept = (row.merged_into_id or row.pk) if row is not None else 0
    return one(people_of(actor).filter(pk=kept), "person", ref)


def entries_of(actor: Actor) -> QuerySet[Entry]:
    """The entries that somebody may see: their own; of their rooms, and of kits that are at home
    there; of the organisation, but for whose tags there are."""
    rows = Entry.objects.all()
    if actor.everywhere:
        return rows
    rooms = actor.room_ids
    near = Q(room__in=rooms) | Q(kit__home_room__in=rooms)
    near |= Q(room=None, kit=None) & ~Q(kind=EntryKind.LABEL)
    if actor.person is not None:
        near |= Q(person=actor.person)
    return rows.filter(near)


def any_room(ref: int | str) -> Room:
    """A room by id, slug or name, whoever asks: something may be sent to it."""
    pk = _pk(ref)
    by_name = Q(slug__iexact=str(ref)) | Q(name__iexact=str(ref))
    return one(Room.objects.filter(Q(pk=pk) if pk else by_name), "room", ref)


def room(actor: Actor, ref: int | str) -> Room:
    """A room of the actor's by id, slug or name."""
    row = any_room(ref)
    if not actor.belongs_to(row.pk):
        raise NotFound("room", ref)
    return row


def trips_of(actor: Actor) -> QuerySet[Trip]:
    """The trips that leave from rooms of the actor's, or from no room yet, where nobody leads them
    or somebody whom the actor may see."""
    trips = Trip.objects.select_related("room", "leader", "activity")
    if actor.everywhere:
        return trips
    ours = Q(leader=None) | Q(leader__in=people_of(actor).values("pk"))
    return trips.filter(Q(room__in=actor.room_ids) | (Q(room=None) & ours))


def trip(actor: Actor, ref: int | str) -> Trip:
    """A trip by id or as `source:reference`."""
    if isinstance(ref, str) and ":" in ref:
        source, reference = ref.split(":", 1)
        named = Q(source=source, reference=reference)
    else:
        named = Q(pk=_pk(ref))
    return one(trips_of(actor).filter(named), "trip", ref)
