"""The kits of one's rooms, and one kit: how it stands, who has it, what is inside."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from gearroom.core.acts.act import Act, Actor
from gearroom.core.acts.problems import Invalid
from gearroom.core.models import Person
from gearroom.core.services.people import people
from gearroom.site.web.page import remedies as ways
from gearroom.site.web.page.act_fields import somebody_new
from gearroom.site.web.page.shell import Done, acted, actor, back_to, page, show
from gearroom.site.web.scan.photos import sent_with
from kits.models import Kit, WithheldKind
from kits.rules.lookup import label_codes
from kits.services.custody import custody, offers
from kits.services.kits import contents, history, holds, participants_own, photos, record
from kits.services.ledger import readiness
from kits.services.lookup import find
from kits.services.overview import kits_overview
from kits.services.restocking import sorting
from kits.services.text import reason_texts, wording
from kits.services.trips import due_times
from labels.services.scan.remedies import ways_on
from labels.services.scan.results import Next

_MOST_KITS = 200
_TIMELINE = 8
_BY_HAND = (WithheldKind.DRYING, WithheldKind.SOMETHING_WRONG, WithheldKind.KEEP_AS_IT_CAME_BACK)


@require_safe
@page()
def every(request: HttpRequest) -> HttpResponse:
    """The kits of one's rooms."""
    who = actor(request)
    search = request.GET.get("search", "").strip()[:40]
    rows = list(kits_overview.listed(who, search=search)[: _MOST_KITS + 1])
    return show(
        request,
        "site/kits/kits.html",
        {
            "search": search,
            "may_add": who.may("edit_kit"),
            "kits": kits_overview.overviews(who, rows[:_MOST_KITS]),
            "more": len(rows) > _MOST_KITS,
        },
    )


@require_safe
@page()
def one(request: HttpRequest, kit: str) -> HttpResponse:
    """One kit, with as much of it as whoever asks may see."""
    who = actor(request)
    found = find.kit(who, kit)
    seen = kits_overview.overview(who, found)
    inside = contents.contents(found)
    verdict = seen.judged.verdict
    facts: dict[str, Any] = {
        "kit": seen.kit,
        "seen": seen,
        "settle": ways.settle_verdict(found, verdict),
        "verdict": verdict,
        "reasons": reason_texts.reasons(verdict.reasons),
        "offers": _offers(who, seen),
        "today": readiness.today_of(found),
        "pouches": _pouches(seen.sections, inside),
        "labels": [label_codes.shown(code) for code in seen.labels],
        "people": people.may_take(who) if who.may("see_people") else [],
        "kinds": [(kind.value, wording.withheld(kind)) for kind in _BY_HAND],
        "may": _rights(request, found),
        "due": due_times.due(who, seen.checkout) if seen.checkout else None,
        "not_ours": participants_own.is_inside(found),
        "photos": photos.of_what_is_wrong(found),
    }
    if facts["may"]["read_history"]:
        facts["happened"], facts["older"] = history.history(who, found, most=_TIMELINE)
        facts["look_by"] = record.look_by(found)
    if facts["may"]["read_history"] and seen.knows:
        facts["seals"] = list(
            found.seals.select_related("section", "put_on__person", "broken").order_by("-id")[:8]
        )
        facts["instruments"] = record.checks(inside)
    return show(request, "site/kits/kit.html", facts)


def _offers(who: Actor, seen: kits_overview.Overview) -> list[Next]:
    """What settles a kit that may not go, of that what is one tap here."""
    if seen.checkout is not None:
        return []
    asked = seen.judged.question
    rows = offers.offers(who, seen.kit, seen.judged.verdict, trip=asked.trip)
    ways = ways_on(offers.as_values(who, seen.kit, rows), seen.kit.name)
    return [way for way in ways if not way.needs]


@require_POST
@page("pass")
def pass_on(request: HttpRequest, kit: str) -> HttpResponse:
    """A kit was passed to another person."""

    def perform(act: Act) -> Done:
        found = find.kit(act.actor, kit)
        to = somebody_new(act, request.POST) or _somebody(act.actor, request)
        held = custody.pass_on(act, found, to).checkout
        name = held.person.name if held.person else ""
        return Done(_("%(name)s has %(kit)s now.") % {"name": name, "kit": held.kit.name})

    return acted(request, perform, to=reverse("kit", args=[kit]))


def _somebody(who: Actor, request: HttpRequest) -> Person:
    ref = request.POST.get("person", "")
    if not ref:
        raise Invalid(
            _("Choose who has it now, or enter a name and a telephone number."), field="person"
        )
    return find.person(who, ref)


@require_POST
@page("withhold")
def withhold(request: HttpRequest, kit: str) -> HttpResponse:
    """Keep a kit back, with the reason."""
    photo = sent_with(request)

    def perform(act: Act) -> Done:
        try:
            kind = WithheldKind(request.POST.get("kind", ""))
        except ValueError:
            raise Invalid(_("Choose why it is not to be taken."), field="kind") from None
        note = request.POST.get("note", "").strip()[:300]
        entry = holds.withhold(act, find.kit(act.actor, kit), kind, note, photo)
        return Done(_("On hold: nobody takes %(kit)s now.") % {"kit": kit}, entry.pk)

    return acted(request, perform, to=reverse("kit", args=[kit]))


@require_POST
@page("release")
def release(request: HttpRequest, kit: str) -> HttpResponse:
    """Let a kit go again that was kept back."""

    def perform(act: Act) -> Done:
        try:
            kind = WithheldKind(request.POST.get("kind", ""))
        except ValueError:
            raise Invalid(_("Choose what to do."), field="kind") from None
        entry = holds.release(act, find.kit(act.actor, kit), kind)
        return Done(_("Released: %(kit)s is judged again.") % {"kit": kit}, entry.pk)

    return acted(request, perform, to=reverse("kit", args=[kit]))


@require_POST
@page("take_expired_out")
def take_out(request: HttpRequest, kit: str) -> HttpResponse:
    """What may not stay inside was taken out."""

    def perform(act: Act) -> Done:
        entry = sorting.take_expired_out(act, find.kit(act.actor, kit))
        return Done(
            _("Removed from %(kit)s what may not stay inside. Restock it next.") % {"kit": kit},
            entry.pk,
        )

    return acted(request, perform, to=back_to(request, reverse("sort", args=[kit])))


def _pouches(
    sections: Sequence[kits_overview.SectionSeen], inside: contents.Contents
) -> list[dict[str, Any]]:
    lines = {place: list(rows) for place, rows in groupby(inside.lines, lambda c: c.section.pk)}
    levels: dict[int, list[tuple[str, str]]] = {}
    for place, item, level in inside.levels:
        levels.setdefault(place.pk, []).append((item.name, str(level)))
    return [
        {
            "section": each,
            "lines": lines.get(each.place.pk, []),
            "levels": levels.get(each.place.pk, []),
        }
        for each in sections
    ]


def _rights(request: HttpRequest, kit: Kit) -> dict[str, bool]:
    who = actor(request)
    wanted = (
        "check_out",
        "count",
        "restock",
        "reseal",
        "pass",
        "add_holder",
        "withhold",
        "release",
        "read_history",
        "reverse",
        "print_labels",
        "check_out_short",
        "check_instrument",
        "strip",
    )
    return {
        name: who.could(name, kit.room_id) or who.could(name, kit.home_room_id) for name in wanted
    }
