"""A label that was printed ahead: what it was stuck on."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Problem
from gearroom.site.web.labelling import printing
from gearroom.site.web.page.shell import Done, acted, actor, page, show
from kits.models import Label, LabelKind
from kits.rules.lookup import label_codes
from kits.services.labelling import labelling


@page("bind_label")
def bind(request: HttpRequest, code: str) -> HttpResponse:
    """Say what a blank label is on: what of its kind has none yet stands first."""
    found = labelling.one_of(actor(request), code)
    if found.kind != LabelKind.BLANK or found.cancelled_at is not None:
        return redirect("one-label", code=label_codes.shown(found.code))
    if request.method != "POST":
        return _page(request, found)

    def perform(act: Act) -> Done:
        kind, room = printing.kind_of(request), printing.room_of(request)
        chosen = request.POST.getlist("on")[:1]
        (target,) = printing.targets(act.actor, kind, room, chosen)
        bound = labelling.bind(act, found.code, target)
        says = _("%(code)s is on %(thing)s now.")
        told = {"code": label_codes.shown(bound.code), "thing": printing.name_of(target)}
        return Done(says % told)

    try:
        return acted(
            request, perform, to=reverse("one-label", args=[label_codes.shown(found.code)])
        )
    except Problem as problem:
        return _page(request, found, problem)


def _page(request: HttpRequest, label: Label, problem: Problem | None = None) -> HttpResponse:
    kind, room = printing.kind_of(request), printing.room_of(request)
    if kind == "blanks":
        kind = "kits"
    search = request.GET.get("search", "").strip()[:80]
    rows = list(printing.things(actor(request), kind, room, search)[: printing.MOST])
    labels = printing.newest(kind, rows)
    rows.sort(key=lambda row: row.pk in labels)
    facts = {
        "code": label_codes.shown(label.code),
        "kinds": {name: said for name, said in printing.KINDS.items() if name != "blanks"},
        "kind": kind,
        "room": room,
        "search": search,
        "rows": [
            {"pk": row.pk, "name": printing.name_of(row), "labelled": row.pk in labels}
            for row in rows
        ],
        "problem": problem,
    }
    return show(
        request, "site/labelling/bind.html", facts, status=problem.status if problem else 200
    )
