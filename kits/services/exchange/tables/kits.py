"""Kits: what is set of each, without what is in it (see `contents`)."""

from collections.abc import Iterator
from typing import Any

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Actor, Invalid
from gearroom.core.models import Person, Room
from gearroom.core.rules.sentences import say
from kits.models import Kit, Location, PackingListVersion
from kits.rules.exchange.tables import FileRow, RowChange
from kits.rules.exchange.values import Column, Type
from kits.rules.ledger.facts import LivesIn
from kits.services.exchange.names import Names, person_text
from kits.services.exchange.table import (
    Filters,
    Importer,
    Row,
    Table,
    as_read,
    by_number_or_name,
    number_of,
    row_by_row,
)
from kits.services.kits import kits
from kits.services.lookup import find

_PERSON_MEANS = say("A name of somebody on record; with their number where several have it.")

COLUMNS = (
    Column("number", say("Number"), say("The kit’s number here. Leave it empty for a new kit."),
           Type.WHOLE, most=10**9 - 1, blank_keeps=True),
    Column("name", say("Name"), say("What the kit is called."), longest=40, needed=True),
    Column("list", say("Kit list"), say("The name of the kit list that it uses."), longest=80,
           blank_keeps=True),
    Column("version", say("Version"),
           say("The version of the kit list; without one, a new kit uses the newest published."),
           Type.WHOLE, blank_keeps=True),
    Column("home_room", say("Home gear room"), say("The gear room where it belongs."),
           refers="room", blank_keeps=True),
    Column("room", say("Gear room now"), say("The gear room where it is."), refers="room",
           only_read=True),
    Column("responsible", say("Responsible"), _PERSON_MEANS, longest=140, refers="person"),
    Column("deputy", say("Deputy"), _PERSON_MEANS, longest=140, refers="person"),
    Column("lives_in", say("Kept in"), say("Where it usually is."), Type.CHOICE,
           choices=tuple(LivesIn)),
    Column("location", say("Location"), say("The van, boat or hut where it is kept."), longest=80),
    Column("bag", say("Bag"), say("What bag or box it is."), longest=80),
    Column("bag_volume_ml", say("Volume of the bag, ml"), say("How much the bag holds."),
           Type.WHOLE),
    Column("bag_mass_limit_g", say("Mass limit, g"), say("How heavy it may be."), Type.WHOLE),
    Column("training", say("For training"), say("Whether it is a training kit."), Type.YES_NO),
    Column("look_interval_days", say("Days between contents checks"),
           say("How often its contents are checked."), Type.WHOLE, least=1, most=32_767,
           blank_keeps=True),
    Column("contents_entered", say("Contents entered"),
           say("Whether anybody has entered what is in it."), Type.YES_NO, only_read=True),
)  # fmt: skip

_PLAIN = (
    "name", "lives_in", "bag", "bag_volume_ml", "bag_mass_limit_g", "training",
    "look_interval_days",
)  # fmt: skip


def rows(actor: Actor, filters: Filters) -> Iterator[Row]:
    """The kits in use that are at home in somebody's rooms, by name."""
    own = find.kits_of(actor).active().select_related("responsible", "deputy", "location")
    if not actor.everywhere:
        own = own.filter(home_room__in=actor.room_ids)
    if filters.room:
        own = own.filter(home_room=filters.room)
    for kit in own.order_by("name"):
        yield {
            "number": kit.pk,
            **{name: getattr(kit, name) for name in _PLAIN},
            "lives_in": str(kit.lives_in),
            "list": kit.list_version.packing_list.name,
            "version": kit.list_version.number,
            "home_room": kit.home_room.slug,
            "room": kit.room.slug,
            "responsible": person_text(kit.responsible),
            "deputy": person_text(kit.deputy),
            "location": kit.location.name if kit.location else "",
            "contents_entered": kit.contents_entered,
        }


def _save(act: Act, names: Names, change: RowChange, row: FileRow) -> None:
    new = {each.column: each.new for each in change.cells}
    facts: dict[str, Any] = {name: new[name] for name in _PLAIN if name in new}
    for who in ("responsible", "deputy"):
        if who in new:
            facts[who] = _person(names, new[who], who)
    now = {**(change.old or {}), **new}
    if change.old is None:
        if not now.get("home_room"):
            raise Invalid(_("A new kit needs its gear room. Fill it in."), field="home_room")
        home = names.room(str(now["home_room"]))
        if new.get("location"):
            facts["location"] = _location(home, str(new["location"]))
        kits.add_kit(act, list_version=_version(now), home_room=home, **facts)
        return
    if "home_room" in new:
        raise Invalid(
            _("A kit gets another home on its own page, where you can say whether it is there."),
            field="home_room",
        )
    kit = Kit.objects.select_related("home_room", "list_version__packing_list").get(
        pk=int(str(change.old["number"]))
    )
    if "location" in new:
        text = str(new["location"] or "")
        facts["location"] = _location(kit.home_room, text) if text else None
    if facts:
        kit = kits.edit_kit(as_read(act, change, _PLAIN), kit, **facts)
    if "list" in new or "version" in new:
        kits.follow_list(act, kit, _version(now))


def _person(names: Names, text: Any, field: str) -> Person | None:
    return names.person(str(text), field=field) if text else None


def _location(room: Room, name: str) -> Location:
    there = Location.objects.filter(room=room, name__iexact=name, closed_on=None).first()
    if there is None:
        raise Invalid(
            _("%(room)s has no location called “%(name)s”. Add it first.")
            % {"room": room.name, "name": name},
            field="location",
        )
    return there


def _version(now: Any) -> PackingListVersion:
    if not (name := now.get("list")):
        raise Invalid(_("A new kit needs its kit list. Fill it in."), field="list")
    versions = PackingListVersion.objects.select_related("packing_list").filter(
        packing_list__name__iexact=str(name)
    )
    if (number := now.get("version")) is not None:
        version = versions.filter(number=number).first()
    else:
        version = versions.filter(published_at__isnull=False).order_by("-number").first()
    if version is None:
        raise Invalid(
            _("There is no such published kit list. Publish it first, or check its name and "
              "version."),
            field="list",
        )  # fmt: skip
    return version


TABLE = Table(
    "kits",
    say("Kits"),
    say("Every kit with its settings and the kit list that it uses. What is in the kits is in "
        "Contents."),
    COLUMNS,
    rows,
    narrowed_by=frozenset({"room"}),
    importer=Importer("edit_kit", by_number_or_name, number_of, row_by_row(_save)),
)  # fmt: skip
