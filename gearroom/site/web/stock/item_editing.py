"""An item edited: its properties, its packs' codes, what can be used instead, no longer bought; and
one that is new here, entered where it first arrives."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy as _lazy

from gearroom.core.acts import Act, Invalid, Problem, Stale
from gearroom.site.web.page import (
    Choice,
    Done,
    PageForm,
    ShortText,
    Tick,
    WholeNumber,
    form_view,
    show,
)
from gearroom.site.web.page.words import DISPOSALS, ITEM_KINDS
from kits.models import Disposal, Item
from kits.rules.ledger.facts import Kind
from kits.services.lookup import find
from kits.services.stock import catalogue

LONGEST_CODE = 8000


class ItemForm(PageForm):
    """The properties of an item, as the page shows them."""

    name = ShortText(120, label=_lazy("Plain name, without a brand"))
    base_unit = ShortText(40, label=_lazy("Unit it is counted in (swab, pair, tablet)"))
    caution = ShortText(300, label=_lazy("Caution shown with the item"))
    check_question = ShortText(200, label=_lazy("Question to ask when checking an instrument"))
    kind = Choice(Kind)
    disposal = Choice(Disposal)
    order_down_to = WholeNumber(
        required=False,
        label=_lazy(
            "Order level: order when this many or fewer are left"
            " (leave empty to have it worked out from use)"
        ),
    )
    lead_time_days = WholeNumber(
        required=False, most=1000, label=_lazy("Days from order to delivery")
    )
    opened_life_days = WholeNumber(
        required=False,
        least=1,
        most=10_000,
        label=_lazy("Days of use after opening (leave empty if the printed date still applies)"),
    )
    check_every_days = WholeNumber(
        required=False, least=1, most=10_000, label=_lazy("Days between checks of an instrument")
    )
    min_temp_c = WholeNumber(
        required=False, least=-100, most=100, label=_lazy("Minimum storage temperature (°C)")
    )
    max_temp_c = WholeNumber(
        required=False, least=-100, most=100, label=_lazy("Maximum storage temperature (°C)")
    )
    volume_ml = WholeNumber(required=False, label=_lazy("Volume per unit (ml)"))
    mass_g = WholeNumber(required=False, label=_lazy("Weight per unit (g)"))
    needs_date = Tick(label=_lazy("Needs an expiry date"))
    sterile = Tick(label=_lazy("Sterile"))
    by_eye = Tick(label=_lazy("Loose in kits, not counted"))
    latex = Tick(label=_lazy("Contains latex"))
    child = Tick(label=_lazy("For children"))
    keep_dry = Tick(label=_lazy("Spoils when wet: keep dry"))


def _page(request: HttpRequest, item: int, problem: Problem | None = None) -> HttpResponse:
    of = find.item(item)
    sent = request.POST if problem and "save" in request.POST else None

    def value(name: str) -> Any:
        kept = getattr(of, name)
        return sent.get(name, "") if sent is not None else "" if kept is None else kept

    fields = ItemForm.base_fields.items()
    return show(
        request,
        "site/stock/item/edit.html",
        problem=problem,
        item=of,
        texts=[
            (name, field.label, field.most, value(name))
            for name, field in fields
            if isinstance(field, ShortText)
        ],
        numbers=[
            (name, field.label, field.least, field.most, value(name))
            for name, field in fields
            if isinstance(field, WholeNumber)
        ],
        checks=[
            (name, field.label, bool(value(name)))
            for name, field in fields
            if isinstance(field, Tick)
        ],
        kinds=ITEM_KINDS,
        kind=value("kind"),
        ways=DISPOSALS,
        way=value("disposal"),
        packs=of.pack_codes.order_by("gtin"),
        instead=of.substitutes.select_related("instead").order_by("instead__name"),
        others=Item.objects.active().exclude(pk=item).order_by("name"),
    )


@form_view("edit_item", page_of=_page)
def edit(act: Act, request: HttpRequest, item: int) -> Done:
    """An item with all of its properties in one form, and a few small ones beside it."""
    if (name := next((name for name in _ACTS if name in request.POST), None)) is None:
        raise Invalid(_("Choose an action."))
    return Done(
        _ACTS[name](act, find.item(item), request.POST),
        to=reverse("thing" if name == "save" else "edit-thing", args=[item]),
    )


def _save(act: Act, item: Item, sent: QueryDict) -> str:
    facts = ItemForm.read(sent)
    if facts["lead_time_days"] is None:
        raise Invalid(_("Enter how many days a delivery takes."), field="lead_time_days")

    def as_it_was_read(now: Item) -> None:
        if str(now.revision) != sent.get("revision"):
            raise Stale(
                "changed-since",
                _("Somebody changed %(thing)s while this page was open. Reload the page.")
                % {"thing": now.name},
            )

    catalogue.edit_item(replace(act, match=as_it_was_read), item, **facts)
    return _("%(thing)s has been saved.") % {"thing": facts["name"]}


def _add_pack(act: Act, item: Item, sent: QueryDict) -> str:
    values = PackForm.read(sent)
    code = catalogue.put_pack_code(act, item, gtin=values["gtin"], units_per_pack=values["holds"])
    return _("Units in a pack with the code %(gtin)s: %(n)d.") % {
        "gtin": code.gtin,
        "n": values["holds"],
    }


def _remove_pack(act: Act, item: Item, sent: QueryDict) -> str:
    catalogue.remove_pack_code(act, item, sent.get("unpack", ""))
    return _("Packs with the code %(gtin)s are no longer recognised.") % {
        "gtin": sent.get("unpack", "")
    }


class SubstituteForm(PageForm):
    """Another item, and how it differs."""

    other = ShortText(120)
    note = ShortText(200)


def _add_substitute(act: Act, item: Item, sent: QueryDict) -> str:
    values = SubstituteForm.read(sent)
    other = find.item(values["other"])
    catalogue.put_substitute(act, item, other, values["note"])
    return _("%(other)s can now be used instead of this item.") % {"other": other.name}


def _remove_substitute(act: Act, item: Item, sent: QueryDict) -> str:
    other = find.item(sent.get("not-instead", ""))
    catalogue.remove_substitute(act, item, other)
    return _("%(other)s can no longer be used instead of this item.") % {"other": other.name}


class CompanionForm(PageForm):
    """The item that does not work without this one; empty: none."""

    with_item = ShortText(120)


def _put_goes_with(act: Act, item: Item, sent: QueryDict) -> str:
    name = CompanionForm.read(sent)["with_item"]
    other = find.item(name) if name else None
    if other == item:
        raise Invalid(_("Choose another item."), field="with_item")
    catalogue.edit_item(act, item, goes_with=other)
    if other is None:
        return _("%(thing)s does not go with any other item.") % {"thing": item.name}
    return _("%(thing)s now goes with %(other)s.") % {"thing": item.name, "other": other.name}


def _retire(act: Act, item: Item, sent: QueryDict) -> str:
    catalogue.retire_item(act, item)
    return _("%(thing)s will no longer be bought. Any remaining stock may be used up.") % {
        "thing": item.name
    }


def _bring_back(act: Act, item: Item, sent: QueryDict) -> str:
    catalogue.bring_back_item(act, item)
    return _("%(thing)s will be bought again.") % {"thing": item.name}


_ACTS: dict[str, Callable[[Act, Item, QueryDict], str]] = {
    "save": _save,
    "pack": _add_pack,
    "unpack": _remove_pack,
    "instead": _add_substitute,
    "not-instead": _remove_substitute,
    "goes-with": _put_goes_with,
    "retire": _retire,
    "bring-back": _bring_back,
}


# ------------------------------------------------------------------------------------ new items
class NewItemForm(PageForm):
    """What has to be entered of an item at first."""

    name = ShortText(120)
    kind = Choice(Kind, message=_lazy("Choose the kind of item."))
    base_unit = ShortText(40)
    sterile = Tick()
    needs_date = Tick()


class PackForm(PageForm):
    """How many units the packs with a code hold."""

    gtin = ShortText(20)
    holds = WholeNumber(least=1, label=_lazy("Units in a pack"))


def add_item(act: Act, sent: QueryDict) -> Item:
    """Add the item of a form."""
    return catalogue.add_item(act, **NewItemForm.read(sent))


def add_pack_code(act: Act, item: Item, sent: QueryDict) -> str:
    """Note that packs with the code of a form, if it has one, are of an item. The query of the page
    on which it arrives: the code again, or the item."""
    text = sent.get("text", "")[:LONGEST_CODE]
    if not sent.get("gtin"):
        return urlencode({"item": item.pk})
    values = PackForm.read(sent)
    catalogue.put_pack_code(act, item, gtin=values["gtin"], units_per_pack=values["holds"])
    return urlencode({"text": text} if text else {"item": item.pk})
