"""Two gear rooms that are alike, each with one of everything that an operation can be about.

What nobody outside a room may read bears a word that stands nowhere else (`MARKS`): names,
addresses, kits, shelves, seals, trips, notes; telephone numbers bear digits of their own.
"""

import io
from decimal import Decimal

from PIL import Image

from gearroom.core.models import Person
from gearroom.core.rules.roles import Role
from gearroom.core.services.accounts import shared_devices, sign_ins
from kits.models import (
    AsFound,
    Checkout,
    Clearance,
    Item,
    Kit,
    Notice,
    PackingListVersion,
    Place,
    RecallPlace,
    What,
    WithheldKind,
)
from kits.rules.custody.use import Went
from kits.rules.events.facts import KitChanged
from kits.rules.ledger.facts import Criticality, Kind
from kits.services import events
from kits.services.advice import access
from kits.services.buying import drafting, filled_kits, ordering
from kits.services.buying.bought_kits import Content
from kits.services.calendars import calendars, versions
from kits.services.calendars.calendars import CalendarFacts
from kits.services.custody import custody, returns, use, use_requests
from kits.services.kits import holds
from kits.services.labelling import labelling
from kits.services.lists import drafts, list_changes, signatures
from kits.services.lists.list_changes import Amount, ChangeDraft, SourceDraft
from kits.services.notices import writing
from kits.services.notices.notice_text import clearance_token, signature_token
from kits.services.recalls import closing, recalls
from kits.services.restocking import sealing, sorting
from kits.services.stock import catalogue, corrections, counting, moving, offers, receiving
from kits.services.trips import reservations
from kits.services.webhooks import webhooks
from labels.services.paper import sheets
from tests.kits import factories as make
from tests.kits.advice.school import three, turn_on
from tests.kits.calendars.ics import far, ics
from tests.matrix.accounts import MARKS, account, people_of
from tests.matrix.school import weather
from tests.matrix.school.sides import Everywhere, School, Side
from tests.present import present


# ------------------------------------------------------------------------- the whole organisation
def _everywhere() -> Everywhere:
    adviser = account("Ada", "advisory", "5550055", Role.ADVISER)
    items = {
        "dressing": make.item("Wound dressing", sterile=True),
        "shears": make.item("Shears", Kind.TOOL, needs_date=False),
        "tablets": make.item("Tablets", Kind.MEDICINE, base_unit="tablet", opened_life_days=90),
        "gauge": make.item(
            "Gauge", Kind.INSTRUMENT, needs_date=False, check_every_days=180, check_question="OK?"
        ),
        "plasters": make.item("Plasters", by_eye=True, needs_date=False),
        "splint": make.item("Splint", Kind.TOOL, needs_date=False, min_temp_c=5),
        "bandage": make.item("Bandage"),
        "wrap": make.item("Wrap"),
        "pad": make.item("Pad"),
        "spare": make.item("Blanket", Kind.TOOL, needs_date=False),
        "over": make.item("Old thing", Kind.TOOL, needs_date=False),
    }
    catalogue.put_pack_code(make.act(), items["dressing"], gtin="09506000134352", units_per_pack=5)
    catalogue.put_substitute(make.act(), items["dressing"], items["pad"], "")
    catalogue.retire_item(make.act(), items["over"])
    need = Criticality.MUST_HAVE
    version = make.kit_list(
        "Day walk",
        {
            "main": [
                (items["dressing"], 4, 2, Criticality.IMPORTANT),
                (items["shears"], 1, 0, Criticality.ROUTINE),
                (items["plasters"], 1, 0, Criticality.ROUTINE),
            ],
            "pouch": [(items["splint"], 1, 0, Criticality.ROUTINE)],
        },
        signed_by=adviser.person,
        days=3,
    )
    signatures.sign(make.act(adviser.person), version, until=make.days(300), page=_photo())
    short = make.kit_list("Short", {"main": [(items["spare"], 3, 2, need)]}, adviser.person)
    draft = drafts.new_draft(make.act(), short.packing_list)
    unsigned = make.kit_list("Unsigned", {"main": [(items["shears"], 1, 0, Criticality.ROUTINE)]})
    return Everywhere(
        adviser=adviser,
        chief=account("Charlie", "headoffice", "5550066", Role.ADMINISTRATOR),
        newcomer=account("Nora", "newcomers", "5550077"),
        items=items,
        lots={},
        version=version,
        unsigned=unsigned,
        draft=draft,
        change=list_changes.make(make.act(adviser.person), _change(items["spare"], draft)),
        recalls={},
        sheet=_sheet(),
        offer=offers.offer_of_supplier(
            make.act(),
            "North",
            item=items["dressing"],
            units=10,
            prices=[offers.PackPrice(1, Decimal(4))],
            currency="GBP",
        ),
    )


