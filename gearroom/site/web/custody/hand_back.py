"""Handing back: the three ways, sharps or blood, and what was used.

Use is one tap a thing. Whoever knows the very batch scans or types its label, and its own tile
comes up, counted once; the form is sent to itself for that and keeps what it was told.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gearroom.core.acts.act import Act, Actor
from gearroom.core.acts.problems import Invalid, Problem
from gearroom.site.web.page.act_fields import as_it_was
from gearroom.site.web.page.shell import Done, acted, actor, page, show
from gearroom.site.web.scan.photos import sent_with
from kits.models import AsFound, Item, Kit, Lot
from kits.rules.custody.use import Went
from kits.rules.ledger.facts import Level
from kits.services.custody import custody, use
from kits.services.custody.hand_back_remarks import Remarks
from kits.services.custody.unmet_needs import NeedLine
from kits.services.custody.use_suggestions import UseSuggestions, suggest
from kits.services.kits import mixed_contents, participants_own
from kits.services.ledger.levels import LooseLevel
from kits.services.lookup import find
from kits.services.overview import kits_overview
from labels.services.scan.batches import batch_in
from labels.services.scan.read_picture import look

MOST_UNITS = 999
MOST_NEEDED = 20


@page("check_in")
def hand_back(request: HttpRequest, kit: str) -> HttpResponse:
    """Hand a kit back: the three ways, then for an opened one sharps or blood, then what was
    used."""
    found = find.any_kit(kit, actor(request))
    if request.method != "POST":
        return _page(request, found)
    try:
        if request.POST.get("read"):
            return _page(request, found, batch=batch_sent(request))
        return _handed_back(request, found)
    except Problem as problem:
        return _page(request, found, problem)


def _page(
    request: HttpRequest, kit: Kit, problem: Problem | None = None, batch: Lot | None = None
) -> HttpResponse:
    said = request.POST or request.GET
    who = actor(request)
    theirs = who.belongs_to(kit.room_id) or who.belongs_to(kit.home_room_id)
    facts: dict[str, Any] = {"kit": kit, "problem": problem, "said": said}
    if theirs:
        facts["seen"] = kits_overview.overview(who, kit)
    if said.get("sharps") in ("yes", "no"):
        # What another room's kit carries is not theirs to see; that it was opened is.
        facts |= {"step": "used", "sharps": said["sharps"], "may_scan": theirs}
        facts |= besides(request, kit)
        facts |= counts(request.POST, suggest(kit), batch) if theirs else {}
    else:
        facts["not_ours"] = participants_own.is_inside(kit)
        facts["step"] = "sharps" if said.get("opened") else "ways"
    part = "HX-Request" in request.headers and facts["step"] == "used"
    template = "site/custody/hand_back_counts.html" if part else "site/custody/hand_back.html"
    status = problem.status if problem and not part else 200
    return show(request, template, facts, status=status)


def _handed_back(request: HttpRequest, kit: Kit) -> HttpResponse:
    used, levels = used_in(request.POST, kit)
    remarks = remarks_in(request, kit)
    photo = sent_with(request)

    def perform(act: Act) -> Done:
        back = custody.check_in(
            as_it_was(act, request.POST, kit.home_room.time_zone),
            kit,
            as_found=AsFound.OPENED,
            used=used,
            levels=levels,
            sharps_or_blood=request.POST.get("sharps") == "yes",
            wet=bool(request.POST.get("wet")),
            wrong=request.POST.get("wrong", "").strip()[:300],
            photo=photo,
            incident=request.POST.get("incident", "").strip()[:80],
            remarks=remarks,
        )
        count = sum(line.units for line in back.use.lines) if back.use else 0
        says = _("%(kit)s is handed back, opened. %(wrote)s") % {
            "kit": kit.name,
            "wrote": in_words(count),
        }
        return Done(says, back.entry.pk)

    who: Actor = actor(request)
    on = who.may("restock", kit.room_id)
    return acted(request, perform, to=reverse("sort", args=[kit.name]) if on else reverse("scan"))


def in_words(count: int) -> str:
    """How many things were used, as a sentence."""
    if not count:
        return _("Nothing used.")
    return ngettext("%(count)d item used.", "%(count)d items used.", count) % {"count": count}


def batch_sent(request: HttpRequest) -> Lot | None:
    """The batch that was scanned, photographed or typed into the form; None where nothing was."""
    picture = request.FILES.get("image")
    if isinstance(picture, UploadedFile) and picture.size:
        return batch_in(actor(request), look(picture.read()).seen)
    text = request.POST.get("batch", "").strip()
    return batch_in(actor(request), text) if text else None


# ------------------------------------------------------------------------------ the form's counts
@dataclass(frozen=True)
class Tile:
    """A field with a number: of a thing, or of one batch of it."""

    name: str
    item: Item
    count: str = "0"
    lot: Lot | None = None


@dataclass(frozen=True)
class Eye:
    """Something that nobody counts, and how much of it was seen."""

    name: str
    item: Item
    level: str = ""


def counts(said: Mapping[str, str], of: UseSuggestions, batch: Lot | None = None) -> dict[str, Any]:
    """The tiles of a form of use as it was filled in, with one more of a batch just scanned."""

    def tile(item: Item) -> Tile:
        name = f"used-{item.pk}"
        return Tile(name, item, said.get(name) or "0")

    lots = {pk: lot for pk, lot in _lots(said).items() if lot is not None}
    if batch is not None:
        lots.setdefault(batch.pk, batch)
    batches = []
    for pk, lot in lots.items():
        count = said.get(f"lot-{pk}") or "0"
        if batch is not None and pk == batch.pk:
            count = str(min(MOST_UNITS, _number(count) + 1))
        batches.append(Tile(f"lot-{pk}", lot.item, count, lot))
    return {
        "batches": batches,
        "away": [
            Tile(f"away-{item.pk}", item, said.get(f"away-{item.pk}") or "0") for item in of.lasting
        ],
        "first": [tile(item) for item in of.first],
        "pouches": [
            {
                "name": pouch.name,
                "counted": [tile(item) for item in pouch.counted],
                "by_eye": [
                    Eye(name, item, said.get(name, ""))
                    for item in pouch.by_eye
                    for name in [f"level-{pouch.key}-{item.pk}"]
                ],
            }
            for pouch in of.pouches
        ],
    }


def used_in(said: Mapping[str, str], kit: Kit) -> tuple[list[use.UseLine], list[LooseLevel]]:
    """What a form says was used: fields `used-ITEM` and `lot-LOT` with a number, all of it in class
    with `in_class`; `away-ITEM` went with a casualty; `level-SECTION-ITEM`. Raises Invalid."""
    things: dict[int, int] = {}
    away: dict[int, int] = {}
    seen: list[tuple[str, int, Level]] = []
    for name, value in said.items():
        if name.startswith("used-") and value.strip() not in ("", "0"):
            things[_number(name[5:])] = _number(value, most=MOST_UNITS)
        elif name.startswith("away-") and value.strip() not in ("", "0"):
            away[_number(name[5:])] = _number(value, most=MOST_UNITS)
        elif name.startswith("level-") and value:
            key, _dash, item = name[6:].rpartition("-")
            try:
                seen.append((key, _number(item), Level(value)))
            except ValueError:
                raise _not_ours() from None
    items = Item.objects.in_bulk([*things, *away, *(item for _, item, _ in seen)])
    lots = _lots(said)
    batches = [(lot, _number(said[f"lot-{pk}"] or "0", MOST_UNITS)) for pk, lot in lots.items()]
    if any(pk not in items for pk in (*things, *away, *(item for _, item, _ in seen))):
        raise _not_ours()
    went = Went.IN_CLASS if said.get("in_class") else Went.USED
    lines = [
        use.UseLine(lot.item, count, lot, went=went) for lot, count in batches if lot and count
    ]
    lines += [use.UseLine(items[pk], count, went=went) for pk, count in things.items()]
    gone = [use.UseLine(items[pk], n, went=Went.MAY_COME_BACK) for pk, n in away.items()]
    return (
        lines + gone,
        [
            LooseLevel(find.section(kit, key), items[item], level)
            for key, item, level in seen
            if items[item].by_eye
        ],
    )


# ------------------------------------------------------------------------------ what else is said
def besides(request: HttpRequest, kit: Kit) -> dict[str, Any]:
    """What a form asks besides use, as it was filled in."""
    chosen = request.POST.getlist("mixed")
    return {
        "not_ours": participants_own.is_inside(kit),
        "mixed": [(other, other.name in chosen) for other in mixed_contents.may_be(kit)],
    }


def remarks_in(request: HttpRequest, kit: Kit) -> Remarks:
    """What a form says besides use: `needed`, a thing a line; `mixed`, other kits' names;
    `given_back`. Raises Invalid."""
    lines = [" ".join(line.split()) for line in request.POST.get("needed", "").splitlines()]
    wanted = [line for line in lines if line][:MOST_NEEDED]
    known = {name.casefold(): pk for pk, name in Item.objects.values_list("pk", "name")}
    items = Item.objects.in_bulk([known[w.casefold()] for w in wanted if w.casefold() in known])
    chosen = request.POST.getlist("mixed")
    others = [other for other in mixed_contents.may_be(kit) if other.name in chosen]
    if len(others) != len(set(chosen)):
        raise _not_ours()
    return Remarks(
        [
            NeedLine(items[pk]) if (pk := known.get(line.casefold())) else NeedLine(words=line)
            for line in wanted
        ],
        others,
        given_back=bool(request.POST.get("given_back")),
    )


def _lots(said: Iterable[str]) -> dict[int, Lot | None]:
    wanted = [_number(name[4:]) for name in said if name.startswith("lot-")]
    found = Lot.objects.select_related("item").in_bulk(wanted)
    if any(pk not in found for pk in wanted):
        raise _not_ours()
    return {pk: found[pk] for pk in wanted}


def _number(text: str, most: int = 2**31) -> int:
    text = text.strip()
    if not (text.isascii() and text.isdigit() and len(text) < 10 and int(text) <= most):
        raise Invalid(
            _("“%(text)s” is not a number of items. Enter a whole number up to %(most)d.")
            % {"text": text[:20], "most": MOST_UNITS}
        )
    return int(text)


def _not_ours() -> Invalid:
    return Invalid(_("This form did not come from this page. Load the page again."))
