"""Items: add, edit, retire; their pack codes and what can be used instead.

An item is the organisation's, not a room's. Where a change alters how kits are judged, every kit
that follows a list with the item, or holds it, is judged again in the same transaction.
"""

from collections.abc import Mapping
from datetime import date
from typing import TypedDict, Unpack

from django.conf import settings
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _
from stdnum import ean
from stdnum.exceptions import ValidationError

from gearroom.core import clock
from gearroom.core.acts import (
    Act,
    Invalid,
    NotFound,
    Refused,
    Stale,
    name_taken,
    refuse_first,
    refuse_taken_name,
    store,
)
from kits.models import (
    Disposal,
    Holding,
    Item,
    Kit,
    ListLine,
    Lot,
    PackCode,
    PackingList,
    Place,
    PlaceKind,
    Substitute,
)
from kits.rules.buying.replacing import successor
from kits.rules.ledger.facts import Kind
from kits.rules.stock.disposal import allowed
from kits.services.ledger import Book, known_then
from kits.services.text.amounts import units


class ItemFacts(TypedDict, total=False):
    """The facts of an item; see the table's columns. Volume and mass are of one base unit."""

    name: str
    kind: str
    base_unit: str
    needs_date: bool
    sterile: bool
    by_eye: bool
    latex: bool
    child: bool
    min_temp_c: int | None
    max_temp_c: int | None
    keep_dry: bool
    opened_life_days: int | None
    check_every_days: int | None
    check_question: str
    disposal: str
    volume_ml: int | None
    mass_g: int | None
    lead_time_days: int
    order_down_to: int | None
    caution: str
    goes_with: Item | None


JUDGED_BY = frozenset({"kind", "needs_date", "sterile", "by_eye", "opened_life_days", "goes_with"})
"""What the stored last days of kits depend on; the rest is read when it is needed."""


def add_item(act: Act, **facts: Unpack[ItemFacts]) -> Item:
    """Add an item. Raises Refused (`name-taken`), Invalid for what does not go together."""
    act.actor.require("edit_item")
    if facts.get("kind") == Kind.MEDICINE:
        facts.setdefault("disposal", Disposal.PHARMACY)
    item = Item(**facts)
    _settle(item)
    _save(item)
    return item


def edit_item(act: Act, item: Item, **facts: Unpack[ItemFacts]) -> Item:
    """Change the facts of an item.

    Raises Refused: `name-taken`, `units-in-the-book` where what is held would mean something else
    afterwards (kind, base unit, counted or judged by eye); Stale where somebody else changed it at
    the same moment.
    """
    act.actor.require("edit_item")
    with Book(act) as book:
        judged_anew = _changed(Item.objects.get(pk=item.pk), facts) & JUDGED_BY
        if judged_anew:
            _hold_kits(book, item)
        item = _locked(item)
        act.match(item)
        if not (changed := _changed(item, facts)):
            return item
        if not changed & JUDGED_BY <= judged_anew:
            raise Stale(
                "changed-since", _("The item has just been changed. Look at it again, then save.")
            )
        _refuse_to_change_what_is_held(item, facts, changed)
        known_then.remember(item)
        for name, value in facts.items():
            setattr(item, name, value)
        _settle(item)
        item.revision += 1
        _save(item)
    return item


@transaction.atomic
def retire_item(act: Act, item: Item) -> Item:
    """Stop buying an item. What is left of it may be used up. Raises Refused (`on-a-kit-list`)
    while kits in use follow a list with it."""
    act.actor.require("edit_item")
    item = _locked(item)
    lists = (
        PackingList.objects.filter(
            versions__sections__lines__item=item,
            versions__kits__retired_on__isnull=True,
            versions__kits__isnull=False,
        )
        .distinct()
        .values_list("name", flat=True)
    )
    if lists:
        raise Refused(
            "on-a-kit-list",
            _(
                "%(item)s is on kit lists that kits still use: %(names)s. First publish a "
                "version without it and switch the kits to that version."
            )
            % {"item": item.name, "names": ", ".join(lists)},
            lists=list(lists),
        )
    return _retired(item, clock.today(settings.TIME_ZONE))


@transaction.atomic
def bring_back_item(act: Act, item: Item) -> Item:
    """Take a retired item into use again."""
    act.actor.require("edit_item")
    return _retired(_locked(item), None)