def _change(item: Item, draft: PackingListVersion) -> ChangeDraft:
    """More of an item, on the list that a draft is of."""
    return ChangeDraft(
        What.AMOUNT,
        item,
        "They ran out.",
        make.days(100),
        [draft.packing_list],
        [SourceDraft(True, "They ran out twice.", "Our records")],
        amount=Amount(4, 2, Criticality.MUST_HAVE),
    )


def _sheet() -> str:
    """A sheet of one's own to print on."""
    measures = {"page_width_mm": 210.0, "page_height_mm": 297.0, "columns": 1, "rows": 4,
                "cell_width_mm": 90.0, "cell_height_mm": 60.0, "left_mm": 10.0, "top_mm": 20.0,
                "pitch_x_mm": 95.0, "pitch_y_mm": 65.0}  # fmt: skip
    return sheets.add_sheet(make.act(), "A sheet of ours", measures).sheet.key


# --------------------------------------------------------------------------------------- one room
def _side(name: str, everywhere: Everywhere) -> Side:
    room = make.room(name)
    word, digits = MARKS[room.slug]
    side = Side(
        room=room,
        word=word,
        people=people_of(room, word, digits),
        shelf=make.shelf(room, f"{word} A"),
        upper=make.shelf(room, f"{word} B"),
    )
    side.visitor, side.double, side.gone = (
        Person.objects.create(
            name=f"{name} {word}", phone=f"0{digits}9", email=f"x@{word}.example", home_room=room
        )
        for name in ("Visitor", "Double", "Gone")
    )
    Person.objects.filter(pk=side.gone.pk).update(left_on=make.today())
    side.closed_shelf = Place.objects.create(
        kind=side.shelf.kind, room=room, name=f"{word} closed", closed_on=make.today()
    )
    _stock(side, everywhere)
    side.filled = filled_kits.add(
        make.act(),
        room,
        name=f"{word} filled",
        price=Decimal(12),
        currency="GBP",
        contents=[Content("Shears", everywhere.items["shears"], 1)],
    )
    _orders(side, everywhere)
    _kits(side, everywhere)
    return side


def _stock(side: Side, of: Everywhere) -> None:
    for name, units, number, days in (
        ("dressing", 90, "D1", 400),
        ("tablets", 40, "T1", 300),
        ("bandage", 9, "R1", 500),
        ("wrap", 9, "W1", 500),
        ("pad", 9, "P1", 500),
    ):
        of.lots[name] = receiving.receive(
            make.act(), item=of.items[name], shelf=side.shelf, units=units, number=number,
            expiry=make.days(days), supplier=f"{side.word} supplies",
        ).lot  # fmt: skip
    for name in ("shears", "splint", "spare"):
        of.lots[name] = make.some(of.items[name], side.shelf, 30)
    of.lots[f"corrected by {side.word}"] = corrections.correct(
        make.act(side.people["keeper"].person, reason="read wrong"),
        make.some(of.items["dressing"], side.shelf, 2, f"C{side.room.pk}", make.days(100)),
        expiry=make.days(200),
    ).lot
    of.lots["undated"] = make.some(of.items["dressing"], side.shelf, 2, "NODATE")
    of.lots["old"] = receiving.receive(
        make.act(), item=of.items["dressing"], shelf=side.shelf, units=3, number="OLD",
        expiry=make.days(-3),
    ).lot  # fmt: skip
    of.lots[f"gauge of {side.word}"] = make.instrument(
        of.items["gauge"], side.shelf, f"G-{side.room.pk}"
    )


