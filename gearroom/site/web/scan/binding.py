"""A label that was printed ahead: what it was stuck on."""

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
def bind_label(request: HttpRequest, code: str) -> HttpResponse:
    """Say what a blank label is on: what of its kind has none yet stands first."""
    blank = labelling.one_of(actor(request), code)
    if blank.kind != LabelKind.BLANK or blank.cancelled_at is not None:
        return redirect("one-label", code=label_codes.shown(blank.code))
    if request.method != "POST":
        return _page(request, blank)
    return acted(
        request,
        lambda act: _bind(act, request, blank),
        to=reverse("one-label", args=[label_codes.shown(blank.code)]),
        refused=lambda problem: _page(request, blank, problem),
    )


def _bind(act: Act, request: HttpRequest, blank: Label) -> Done:
    kind, room = printing.kind_of(request), printing.room_of(request)
    (target,) = printing.targets(act.actor, kind, room, request.POST.getlist("on")[:1])
    bound = labelling.bind(act, blank.code, target)
    return Done(
        _("Label %(code)s is now on %(thing)s.")
        % {"code": label_codes.shown(bound.code), "thing": printing.name_of(target)}
    )


def _page(request: HttpRequest, label: Label, problem: Problem | None = None) -> HttpResponse:
    kind, room = printing.kind_of(request), printing.room_of(request)
    if kind == "blanks":
        kind = "kits"
    search = request.GET.get("search", "").strip()[:80]
    rows = list(printing.things(actor(request), kind, room, search)[: printing.MOST])
    labels = printing.newest(kind, rows)
    rows.sort(key=lambda row: row.pk in labels)
    return show(
        request,
        "site/scan/bind.html",
        problem=problem,
        code=label_codes.shown(label.code),
        kinds={name: label for name, label in printing.KINDS.items() if name != "blanks"},
        kind=kind,
        room=room,
        search=search,
        rows=[
            {"pk": row.pk, "name": printing.name_of(row), "labelled": row.pk in labels}
            for row in rows
        ],
    )
