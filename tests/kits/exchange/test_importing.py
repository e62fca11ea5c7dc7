"""A file is shown first, then done whole or not at all, by the services that pages use."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from gearroom.core import clock
from gearroom.core.acts import Act, NotAllowed, Problem, Refused, Unacceptable
from gearroom.core.models import Person
from gearroom.core.rules.roles import Role
from kits.models import (
    Entry,
    EntryKind,
    Item,
    Kit,
    Movement,
    Need,
    NotCarried,
    PackCode,
    PackingListVersion,
    Trip,
)
from kits.services.exchange import registry
from kits.services.ledger import audit
from tests.kits import factories as make
from tests.kits.exchange.both_ways import FORMS, exported, imported, what_changes

pytestmark = pytest.mark.django_db
World = make.World


@pytest.fixture
def w() -> World:
    world = make.world()
    world.named = {"chief": make.person("Cleo Marsh", Role.ADMINISTRATOR)}
    return world


@pytest.fixture
def act(w: World) -> Act:
    return make.act(w.named["chief"])


def lines(*rows: str) -> str:
    return "\n".join(rows) + "\n"


# ---------------------------------------------------------------------------------- both ways
@pytest.mark.parametrize("form", FORMS)
def test_what_was_exported_changes_nothing_when_it_is_imported(
    w: World, act: Act, form: str
) -> None:
    hard = "=SUM(A1); \"quoted\", 'ö' – 1,5"
    Item.objects.filter(pk=w.dressing.pk).update(caution=hard, mass_g=12, min_temp_c=-5)
    PackCode.objects.create(gtin="04012345678901", item=w.dressing, units_per_pack=10)
    NotCarried.objects.create(
        version=w.version, need=Need.objects.all()[0], why="other", words="+none", hazards=["cave"],
        hours_to_care=Decimal("2.5"), decided_by=w.adviser,
    )  # fmt: skip
    make.trip("Gorge", w.store, 2, 4, hazards=["gorge", "water"], leader=w.guide)
    by_address = make.trip("Hut", w.store, 2, 4, leader=w.guide)
    Trip.objects.filter(pk=by_address.pk).update(
        leader_email="a@example.org", youngest=9, oldest=14, planned=True
    )
    Kit.objects.filter(pk=w.day_01.pk).update(deputy=w.keeper, bag="@blue")

    assert what_changes(act, form) == {}


def test_a_file_for_one_room_has_nothing_of_another(w: World) -> None:
    make.kit("HUT-01", w.version, w.hut)
    keeper = make.act(w.keeper)
    for name in ("kits", "contents", "trips", "record"):
        assert b"HUT-01" not in exported(keeper, registry.TABLES[name])
        assert b"H1" not in exported(keeper, registry.TABLES[name])


# -------------------------------------------------------------------------------- shown, then done
def test_a_dry_run_says_every_change_and_writes_nothing(w: World, act: Act) -> None:
    text = lines(
        "number,name,kind,base_unit,mass_g",
        f"{w.dressing.pk},Wound dressing large,,,25",
        ",Finger splint,tool,piece,",
    )

    shown = imported(act, "items", text)

    assert [(c.row, c.what, c.name) for c in shown.changes] == [
        (2, "changed", "Wound dressing large"),
        (3, "new", "Finger splint"),
    ]
    assert [(x.column, x.old, x.new) for x in shown.changes[0].cells] == [
        ("name", "Wound dressing 10 × 12", "Wound dressing large"),
        ("mass_g", "", "25"),
    ]
    assert not Item.objects.filter(name__in=["Finger splint", "Wound dressing large"]).exists()

    done = imported(act, "items", text, dry_run=False, plan=shown.plan)

    assert done.done
    assert done.changes == shown.changes
    assert Item.objects.get(pk=w.dressing.pk).mass_g == 25
    assert Item.objects.get(name="Finger splint").kind == "tool"


def test_one_refused_row_leaves_all_as_it_was(w: World, act: Act) -> None:
    text = lines(
        "name,kind,base_unit,check_every_days",
        "Finger splint,tool,piece,",
        "Torch,tool,piece,30",
    )

    shown = imported(act, "items", text)
    assert [(f.row, f.column) for f in shown.refused] == [(3, "check_every_days")]
    with pytest.raises(Unacceptable) as refusal:
        imported(act, "items", text, dry_run=False)

    assert refusal.value.code == "import-refused"
    assert not Item.objects.filter(name="Finger splint").exists()


def test_of_faults_without_end_the_first_are_named(w: World, act: Act) -> None:
    refused = imported(act, "items", lines("name,kind", *["swab,cotton"] * 1500)).refused
    assert len(refused) == 1001 and refused[0].row == 2
    assert refused[-1].row == 0 and "500 more" in refused[-1].says


def test_what_was_shown_is_done_or_nothing(w: World, act: Act) -> None:
    text = lines("name,mass_g", "Shears,90")
    shown = imported(act, "items", text)
    Item.objects.filter(pk=w.shears.pk).update(mass_g=80)  # by somebody else meanwhile

    with pytest.raises(Refused) as refusal:
        imported(act, "items", text, dry_run=False, plan=shown.plan)

    assert refusal.value.code == "import-changed"
    assert Item.objects.get(pk=w.shears.pk).mass_g == 80


# ------------------------------------------------------------------------------------- contents
HEAD = "room,kit,section,shelf,item,lot,expiry,units,level"


def test_contents_are_a_count_with_its_reason(w: World, act: Act) -> None:
    day = make.days(200).isoformat()
    before = Entry.objects.count()

    done = imported(
        act,
        "contents",
        lines(
            HEAD,
            f"main-store,DAY-02,Main,,{w.dressing.name},X7,{day},3,",
            "main-store,DAY-02,main,,plasters,,,,low",
            "main-store,,,C2,Shears,,,4,",
        ),
        dry_run=False,
    )

    assert [change.what for change in done.changes] == ["new", "new", "changed"]
    counts = Entry.objects.filter(kind=EntryKind.COUNT).order_by("-pk")[:2]
    assert {entry.reason for entry in counts} == {"Imported from a file"}
    assert Entry.objects.count() == before + 2
    assert Movement.objects.filter(entry__in=counts).count() == 2
    assert make.units(w.lots["shears"], w.shelf) == 4
    assert list(audit.findings()) == []


def test_what_a_file_of_contents_leaves_out_stays_unless_it_has_all_of_it(
    w: World, act: Act
) -> None:
    text = lines(HEAD, "main-store,DAY-01,Main,,Shears,,,1,")

    assert imported(act, "contents", text).changes == []

    shown = imported(act, "contents", text, whole=True)
    assert {(c.what, c.name) for c in shown.changes} == {
        ("removed", "DAY-01, Main, Wound dressing 10 × 12"),
        ("removed", "DAY-01, Pouch, Pain tablets"),
    }
    imported(act, "contents", text, whole=True, dry_run=False, plan=shown.plan)
    assert make.units(w.lots["d1"], make.section(w.day_01)) == 0


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ("main-store,DAY-01,Main,C2,Shears,,,1,", "kit"),
        ("main-store,DAY-09,,,Shears,,,1,", "kit"),
        ("main-store,DAY-01,Lid,,Shears,,,1,", "section"),
        ("main-store,DAY-01,Main,,Plasters,,,4,", "level"),
        ("main-store,DAY-01,Main,,Shears,,,,", "units"),
        ("main-store,DAY-01,Main,,Scissors,,,1,", "item"),
        ("main-store,DAY-01,Main,,Shears,A1,03/04/2027,1,", "expiry"),
        ("attic,,,C2,Shears,,,1,", "room"),
    ],
)
def test_a_row_of_contents_that_cannot_be_is_refused_where_it_is_wrong(
    w: World, act: Act, row: str, column: str
) -> None:
    (fault,) = imported(act, "contents", lines(HEAD, row)).refused
    assert (fault.row, fault.column) == (2, column)


# ------------------------------------------------------------------------------------- kit lists
def test_a_kit_list_becomes_a_draft_and_is_never_signed(w: World, act: Act) -> None:
    text = lines(
        "list,section,item,carry,minimum,priority,not_carried,words",
        f"day walk,Main,{w.dressing.name},8,4,must-have,,",
        "day walk,Main,Shears,1,1,important,,",
        "day walk,Pouch,Pain tablets,8,4,routine,,",
        "day walk,,Plasters,,,,other,nobody uses them",
    )

    done = imported(act, "kit-lists", text, dry_run=False)

    assert {(c.what, c.name) for c in done.changes} == {
        ("changed", "Day walk: Wound dressing 10 × 12"),
        ("new", "Day walk: Plasters"),
        ("removed", "Day walk: Plasters"),
    }
    draft = PackingListVersion.objects.get(packing_list__name="Day walk", number=2)
    assert draft.published_at is None
    assert draft.signed_by is None
    assert draft.sections.get(key="main").lines.get(item=w.dressing).carry == 8
    assert draft.not_carried.get().item == w.plasters
    assert imported(act, "kit-lists", text).changes == []  # the same again changes nothing


def test_a_new_kit_list_needs_whom_it_is_for(w: World, act: Act) -> None:
    row = "Cave,Main,Shears,1"
    assert imported(act, "kit-lists", lines("list,section,item,carry", row)).refused[0].column == (
        "people"
    )
    head = "list,people,days,section,item,carry"
    imported(act, "kit-lists", lines(head, "Cave,8,1,Main,Shears,1"), dry_run=False)
    assert PackingListVersion.objects.get(packing_list__name="Cave").published_at is None


def test_rows_of_a_kit_list_in_another_order_are_a_change(w: World, act: Act) -> None:
    head, first, second, *rest = exported(act, registry.TABLES["kit-lists"]).decode().splitlines()
    shown = imported(act, "kit-lists", lines(head, second, first, *rest))
    assert [change.what for change in shown.changes] == ["moved"]


# ---------------------------------------------------------------------------- kits, trips, people
def test_kits_are_added_and_changed_and_follow_lists(w: World, act: Act) -> None:
    text = lines(
        "name,list,home_room,responsible,bag",
        "DAY-03,Day walk,Main store,ines,red",
        "day-01,,,Gil,",
    )

    imported(act, "kits", text, dry_run=False)

    new = Kit.objects.get(name="DAY-03")
    assert (new.responsible, new.bag, new.list_version) == (w.instructor, "red", w.version)
    assert make.fresh(w.day_01).responsible == w.guide
    moved = imported(act, "kits", lines("name,home_room", "DAY-01,cave-hut"))
    assert moved.refused[0].column == "home_room"


def test_trips_come_by_the_clock_of_their_room_each_once(w: World, act: Act) -> None:
    day = (clock.now() + timedelta(days=30)).date()
    text = lines(
        "source;reference;name;room;departs_at;returns_at;people;hazards;leader;hours_to_care",
        f"bookings;B-1;Gorge day;Main store;{day} 08:30;{day} 17:00;8;gorge, water;Gil;2,5",
        f";;Hill day;Main store;{day} 09:00;{day} 16:00;4;;;",
        f";;Hill day;Main store;{day} 09:00;{day} 16:00;4;;;",
    )
    refused = imported(act, "trips", text).refused
    assert [(fault.row, fault.column) for fault in refused] == [(2, "hazards")]
    text = text.replace("gorge, water", '"gorge;water"')

    imported(act, "trips", text, dry_run=False)

    trip = Trip.objects.get(source="bookings", reference="B-1")
    assert (trip.hazards, trip.leader, trip.hours_to_care) == (
        ["gorge", "water"],
        w.guide,
        Decimal("2.5"),
    )
    assert trip.departs_at.hour == 8 + (0 if trip.departs_at.month in (11, 12, 1, 2) else -1)
    assert Trip.objects.filter(name="Hill day").count() == 2
    extend = lines(
        "source,reference,name,departs_at,returns_at,people",
        f"bookings,B-1,Gorge day,{day} 08:30,{day + timedelta(days=1)} 17:00,8",
    )
    imported(act, "trips", extend, dry_run=False)
    trip.refresh_from_db()
    assert (trip.last_day, trip.hazards) == (day + timedelta(days=1), ["gorge", "water"])


def test_what_a_file_leaves_out_of_a_trip_stays(w: World, act: Act) -> None:
    trip = make.trip("Hut", w.store, 2, 4, leader=w.guide)
    kept = {
        "leader_email": "a@example.org", "youngest": 19, "oldest": 24, "planned": True,
        "hours_to_care": Decimal("2.5"), "leader_name": "Ann",
    }  # fmt: skip
    Trip.objects.filter(pk=trip.pk).update(**kept)
    first, last = trip.departs_at.isoformat(), trip.returns_at.isoformat()
    text = lines(
        "source,reference,name,departs_at,returns_at,people",
        f"{trip.source},{trip.reference},Hut,{first},{last},9",
    )

    imported(act, "trips", text, dry_run=False)

    trip.refresh_from_db()
    assert (trip.people, trip.leader) == (9, w.guide)
    assert {name: getattr(trip, name) for name in kept} == kept
    assert not trip.children
    young = text.replace("people\n", "people,youngest\n").rstrip("\n") + ",8\n"
    imported(act, "trips", young, dry_run=False)
    trip.refresh_from_db()
    assert trip.children


def test_people_come_and_leave_by_a_file_of_an_administrator(w: World, act: Act) -> None:
    text = lines(
        "name,phone,email,home_room,left_on",
        "Nia Field,01632 960 044,nia@example.org,Main store,",
        f"Gil,01632 960 055,,,{clock.today('Europe/London')}",
    )
    imported(act, "people", text, dry_run=False)
    assert Person.objects.get(name="Nia Field").home_room == w.store
    assert Person.objects.get(pk=w.guide.pk).left_on is not None
    bad = imported(act, "people", lines("name,email", "Nia Field,nowhere")).refused
    assert bad[0].column == "email"


def test_the_name_of_several_is_asked_for(w: World, act: Act) -> None:
    other = make.person("Gil")
    (fault,) = imported(act, "kits", lines("name,responsible", "DAY-01,Gil")).refused
    assert f"Gil ({other.pk})" in fault.says
    text = lines("name,responsible", f"DAY-01,Gil ({other.pk})")
    assert imported(act, "kits", text).refused == []


# ---------------------------------------------------------------------------------------- who may
@pytest.mark.parametrize(
    ("who", "table", "may"),
    [
        ("keeper", "items", True),
        ("keeper", "people", False),
        ("keeper", "record", True),
        ("guide", "items", False),
        ("adviser", "kit-lists", False),
    ],
)
def test_a_table_is_for_whoever_may(w: World, who: str, table: str, may: bool) -> None:
    person: Any = getattr(w, who)
    tables = [each.name for each in registry.offered(make.actor(person))]
    assert (table in tables) is may
    if not may:
        with pytest.raises(NotAllowed):
            registry.table(make.actor(person), table)


def test_the_record_is_only_exported(w: World, act: Act) -> None:
    with pytest.raises(Problem) as refusal:
        imported(act, "record", "entry\n1\n", dry_run=False)
    assert refusal.value.code == "export-only"
