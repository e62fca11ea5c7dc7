"""The address printed on every label: `/L/CODE`, in any case; and what a label that was printed
ahead was stuck on."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from gearroom.core.acts import Act, Problem, actor_of
from gearroom.site.web.labelling import printing
from gearroom.site.web.page import Done, acted, actor, page, show
from kits.models import Label, LabelKind
from kits.rules.lookup import label_codes
from kits.services.labelling import labelling
from labels.services import passerby


@require_safe
def label(request: HttpRequest, code: str) -> HttpResponse:
    """Whoever belongs to its room goes to the thing; anybody else sees what it is, whose it is and
    how to return it."""
    who = actor_of(request.user) if request.user.is_authenticated else None
    if (printed := passerby.label_of(code)) is None:
        return show(
            request,
            "site/page/refusal/refusal.html",
            status=404,
            title=_("No label has this code."),
            detail=_("Scan the code on the label again: its check character does not match.")
            if label_codes.parse(code) is None
            else _("This looks like one of our labels, but it was not created here."),
        )
    facts = passerby.facts_of(printed, who)
    if facts.yours and not facts.cancelled:
        if printed.of_kit is not None:
            return redirect(reverse("kit", args=[printed.of_kit.name]))
        if printed.kind == LabelKind.BLANK and who is not None and who.may("bind_label"):
            return redirect("bind-label", code=label_codes.shown(printed.code))
        if printed.kind != LabelKind.BLANK:
            return redirect(f"{reverse('scan')}?text={label_codes.shown(printed.code)}")
    return show(request, "site/scan/passer_by.html", facts=facts, kit=printed.kit)


@page("bind_label")
def bind_label(request: HttpRequest, code: str) -> HttpResponse:
    """Say what a blank label is on: what of its kind has none yet stands first."""
    blank = labelling.one_of(actor(request), code)
    if blank.kind != LabelKind.BLANK or blank.cancelled_at is not None:
        return redirect("one-label", code=label_codes.shown(blank.code))
    if request.method != "POST":
        return _page(request, blank)
    try:
        return acted(
            request,
            lambda act: _bind(act, request, blank),
            to=reverse("one-label", args=[label_codes.shown(blank.code)]),
        )
    except Problem as problem:
        return _page(request, blank, problem)


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
