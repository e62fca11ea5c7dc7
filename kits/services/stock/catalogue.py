"""Things: added, edited, given pack codes and what will do instead, retired.

A thing is the organisation's, not a room's. Where a change alters how kits are judged, every kit
that follows a list with the thing, or holds it, is judged again in the same transaction.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TypedDict, Unpack

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils.translation import gettext as _
from stdnum import ean
from stdnum.exceptions import ValidationError

from gearroom.core import clock
from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, NotFound, Refused, Stale
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
from kits.rules.ledger.facts import Kind
from kits.rules.stock.disposal import allowed
from kits.services.ledger import known_then
from kits.services.ledger.book import Book
from kits.services.text.amounts import units


class ItemFacts(TypedDict, total=False):
    """What may be said of a thing; see the table's columns. Lengths of life are in days,
    temperatures in °C, volume in ml and mass in g of one base unit."""

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
    opened_life_days: int | None
    check_every_days: int | None
    check_question: str
    disposal: str
    volume_ml: int | None
    mass_g: int | None
    lead_time_days: int
    order_down_to: int | None
    caution: str


JUDGED_BY = frozenset({"kind", "needs_date", "sterile", "by_eye", "opened_life_days"})
"""What the stored last days of kits depend on; the rest is asked for when it is needed."""


def add_item(act: Act, **facts: Unpack[ItemFacts]) -> Item:
    """Add a thing. Raises Refused (`name-taken`), Invalid for what does not go together."""
    act.actor.require("edit_item")
    if facts.get("kind") == Kind.MEDICINE:
        facts.setdefault("disposal", Disposal.PHARMACY)
    item = Item(**facts)
    _settle(item)
    _save(item)
    return item


def edit_item(act: Act, item: Item, **facts: Unpack[ItemFacts]) -> Item:
    """Change what is said of a thing.

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
        changed = _changed(item, facts)
        if not changed:
            return item
        if not changed & JUDGED_BY <= judged_anew:
            raise Stale("changed-since", _("It was changed just now. Look at it again, then save."))
        _refuse_to_change_what_is_held(item, facts, changed)
        known_then.remember(item)
        for name, value in facts.items():
            setattr(item, name, value)
        _settle(item)
        item.revision += 1
        _save(item)
    return item


def retire_item(act: Act, item: Item) -> Item:
    """Stop buying a thing. What is left of it may be used up. Raises Refused (`on-a-kit-list`)
    while kits in use follow a list that asks for it."""
    act.actor.require("edit_item")
    with transaction.atomic():
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
            names = ", ".join(lists)
            raise Refused(
                "on-a-kit-list",
                _(
                    "Kits follow kit lists that ask for %(item)s: %(names)s. Publish a version "
                    "without it and let the kits follow that first."
                )
                % {"item": item.name, "names": names},
                lists=list(lists),
            )
        if item.retired_on is None:
            item.retired_on = clock.today(settings.TIME_ZONE)
            item.revision += 1
            item.save(update_fields=["retired_on", "revision"])
    return item


def bring_back_item(act: Act, item: Item) -> Item:
    """Take a retired thing into use again."""
    act.actor.require("edit_item")
    with transaction.atomic():
        item = _locked(item)
        if item.retired_on is not None:
            item.retired_on = None
            item.revision += 1
            item.save(update_fields=["retired_on", "revision"])
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
                "“%(text)s” is not a GTIN: it has 8, 12, 13 or 14 digits, the last of which "
                "checks the others. Read the number below the barcode again."
            )
            % {"text": text},
            field="gtin",
        ) from error
    return compact.zfill(14)


def put_pack_code(act: Act, item: Item, *, gtin: str, units_per_pack: int = 1) -> PackCode:
    """Say that packs with a maker's GTIN hold so many base units of a thing; said again, the
    number of units is changed. Raises Refused (`pack-code-taken`) where it is another thing's."""
    act.actor.require("edit_item")
    count = units(units_per_pack, field="units_per_pack")
    normal = gtin14(gtin)
    with transaction.atomic():
        code, made = PackCode.objects.select_related("item").get_or_create(
            gtin=normal, defaults={"item": item, "units_per_pack": count}
        )
        if code.item_id != item.pk:
            raise Refused(
                "pack-code-taken",
                _("Packs with %(normal)s are %(item)s. Remove the code from that item first.")
                % {"normal": normal, "item": code.item.name},
                item=code.item_id,
            )
        if not made and code.units_per_pack != count:
            code.units_per_pack = count
            code.save(update_fields=["units_per_pack"])
    return code


def remove_pack_code(act: Act, item: Item, gtin: str) -> None:
    """Take a GTIN from a thing. Raises NotFound."""
    act.actor.require("edit_item")
    if not item.pack_codes.filter(gtin=gtin14(gtin)).delete()[0]:
        raise NotFound("pack code", gtin)