def _orders(side: Side, of: Everywhere) -> None:
    keeper = side.people["keeper"].person
    other = offers.offer_of_supplier(
        make.act(), "South", item=of.items["dressing"], units=5,
        prices=[offers.PackPrice(1, Decimal(3))], currency="GBP",
    )  # fmt: skip
    for name in ("early", "placed", "cancelled", "draft"):
        packs = {other.pk if name == "early" else of.offer.pk: 1}
        (made,) = drafting.draft(
            make.act(keeper), side.room, packs=packs, through=make.days(90), currency="GBP"
        )
        side.orders[name] = made.order
        if name != "draft":
            ordering.place(make.act(keeper), made.order)
        if name == "cancelled":
            ordering.cancel_rest(make.act(keeper), made.order)


def _kit(side: Side, of: Everywhere, name: str, *, full: bool = True) -> Kit:
    kit = make.kit(
        f"{side.word}-{name}".upper(), of.version, side.room,
        responsible=side.people["instructor"].person,
    )  # fmt: skip
    if full:
        sorting.restock(make.act(), kit)
    side.kits[name] = make.fresh(kit)
    return side.kits[name]


def _photo() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (8, 8), "red").save(out, "JPEG")
    return out.getvalue()


def _kits(side: Side, of: Everywhere) -> None:
    mate, keeper = side.people["mate"].person, side.people["keeper"].person
    note = f"{side.word} note"
    for name in ("in", "spare", "promised", "out", "back", "held", "asleep", "lost", "riding",
                 "away", "used", "own", "recalled", "stale"):  # fmt: skip
        _kit(side, of, name)
    for name in ("bare", "third"):
        _kit(side, of, name, full=False)
    kits = side.kits
    for name in ("in", "spare"):
        sealing.reseal(make.act(keeper), kits[name], f"{side.word}417{name}")
    side.trips["walk"] = make.trip(f"{side.word} walk", side.room, 0, 1, leader=mate)
    side.trips["later"] = make.trip(
        f"{side.word} later", side.room, 5, 6,
        leader_name=f"Lee {side.word}", leader_phone=f"0{MARKS[side.room.slug][1]}5",
        leader_email=f"lee@{side.word}.example.org",
    )  # fmt: skip
    side.reservation = reservations.reserve(
        make.act(keeper), kits["promised"], side.trips["later"], person=mate
    ).reservation
    out = custody.check_out(make.act(mate), kits["out"], person=mate, trip=side.trips["walk"])
    side.entries["out"] = out.entry
    custody.check_out(make.act(mate), kits["back"], person=mate)
    custody.check_in(make.act(mate), kits["back"], as_found=AsFound.OPENED)
    holds.withhold(make.act(keeper), kits["held"], WithheldKind.SOMETHING_WRONG, note, _photo())
    holds.lay_up(make.act(keeper), kits["asleep"])
    holds.mark_lost(make.act(keeper), kits["lost"])
    returns.report_own(make.act(keeper), kits["riding"], inside=True)
    splint = use.UseLine(of.items["splint"], 1, went=Went.MAY_COME_BACK)
    use.log_use(make.act(mate), kits["away"], [splint])
    dressing = use.UseLine(of.items["dressing"], 1)
    side.entries["used"] = use.log_use(
        make.act(mate, reason=note), kits["used"], [dressing], incident=f"{side.word} 17"
    ).entry
    side.entries["own"] = use.log_use(
        make.act(side.people["guide"].person), kits["own"], [dressing]
    ).entry
    make.put_in(kits["recalled"], of.lots["bandage"], side.shelf, 2)
    make.put_in(kits["third"], of.lots[f"gauge of {side.word}"], side.shelf, 1)
    _went_stale(side, of)
    cold = {
        name: (_kit(side, of, name), make.shelf(side.room, f"{side.word} {name}"))
        for name in ("cold", "thawed")
    }
    side.cold_shelf, side.thawed_shelf = cold["cold"][1], cold["thawed"][1]
    side.locations = weather.locate(keeper, side.upper, of.items["splint"], cold)
    side.kits["cleared"] = _cleared(side, of)
    _papers(side, of, mate, keeper)


def _went_stale(side: Side, of: Everywhere) -> None:
    """A batch in it went out of date since it went in: a count found it there."""
    section = make.section(side.kits["stale"])
    counting.count(make.act(), [section], [counting.CountLine(section, 1, lot=of.lots["old"])])


