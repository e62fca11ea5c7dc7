"""Sheets of labels of one's own, by their measures."""

import dataclasses
from collections.abc import Iterable, Mapping
from typing import Any
from urllib.parse import quote

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Problem
from gearroom.site.web.page.form_views import form_view
from gearroom.site.web.page.forms import Length, Line, PageForm, ShortText, WholeNumber
from gearroom.site.web.page.shell import Done, show
from labels.services.paper import paper


class SheetForm(PageForm):
    """A sheet by its measures; whether it is cut, or a roll."""

    name = Line(60, message=gettext_lazy("Enter a name, such as the one on the packet."))
    form = ShortText()
    page_width_mm = Length(label=gettext_lazy("Paper width"))
    page_height_mm = Length(label=gettext_lazy("Paper height"))
    cell_width_mm = Length(label=gettext_lazy("Label width"))
    cell_height_mm = Length(label=gettext_lazy("Label height"))
    left_mm = Length(
        required=False,
        initial=0.0,
        label=gettext_lazy("From the paper’s left edge to the first label"),
    )
    top_mm = Length(
        required=False,
        initial=0.0,
        label=gettext_lazy("From the paper’s top edge to the first label"),
    )
    pitch_x_mm = Length(
        required=False,
        initial=0.0,
        label=gettext_lazy("From the left edge of one label to the left edge of the next"),
    )
    pitch_y_mm = Length(
        required=False,
        initial=0.0,
        label=gettext_lazy("From the top edge of one label to the top edge of the next"),
    )
    columns = WholeNumber(least=1, most=50, label=gettext_lazy("Labels per row"))
    rows = WholeNumber(least=1, most=50, label=gettext_lazy("Labels per column"))


class HoleForm(PageForm):
    """The hole of a tag; without one both are empty."""

    hole_diameter_mm = Length(label=gettext_lazy("Hole width"))
    hole_from_top_mm = Length(
        label=gettext_lazy("From a label’s top edge to the centre of the hole")
    )


def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    like = request.GET.get("like", paper.DEFAULT_SHEET)
    values = request.POST or _values_of(like)
    sheets = paper.sheets()
    return show(
        request,
        "site/labelling/own_sheets.html",
        problem=problem,
        own=[kept.sheet for kept in sheets if kept.own],
        built_in=[kept.sheet for kept in sheets if not kept.own],
        like=like,
        values=values,
        paper=_rows(values, "page_width_mm", "page_height_mm"),
        label=_rows(values, "cell_width_mm", "cell_height_mm"),
        counts=_rows(values, "columns", "rows"),
        margins=_rows(values, "left_mm", "top_mm"),
        apart=_rows(values, "pitch_x_mm", "pitch_y_mm"),
        hole=_rows(values, *HoleForm.base_fields),
        problems=problem and (problem.facts.get("problems") or [problem.detail]),
    )


@form_view("print_labels", page_of=_page)
def own(act: Act, request: HttpRequest) -> Done:
    """The sheets that were added here, and a form for one more; it is checked for fit."""
    measures = SheetForm.read(request.POST)
    name, form = measures.pop("name"), measures.pop("form")
    measures |= {"roll": form == "roll", "cut": form == "cut", **_hole(request.POST)}
    kept = paper.add_sheet(act, name, measures)
    return Done(
        _("You can now print on %(sheet)s. Print its test page first and measure it.")
        % {"sheet": kept.sheet.name},
        to=f"{reverse('printer')}?sheet={quote(kept.sheet.key)}",
    )


def _hole(sent: QueryDict) -> dict[str, Any]:
    if not any(sent.get(name, "").strip() for name in HoleForm.base_fields):
        return {}
    diameter, from_top = HoleForm.read(sent).values()
    return {"hole": {"diameter_mm": diameter, "centre_from_top_mm": from_top}}


@form_view("print_labels", "own-sheets")
def remove(act: Act, request: HttpRequest) -> Done:
    """Remove a sheet that was added here."""
    name = request.POST.get("sheet", "")
    paper.remove_sheet(act, name)
    return Done(_("%(sheet)s has been removed.") % {"sheet": name})


def _values_of(key: str) -> dict[str, str]:
    """The form's fields as those of a sheet that there is, to start from."""
    sheet = paper.sheet(key).sheet
    measures: dict[str, Any] = dataclasses.asdict(sheet)
    if sheet.hole:
        measures["hole_diameter_mm"] = sheet.hole.diameter_mm
        measures["hole_from_top_mm"] = sheet.hole.centre_from_top_mm
    names = measures.keys() & (_fields().keys() - {"name", "form"})
    return {
        **{name: f"{round(measures[name], 3):g}" for name in names},
        "form": "roll" if sheet.roll else "cut" if sheet.cut else "sheet",
    }


def _fields() -> dict[str, Any]:
    return {**SheetForm.base_fields, **HoleForm.base_fields}


def _rows(values: Mapping[str, str], *names: str) -> Iterable[dict[str, Any]]:
    """Fields as the form shows them."""
    return [
        {
            "name": name,
            "what": field.label,
            "value": values.get(name, ""),
            "count": isinstance(field, WholeNumber),
            "needed": field.required and name not in HoleForm.base_fields,
        }
        for name, field in _fields().items()
        if name in names
    ]