def _retired(item: Item, day: date | None) -> Item:
    """Retire an item on a day, or take it into use again (None), where it is not so already."""
    if (item.retired_on is None) != (day is None):
        store(item, retired_on=day, revision=item.revision + 1)
    return item


# ----------------------------------------------------------------------------------- makers' codes
def gtin14(text: str) -> str:
    """A GTIN of 8, 12, 13 or 14 digits as 14 digits; spaces and dashes go.

    Raises Invalid where it is none, or its check digit (GS1 General Specifications 7.9) is wrong.
    """
    try:
        compact: str = ean.validate(text)
    except ValidationError as error:
        raise Invalid(
            _(
                "“%(text)s” is not a GTIN. A GTIN has 8, 12, 13 or 14 digits, and the last one "
                "is a check digit. Read the number below the barcode again."
            )
            % {"text": text},
            field="gtin",
        ) from error
    return compact.zfill(14)


@transaction.atomic
def put_pack_code(act: Act, item: Item, *, gtin: str, units_per_pack: int = 1) -> PackCode:
    """Record how many base units of an item packs with a maker's GTIN hold, or change that number.
    Raises Refused (`pack-code-taken`) where the code is another item's."""
    act.actor.require("edit_item")
    count = units(units_per_pack, field="units_per_pack")
    normal = gtin14(gtin)
    code, made = PackCode.objects.select_related("item").get_or_create(
        gtin=normal, defaults={"item": item, "units_per_pack": count}
    )
    if code.item_id != item.pk:
        raise Refused(
            "pack-code-taken",
            _(
                "The pack code %(normal)s already belongs to %(item)s. Remove the code from "
                "that item first."
            )
            % {"normal": normal, "item": code.item.name},
            item=code.item_id,
        )
    if not made and code.units_per_pack != count:
        store(code, units_per_pack=count)
    return code


def remove_pack_code(act: Act, item: Item, gtin: str) -> None:
    """Remove a GTIN from an item. Raises NotFound."""
    act.actor.require("edit_item")
    if not item.pack_codes.filter(gtin=gtin14(gtin)).delete()[0]:
        raise NotFound("pack code", gtin)


# -------------------------------------------------------------------------------------- substitutes
def put_substitute(
    act: Act, item: Item, instead: Item, note: str = "", *, at_next_order: bool | None = None
) -> Substitute:
    """Record that another item can be used instead of this one, one for one; not the other way
    round. Kits whose lists have the item are judged again. `at_next_order`: it is the better one,
    which orders take in its place; None leaves that as it is. Raises Invalid."""
    act.actor.require("edit_item")
    loose = _("Loose items are not counted, so they cannot be substituted one for one.")
    retired = _("%(instead)s has been retired. Choose an item that is in use.")
    circle = _(
        "%(instead)s is itself going to be replaced by %(item)s at the next order. Cancel "
        "that replacement first."
    )
    refuse_first(
        (
            item.pk == instead.pk,
            Invalid(_("An item cannot be a substitute for itself."), field="instead"),
        ),
        (item.by_eye or instead.by_eye, Invalid(loose, field="instead")),
        (
            instead.retired_on is not None,
            Invalid(retired % {"instead": instead.name}, field="instead"),
        ),
        (
            bool(at_next_order)
            and successor(item.pk, {**ordered_instead(), item.pk: instead.pk}) == item.pk,
            Invalid(circle % {"item": item.name, "instead": instead.name}, field="instead"),
        ),
    )
    with Book(act) as book:
        _hold_kits(book, item)
        known_then.remember(item)
        if at_next_order:
            Substitute.objects.filter(item=item).update(at_next_order=False)
        row, _made = Substitute.objects.update_or_create(
            item=item,
            instead=instead,
            defaults={"note": note}
            | ({} if at_next_order is None else {"at_next_order": at_next_order}),
        )
        known_then.remember(item)
    return row


def ordered_instead() -> dict[int, int]:
    """Which item (id) orders take in place of which."""
    return dict(Substitute.objects.filter(at_next_order=True).values_list("item", "instead"))


def remove_substitute(act: Act, item: Item, instead: Item) -> None:
    """Record that another item can no longer be used instead of this one. Raises NotFound."""
    act.actor.require("edit_item")
    with Book(act) as book:
        _hold_kits(book, item)
        known_then.remember(item)
        if not Substitute.objects.filter(item=item, instead=instead).delete()[0]:
            raise NotFound("such substitute", instead.name)
        known_then.remember(item)