def _cleared(side: Side, of: Everywhere) -> Kit:
    """A kit that is short of a must-have and went, since the instructor cleared it."""
    version = PackingListVersion.objects.filter(packing_list__name="Short").earliest("number")
    kit = make.kit(f"{side.word}-cleared".upper(), version, side.room)
    sorting.look_inside(make.act(), kit)
    custody.check_out(
        make.act(side.people["guide"].person), make.fresh(kit),
        person=side.people["mate"].person, short_reason=f"{side.word} must",
        cleared_by=side.people["instructor"].person,
    )  # fmt: skip
    side.clearance = Clearance.objects.get(checkout__kit=kit)
    return make.fresh(kit)


def _papers(side: Side, of: Everywhere, mate: Person, keeper: Person) -> None:
    kits, act = side.kits, make.act
    side.labels = {
        "kit": labelling.label_for(act(), kits["spare"]),
        "pouch": labelling.label_for(act(), make.section(kits["spare"], "pouch")),
        "shelf": labelling.label_for(act(), side.shelf),
        "tag": labelling.label_for(act(), mate, side.room),
        "blank": labelling.blanks(act(), side.room, 1)[0],
    }
    opened = side.entries["out"]
    writing.notify_keepers(opened, "irregular", kit=kits["out"])
    side.notice = Notice.objects.filter(entry=opened, person=keeper).get()
    back = Checkout.objects.get(kit=kits["back"])
    assert side.clearance is not None
    uid, token = sign_ins.link_of(side.people["mate"].user)
    side.links = {
        "used": use_requests.token(back),
        "back": str(back.pk),
        "cleared": clearance_token(side.clearance.pk),
        "uid": uid,
        "reset": token,
    }
    side.device = shared_devices.add(make.act(keeper), side.room, f"{side.word} phone")
    side.webhook, _secret = webhooks.add(
        act(side.people["administrator"].person), name=f"{side.word} bookings",
        address=f"https://{side.word}.example/events", types=[], room=side.room,
    )  # fmt: skip
    side.calendar = calendars.add(
        act(side.people["administrator"].person),
        CalendarFacts(
            f"{side.word} trips", side.room, 8, address=f"https://{side.word}.example/trips.ics"
        ),
    )
    for events_now in ([far("a"), far("b")], [far("a")]):
        versions.take(act(side.people["administrator"].person), side.calendar, ics(*events_now))
    side.new_calendar = calendars.add(
        act(side.people["administrator"].person),
        CalendarFacts(f"{side.word} climbs", side.room, 8),
    )
    side.gone_event = side.calendar.events.get(gone_at__isnull=False)
    changed = KitChanged(opened.pk, kits["spare"].pk)
    at = opened.recorded_at
    events.write([events.Draft("kit.changed", changed.kit, changed, at, side.room.pk)])


# ------------------------------------------------------------------------------------- the recalls
def _recalls(of: Everywhere, sides: list[Side]) -> None:
    for name, number in (("bandage", "R1"), ("wrap", "W1"), ("pad", "P1")):
        recall = recalls.start(
            make.act(of.adviser.person), item=of.items[name], scope="number", number=number
        )
        of.recalls[name] = recall
        for side in sides:
            rows = RecallPlace.objects.filter(recall=recall, place__kit=side.kits["recalled"])
            if name == "bandage":
                side.rows["kit"] = rows.get()
    closing.close(
        make.act(of.adviser.person), of.recalls["wrap"], "withdrawn", published_at="a letter"
    )
    closing.close(make.act(of.adviser.person, reason="disposed of"), of.recalls["pad"], "finished")


def school() -> School:
    """Both rooms, with what is on its way from each to the other."""
    everywhere = _everywhere()
    store, hut = (_side(name, everywhere) for name in ("Main store", "Cave hut"))
    _recalls(everywhere, [store, hut])
    turn_on([person.pk for person in access.candidates()])
    everywhere.advice = three(store.people["keeper"].person)
    for here, there in ((store, hut), (hut, store)):
        moving.send(
            make.act(here.people["keeper"].person, reason=f"{here.word} has too many"),
            lot=everywhere.lots["dressing"],
            units=2,
            source=here.shelf,
            room=there.room,
        )
        there.links["sign"] = signature_token(
            everywhere.version.pk, everywhere.adviser.person.pk,
            present(everywhere.version.signed_until),
        )  # fmt: skip
    return School(store, hut, everywhere)
