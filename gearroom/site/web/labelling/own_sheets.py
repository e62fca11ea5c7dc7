"""Sheets of labels of one's own, by their measures."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any
from urllib.parse import quote

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, Problem
from gearroom.site.web.page import fields
from gearroom.site.web.page.shell import Done, acted, page, show
from labels.services.paper import paper

LENGTHS = {
    "page_width_mm": gettext_lazy("Width of the paper"),
    "page_height_mm": gettext_lazy("Height of the paper"),
    "cell_width_mm": gettext_lazy("Width of a label"),
    "cell_height_mm": gettext_lazy("Height of a label"),
    "left_mm": gettext_lazy("From the paper’s left edge to the first label"),
    "top_mm": gettext_lazy("From the top edge to the first label"),
    "pitch_x_mm": gettext_lazy("From one label’s left edge to the next one’s"),
    "pitch_y_mm": gettext_lazy("From one label’s top edge to the next one’s"),
}
COUNTS = {
    "columns": gettext_lazy("Labels side by side"),
    "rows": gettext_lazy("Labels one under the other"),
}
_MAY_BE_EMPTY = {"left_mm", "top_mm", "pitch_x_mm", "pitch_y_mm"}
_HOLE = {
    "hole_diameter_mm": gettext_lazy("Width of the hole"),
    "hole_from_top_mm": gettext_lazy("From a label’s top edge to the centre of the hole"),
}


@page("print_labels")
def own(request: HttpRequest) -> HttpResponse:
    """The sheets that were added here, and a form for one more; it is checked for fit."""
    problem = None
    if request.method == "POST":

        def perform(act: Act) -> Done:
            kept = paper.add_sheet(act, _name(request.POST), _measures(request.POST))
            says = _("%(sheet)s can be printed on now. Print its test page first, and measure it.")
            return Done(
                says % {"sheet": kept.sheet.name},
                to=f"{reverse('printer')}?sheet={quote(kept.sheet.key)}",
            )

        try:
            return acted(request, perform, to=reverse("printer"))
        except Problem as found:
            problem = found
    said = request.POST or _like(request.GET.get("like", paper.DEFAULT_SHEET))
    facts = {
        "own": [kept.sheet for kept in paper.sheets() if kept.own],
        "built_in": [kept.sheet for kept in paper.sheets() if not kept.own],
        "like": request.GET.get("like", paper.DEFAULT_SHEET),
        "said": said,
        "paper": _rows(said, "page_width_mm", "page_height_mm"),
        "label": _rows(said, "cell_width_mm", "cell_height_mm"),
        "counts": _rows(said, *COUNTS),
        "margins": _rows(said, "left_mm", "top_mm"),
        "apart": _rows(said, "pitch_x_mm", "pitch_y_mm"),
        "hole": _rows(said, *_HOLE),
        "problems": _told(problem),
    }
    status = problem.status if problem else 200
    return show(request, "site/labelling/own_sheets.html", facts, status=status)


@require_POST
@page("print_labels")
def remove(request: HttpRequest) -> HttpResponse:
    """Remove a sheet that was added here."""

    def perform(act: Act) -> Done:
        name = request.POST.get("sheet", "")
        paper.remove_sheet(act, name)
        return Done(_("%(sheet)s is removed.") % {"sheet": name})

    return acted(request, perform, to=reverse("own-sheets"))


def _told(problem: Problem | None) -> list[str]:
    if problem is None:
        return []
    return list(problem.facts.get("problems") or [problem.detail])


def _name(said: Mapping[str, str]) -> str:
    name = " ".join(fields.words(said, "name", 60).split())
    if not name:
        raise Invalid(_("Enter a name, such as the one on its packet."), field="name")
    return name


def _measures(said: Mapping[str, str]) -> dict[str, Any]:
    """The form's measures as `paper.add_sheet` takes them. Raises Invalid."""
    form = said.get("form", "sheet")
    measures: dict[str, Any] = {name: _length(said, name, LENGTHS) for name in LENGTHS}
    for name, what in COUNTS.items():
        measures[name] = fields.whole(said, name, least=1, most=50, what=str(what))
    if any(said.get(name, "").strip() for name in _HOLE):
        measures["hole"] = {
            "diameter_mm": _length(said, "hole_diameter_mm", _HOLE),
            "centre_from_top_mm": _length(said, "hole_from_top_mm", _HOLE),
        }
    return measures | {"roll": form == "roll", "cut": form == "cut"}


def _length(said: Mapping[str, str], name: str, of: Mapping[str, Any]) -> float:
    text = said.get(name, "").strip().replace(",", ".")
    if not text and name in _MAY_BE_EMPTY:
        return 0.0
    whole, _point, part = text.partition(".")
    digits = whole + part
    if digits.isascii() and digits.isdigit() and len(whole) < 5 and len(part) < 4:
        return float(text)
    raise Invalid(
        _("%(what)s: enter a length in millimetres, such as 63.5.") % {"what": of[name]}, field=name
    )


def _like(key: str) -> dict[str, str]:
    """The form's fields as those of a sheet that there is, to start from."""
    sheet = paper.sheet(key).sheet
    measures = dataclasses.asdict(sheet)
    said = {name: f"{round(measures[name], 3):g}" for name in (*LENGTHS, *COUNTS)}
    if sheet.hole:
        said["hole_diameter_mm"] = f"{sheet.hole.diameter_mm:g}"
        said["hole_from_top_mm"] = f"{sheet.hole.centre_from_top_mm:g}"
    return said | {"form": "roll" if sheet.roll else "cut" if sheet.cut else "sheet"}


def _rows(said: Mapping[str, str], *names: str) -> list[dict[str, Any]]:
    """Fields as the form shows them."""
    asked = LENGTHS | COUNTS | _HOLE
    return [
        {
            "name": name,
            "what": asked[name],
            "value": said.get(name, ""),
            "count": name in COUNTS,
            "needed": name not in _MAY_BE_EMPTY and name not in _HOLE,
        }
        for name in names
    ]