# ------------------------------------------------------------------------------------------- inside
def _changed(item: Item, facts: Mapping[str, object]) -> set[str]:
    return {name for name, value in facts.items() if getattr(item, name) != value}


def _hold_kits(book: Book, item: Item) -> None:
    """Lock the kits that are judged by an item, and have none of it go into another meanwhile."""
    book.hold(
        lambda: _kits_judged_by(item),
        lambda: Lot.objects.filter(item=item).values_list("pk", flat=True),
    )


def _locked(item: Item) -> Item:
    # Rows that point at the item may be written meanwhile: only its own columns are locked.
    return Item.objects.select_for_update(no_key=True).get(pk=item.pk)


def _save(item: Item) -> None:
    with refuse_taken_name(_taken(item)):
        item.save()
        known_then.remember(item)


def _taken(item: Item) -> str:
    return _("There is already an item called %(name)s. Choose another name.") % {"name": item.name}


def _settle(item: Item) -> None:
    """Tidy the facts of an item and refuse what does not go together."""
    item.name = " ".join(item.name.split())
    item.base_unit = " ".join(item.base_unit.split())
    low, high = item.min_temp_c, item.max_temp_c
    checked = bool(item.check_every_days)
    refuse_first(
        (
            not item.name or item.name.isdigit(),
            Invalid(_("Enter a name that is not just a number."), field="name"),
        ),
        (
            not item.base_unit,
            Invalid(
                _("Enter the smallest unit that is counted, such as “swab” or “pair”."),
                field="base_unit",
            ),
        ),
        (
            Item.objects.filter(name__iexact=item.name).exclude(pk=item.pk).exists(),
            name_taken(_taken(item)),
        ),
        (
            item.by_eye and item.kind != Kind.CONSUMABLE,
            Invalid(_("Only consumables can be loose."), field="by_eye"),
        ),
        (
            low is not None and high is not None and low > high,
            Invalid(_("The lowest temperature is above the highest."), field="min_temp_c"),
        ),
        (
            item.kind == Kind.INSTRUMENT and checked and not item.check_question,
            Invalid(
                _("Enter the question for its regular check, such as “Gauge in the green?”."),
                field="check_question",
            ),
        ),
        (
            item.kind != Kind.INSTRUMENT and (checked or bool(item.check_question)),
            Invalid(_("Only instruments are checked regularly."), field="check_every_days"),
        ),
        (
            item.kind == Kind.MEDICINE
            and item.disposal not in allowed(Kind.MEDICINE, item.disposal),
            Invalid(
                _(
                    "A medicine goes to a pharmacy, back to its maker, or into sharps or clinical "
                    "waste; it never goes into a bin."
                ),
                field="disposal",
            ),
        ),
    )


def _refuse_to_change_what_is_held(item: Item, facts: ItemFacts, changed: set[str]) -> None:
    means_another = changed & {"base_unit", "by_eye"}
    if "kind" in changed and Kind.INSTRUMENT in (item.kind, facts["kind"]):
        means_another.add("kind")
    held = Holding.objects.on_hand().filter(lot__item=item)
    if means_another == {"by_eye"}:
        held = held.filter(place__kind=PlaceKind.SECTION)
    if not means_another or not held.exists():
        return
    what = {
        "base_unit": _("the unit it is counted in"),
        "by_eye": _("whether it is loose"),
        "kind": _("its kind"),
    }
    raise Refused(
        "units-in-the-book",
        _(
            "Units of %(item)s are on record, and after a change to %(changes)s the record "
            "would no longer describe them. Add a new item instead, or use up or dispose of "
            "the existing units first."
        )
        % {
            "item": item.name,
            "changes": _(" and ").join(what[name] for name in sorted(means_another)),
        },
        places=list(held.values_list("place", flat=True).distinct().order_by("place")[:50]),
    )


def _kits_judged_by(item: Item) -> QuerySet[Kit, int]:
    """Kits in use whose lists have an item or what it can be used instead of, or that hold it."""
    versions = ListLine.objects.filter(Q(item=item) | Q(item__substitutes__instead=item)).values(
        "section__version"
    )
    holding = Place.objects.filter(
        kind=PlaceKind.SECTION, holdings__lot__item=item, holdings__units__gt=0
    ).values("kit")
    return (
        Kit.objects.filter(Q(list_version__in=versions) | Q(pk__in=holding), retired_on=None)
        .order_by("pk")
        .values_list("pk", flat=True)
    )
