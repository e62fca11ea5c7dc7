"""What is said of a thing: edited, its packs' codes, what will do instead, no longer bought."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, Problem, Stale, printable
from gearroom.site.web.page.fields import whole, words
from gearroom.site.web.page.shell import Done, acted, page, show
from gearroom.site.web.page.words import DISPOSALS
from gearroom.site.web.stock.stock import kind_words
from kits.models import Disposal, Item
from kits.rules.ledger.facts import Kind
from kits.services.lookup import find
from kits.services.stock import catalogue

_TEXTS = {
    "name": (_lazy("Its name, plain, without a brand"), 120),
    "base_unit": (_lazy("Counted in (swab, pair, tablet)"), 40),
    "caution": (_lazy("Caution shown with it"), 300),
    "check_question": (_lazy("Instruments: what the check asks"), 200),
}
_NUMBERS = {
    "order_down_to": (_lazy("Order at (empty: worked out from use)"), 0, 1_000_000),
    "lead_time_days": (_lazy("Days from ordering to having"), 0, 1000),
    "opened_life_days": (_lazy("Days it keeps once opened (empty: as printed)"), 1, 10_000),
    "check_every_days": (_lazy("Instruments: checked every … days"), 1, 10_000),
    "min_temp_c": (_lazy("Keep no colder than, °C"), -100, 100),
    "max_temp_c": (_lazy("Keep no warmer than, °C"), -100, 100),
    "volume_ml": (_lazy("Volume of one, ml"), 0, 1_000_000),
    "mass_g": (_lazy("Weight of one, g"), 0, 1_000_000),
}
_CHECKS = {
    "needs_date": _lazy("It needs a use-by date"),
    "sterile": _lazy("Sterile"),
    "by_eye": _lazy("Loose in kits, not counted"),
    "latex": _lazy("Contains latex"),
    "child": _lazy("For children"),
}


@page("edit_item")
def edit(request: HttpRequest, item: int) -> HttpResponse:
    """A thing with all that is said of it, in one form, and a few small ones beside it."""
    found = find.item(item)
    if request.method != "POST":
        return _shown(request, found)
    try:
        return _acted(request, found)
    except Problem as problem:
        return _shown(request, found, problem)


def _shown(request: HttpRequest, item: Item, problem: Problem | None = None) -> HttpResponse:
    said = request.POST if problem and "save" in request.POST else None

    def value(name: str) -> Any:
        kept = getattr(item, name)
        return said.get(name, "") if said is not None else "" if kept is None else kept

    facts = {
        "item": item,
        "problem": problem,
        "texts": [(name, label, most, value(name)) for name, (label, most) in _TEXTS.items()],
        "numbers": [
            (name, label, least, most, value(name))
            for name, (label, least, most) in _NUMBERS.items()
        ],
        "checks": [
            (name, label, bool(said.get(name)) if said is not None else getattr(item, name))
            for name, label in _CHECKS.items()
        ],
        "kinds": kind_words(),
        "kind": value("kind"),
        "ways": DISPOSALS,
        "way": value("disposal"),
        "packs": item.pack_codes.order_by("gtin"),
        "instead": item.substitutes.select_related("instead").order_by("instead__name"),
        "others": Item.objects.active().exclude(pk=item.pk).order_by("name"),
    }
    status = problem.status if problem else 200
    return show(request, "site/stock/item_edit.html", facts, status=status)


def _acted(request: HttpRequest, item: Item) -> HttpResponse:
    what = next((name for name in _ACTS if name in request.POST), None)
    if what is None:
        raise Invalid(_("Choose what to do with it."))

    def perform(act: Act) -> Done:
        return Done(_ACTS[what](act, item, request))

    back = "thing" if what == "save" else "edit-thing"
    return acted(request, perform, to=reverse(back, args=[item.pk]))


def _saved(act: Act, item: Item, request: HttpRequest) -> str:
    said = request.POST
    if said.get("kind") not in list(Kind) or said.get("disposal") not in list(Disposal):
        raise Invalid(_("This form did not come from this page. Load the page again."))
    facts: dict[str, Any] = {name: words(said, name, most) for name, (_l, most) in _TEXTS.items()}
    facts |= {name: _number(said.get(name, ""), name) for name in _NUMBERS}
    facts |= {name: bool(said.get(name)) for name in _CHECKS}
    if facts["lead_time_days"] is None:
        raise Invalid(_("Enter how many days a delivery takes."), field="lead_time_days")

    def as_shown(now: Item) -> None:
        if str(now.revision) != said.get("revision"):
            says = _("Somebody changed %(thing)s while this page was open. Load it again.")
            raise Stale("changed-since", says % {"thing": now.name})

    facts |= {"kind": said["kind"], "disposal": said["disposal"]}
    catalogue.edit_item(replace(act, match=as_shown), item, **facts)
    return _("%(thing)s is saved.") % {"thing": facts["name"]}


def _number(text: str, name: str) -> int | None:
    label, least, most = _NUMBERS[name]
    text = text.strip().replace("\N{MINUS SIGN}", "-")
    if not text:
        return None
    digits = text.removeprefix("-")
    if digits.isascii() and digits.isdigit() and len(digits) < 9 and least <= int(text) <= most:
        return int(text)
    raise Invalid(
        _("%(what)s: “%(text)s” is not valid. Enter a whole number from %(least)d to %(most)d.")
        % {"what": label, "text": printable(text), "least": least, "most": most},
        field=name,
    )


def _pack_added(act: Act, item: Item, request: HttpRequest) -> str:
    holds = whole(request.POST, "holds", least=1, what=_("Units in a pack"))
    code = catalogue.put_pack_code(
        act, item, gtin=words(request.POST, "gtin", 20), units_per_pack=holds
    )
    return _("A pack with %(gtin)s holds %(n)d.") % {"gtin": code.gtin, "n": holds}


def _pack_removed(act: Act, item: Item, request: HttpRequest) -> str:
    catalogue.remove_pack_code(act, item, request.POST["unpack"])
    return _("Packs with %(gtin)s are no longer known.") % {"gtin": request.POST["unpack"]}


def _instead_added(act: Act, item: Item, request: HttpRequest) -> str:
    other = find.item(request.POST.get("other", ""))
    catalogue.put_substitute(act, item, other, words(request.POST, "note", 200))
    return _("Can use %(other)s instead.") % {"other": other.name}


def _instead_removed(act: Act, item: Item, request: HttpRequest) -> str:
    other = find.item(request.POST["not-instead"])
    catalogue.remove_substitute(act, item, other)
    return _("%(other)s can no longer be used instead.") % {"other": other.name}


def _retired(act: Act, item: Item, request: HttpRequest) -> str:
    catalogue.retire_item(act, item)
    return _("%(thing)s is no longer bought. What is left may be used up.") % {"thing": item.name}


def _brought_back(act: Act, item: Item, request: HttpRequest) -> str:
    catalogue.bring_back_item(act, item)
    return _("%(thing)s is bought again.") % {"thing": item.name}


_ACTS: dict[str, Callable[[Act, Item, HttpRequest], str]] = {
    "save": _saved,
    "pack": _pack_added,
    "unpack": _pack_removed,
    "instead": _instead_added,
    "not-instead": _instead_removed,
    "retire": _retired,
    "bring-back": _brought_back,
}
