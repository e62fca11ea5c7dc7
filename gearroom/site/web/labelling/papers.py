"""What is printed beside labels: kits' tags and cards, sign-out sheets, a printer's test page; and
sheets of labels of one's own, by their measures."""

import dataclasses
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import Any
from urllib.parse import quote

from django.conf import settings
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import get_language, gettext as _, gettext_lazy, override

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.site.web.page import (
    Done,
    Length,
    Line,
    PageForm,
    ShortText,
    WholeNumber,
    actor,
    form_view,
    names_room,
    page,
    read_page,
    show,
)
from kits.services.lookup import find
from kits.services.text.wording import in_words
from labels.rules.layout import Offset, SheetError, marks
from labels.services.paper import paper, sheets
from labels.services.paper.patient_note import patient_note as printed_note
from labels.services.paper.printer import NoPublicAddress, as_problem


def as_pdf(content: bytes, name: str) -> HttpResponse:
    """A PDF to be shown or printed."""
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )


# -------------------------------------------------------------------------------- the printer
class MeasuredForm(PageForm):
    """How far a printed test page is off, as it was measured."""

    left_mm = Length()
    top_mm = Length()
    across_mm = Length()
    down_mm = Length()


@page("print_labels")
def printer(request: HttpRequest) -> HttpResponse:
    """How far this device's printer is off on a sheet: a page to measure, and its correction."""
    values, problem = request.POST or request.GET, None
    try:
        on = sheets.sheet(values.get("sheet") or sheets.DEFAULT_SHEET)
        if request.method == "POST":
            _correct(request, on)
            return redirect(f"{reverse('printer')}?sheet={on.sheet.key}")
    except Problem as refused:
        problem, on = refused, sheets.sheet(sheets.DEFAULT_SHEET)
    return show(
        request,
        "site/labelling/printer.html",
        problem=problem,
        sheets=[(each.sheet.key, in_words(each.sheet.called)) for each in sheets.sheets()],
        on=on,
        marks=marks(on.sheet),
        offset=offset_of(request, on),
        values=request.POST,
    )


def _correct(request: HttpRequest, on: sheets.StoredSheet) -> None:
    """Keep how far the printer is off on a sheet, in the session; nothing if so chosen."""
    corrections = dict(request.session.get("printer", {}))
    corrections.pop(on.sheet.key, None)
    if not request.POST.get("none"):
        form = MeasuredForm(request.POST)
        if not form.is_valid():
            raise Invalid(_("Enter all four lengths in millimetres, such as 15.5."))
        try:
            offset = marks(on.sheet).offset(**form.values())
        except SheetError as error:
            raise as_problem(error) from error
        corrections[on.sheet.key] = dataclasses.asdict(offset)
    request.session["printer"] = corrections


def offset_of(request: HttpRequest, on: sheets.StoredSheet) -> Offset | None:
    """What this device's printer needs on a sheet, as it was measured; None: nothing known."""
    known = request.session.get("printer", {}).get(on.sheet.key)
    return Offset(**known) if known else None


@read_page("print_labels")
def test_page(request: HttpRequest) -> HttpResponse:
    """The page that shows how far a printer is off, corrected by what is known of it."""
    kept = sheets.sheet(request.GET.get("sheet") or sheets.DEFAULT_SHEET)
    return as_pdf(paper.test_page(kept, offset_of(request, kept)), "test-page.pdf")


# --------------------------------------------------------------------- kits' and rooms' papers
@read_page("print_labels")
def kit_tag(request: HttpRequest, kit: str) -> HttpResponse:
    """The tag that hangs on a sealed kit: its first expiry, seal, by whom."""
    of = find.kit(actor(request), kit)
    on = sheets.sheet(request.GET.get("sheet") or sheets.TAG_SHEET).sheet
    return _paper(request, "tag.pdf", partial(paper.kit_tag, of, on))


@read_page("print_labels")
def lid_card(request: HttpRequest, kit: str) -> HttpResponse:
    """The card for a kit's lid."""
    of = find.kit(actor(request), kit)
    size: Any = "a4-folded" if request.GET.get("size") == "a4-folded" else "a5"
    return _paper(
        request,
        "card.pdf",
        partial(paper.lid_card, actor(request), of, size, names_room=names_room(request)),
    )


@read_page("print_labels")
def sign_out_sheet(request: HttpRequest, room: str) -> HttpResponse:
    """The paper sheet to sign kits out on when phones are dead."""
    return _paper(
        request,
        "sign-out-sheet.pdf",
        partial(
            paper.sign_out_sheet, find.room(actor(request), room), names_room=names_room(request)
        ),
    )


@read_page()
def patient_note(request: HttpRequest) -> HttpResponse:
    """A blank patient note, in the reader's language or the one asked for."""
    size: Any = "a5" if request.GET.get("size") == "a5" else "a4"
    asked = request.GET.get("language", "")
    with override(asked if asked in dict(settings.LANGUAGES) else get_language()):
        return as_pdf(printed_note(size), "patient-note.pdf")


def _paper(request: HttpRequest, name: str, draw: Callable[..., bytes]) -> HttpResponse:
    """A PDF; where no address is set that it could lead to, the offer of a preview."""
    try:
        return as_pdf(draw(preview=bool(request.GET.get("preview"))), name)
    except NoPublicAddress as problem:
        return show(
            request,
            "site/labelling/not_printed.html",
            status=problem.status,
            detail=problem.detail,
        )


# ----------------------------------------------------------------------------- sheets of one's own
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


def _sheets_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    like = request.GET.get("like", sheets.DEFAULT_SHEET)
    values = request.POST or _values_of(like)
    stored = sheets.sheets()
    return show(
        request,
        "site/labelling/own_sheets.html",
        problem=problem,
        own=[kept.sheet for kept in stored if kept.own],
        built_in=[kept.sheet for kept in stored if not kept.own],
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


@form_view("print_labels", page_of=_sheets_page)
def own_sheets(act: Act, request: HttpRequest) -> Done:
    """The sheets that were added here, and a form for one more; it is checked for fit."""
    measures = SheetForm.read(request.POST)
    name, form = measures.pop("name"), measures.pop("form")
    measures |= {"roll": form == "roll", "cut": form == "cut", **_hole(request.POST)}
    kept = sheets.add_sheet(act, name, measures)
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
def remove_sheet(act: Act, request: HttpRequest) -> Done:
    """Remove a sheet that was added here."""
    name = request.POST.get("sheet", "")
    sheets.remove_sheet(act, name)
    return Done(_("%(sheet)s has been removed.") % {"sheet": name})


def _values_of(key: str) -> dict[str, str]:
    """The form's fields as those of a sheet that there is, to start from."""
    sheet = sheets.sheet(key).sheet
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