# -------------------------------------------------------------------------------------- substitutes
def put_substitute(act: Act, item: Item, instead: Item, note: str = "") -> Substitute:
    """Say that another thing will do instead of this one, one for one. It is not said of the other
    way round. Kits whose lists ask for the thing are judged again."""
    act.actor.require("edit_item")
    if item.pk == instead.pk:
        raise Invalid(_("An item cannot be used instead of itself."), field="instead")
    if item.by_eye or instead.by_eye:
        raise Invalid(
            _("What is loose is not counted, so nothing can be used instead of it one for one."),
            field="instead",
        )
    if instead.retired_on is not None:
        raise Invalid(
            _("%(instead)s is retired. Choose an item in use.") % {"instead": instead.name},
            field="instead",
        )
    with Book(act) as book:
        _hold_kits(book, item)
        known_then.remember(item)
        row, made = Substitute.objects.get_or_create(
            item=item, instead=instead, defaults={"note": note}
        )
        if not made and row.note != note:
            row.note = note
            row.save(update_fields=["note"])
        known_then.remember(item)
    return row


def remove_substitute(act: Act, item: Item, instead: Item) -> None:
    """Say that another thing does not do instead of this one any more. Raises NotFound."""
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
    """Lock the kits that are judged by a thing, and have none of it go into another meanwhile."""
    book.hold(
        lambda: _kits_judged_by([item.pk]),
        lambda: Lot.objects.filter(item=item).values_list("pk", flat=True),
    )


def _locked(item: Item) -> Item:
    # Rows that point at the item may be written meanwhile: only its own columns are locked.
    return Item.objects.select_for_update(no_key=True).get(pk=item.pk)


def _save(item: Item) -> None:
    try:
        with transaction.atomic():
            item.save()
            known_then.remember(item)
    except IntegrityError as error:
        raise _name_taken(item.name) from error


def _name_taken(name: str) -> Refused:
    return Refused(
        "name-taken",
        _("There is an item called %(name)s already. Choose another name.") % {"name": name},
    )


def _settle(item: Item) -> None:
    """Tidy what was said of a thing and refuse what does not go together."""
    item.name = " ".join(item.name.split())
    item.base_unit = " ".join(item.base_unit.split())
    if not item.name or item.name.isdigit():
        raise Invalid(_("Enter a name that is more than a number."), field="name")
    if not item.base_unit:
        raise Invalid(
            _("Enter what is counted: the smallest unit, such as “swab” or “pair”."),
            field="base_unit",
        )
    if Item.objects.filter(name__iexact=item.name).exclude(pk=item.pk).exists():
        raise _name_taken(item.name)
    if item.by_eye and item.kind != Kind.CONSUMABLE:
        raise Invalid(_("Only consumables can be loose."), field="by_eye")
    low, high = item.min_temp_c, item.max_temp_c
    if low is not None and high is not None and low > high:
        raise Invalid(_("The lowest temperature is above the highest."), field="min_temp_c")
    if item.kind == Kind.INSTRUMENT and item.check_every_days and not item.check_question:
        raise Invalid(
            _("Enter what its regular check asks, such as “Gauge in the green?”."),
            field="check_question",
        )
    if item.kind != Kind.INSTRUMENT and (item.check_every_days or item.check_question):
        raise Invalid(_("Only instruments are checked regularly."), field="check_every_days")
    if item.kind == Kind.MEDICINE and item.disposal not in allowed(Kind.MEDICINE, item.disposal):
        raise Invalid(
            _(
                "A medicine goes to the pharmacy, back to its maker, or to sharps or clinical "
                "waste; never into a bin."
            ),
            field="disposal",
        )


def _refuse_to_change_what_is_held(item: Item, facts: ItemFacts, changed: set[str]) -> None:
    means_another = changed & {"base_unit", "by_eye"}
    if "kind" in changed and Kind.INSTRUMENT in (item.kind, facts["kind"]):
        means_another.add("kind")
    if not means_another:
        return
    held = Holding.objects.on_hand().filter(lot__item=item)
    if means_another == {"by_eye"}:
        held = held.filter(place__kind=PlaceKind.SECTION)
    if not held.exists():
        return
    what = {
        "base_unit": _("the unit it is counted in"),
        "by_eye": _("whether it is loose"),
        "kind": _("its kind"),
    }
    changes = _(" and ").join(what[name] for name in sorted(means_another))
    raise Refused(
        "units-in-the-book",
        _(
            "There are units of %(item)s on record, and they would not be the same after "
            "%(changes)s changed. Add it as another item, or use up or dispose of what is held "
            "first."
        )
        % {"item": item.name, "changes": changes},
        places=list(held.values_list("place", flat=True).distinct().order_by("place")[:50]),
    )


def _kits_judged_by(item_ids: Iterable[int]) -> list[int]:
    """Kits in use whose lists ask for one of these things or for what they stand in for, or that
    hold one of them."""
    ids = list(item_ids)
    asked = Q(item__in=ids) | Q(item__substitutes__instead__in=ids)
    versions = ListLine.objects.filter(asked).values("section__version")
    holding = (
        Place.objects.sections()
        .filter(holdings__lot__item__in=ids, holdings__units__gt=0)
        .values("kit")
    )
    return list(
        Kit.objects.active()
        .filter(Q(list_version__in=versions) | Q(pk__in=holding))
        .order_by("pk")
        .values_list("pk", flat=True)
    )
