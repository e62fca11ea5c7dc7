"""What is printed beside labels: kits' tags and cards, sign-out sheets, a printer's test page."""

import dataclasses
from collections.abc import Callable
from functools import partial
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from gearroom.core.acts.problems import Invalid, Problem
from gearroom.site.web.page.forms import Length, PageForm
from gearroom.site.web.page.shell import actor, page, show
from kits.services.lookup import find
from kits.services.text.wording import in_words
from labels.rules.layout.calibration import Offset, marks
from labels.rules.layout.sheets import SheetError
from labels.services.paper import paper


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
        on = paper.sheet(values.get("sheet") or paper.DEFAULT_SHEET)
        if request.method == "POST":
            _correct(request, on)
            return redirect(f"{reverse('printer')}?sheet={on.sheet.key}")
    except Problem as refused:
        problem, on = refused, paper.sheet(paper.DEFAULT_SHEET)
    return show(
        request,
        "site/labelling/printer.html",
        problem=problem,
        sheets=[(each.sheet.key, in_words(each.sheet.called)) for each in paper.sheets()],
        on=on,
        marks=marks(on.sheet),
        offset=offset_of(request, on),
        values=request.POST,
    )


def _correct(request: HttpRequest, on: paper.StoredSheet) -> None:
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
            raise paper.as_problem(error) from error
        corrections[on.sheet.key] = dataclasses.asdict(offset)
    request.session["printer"] = corrections


def offset_of(request: HttpRequest, on: paper.StoredSheet) -> Offset | None:
    """What this device's printer needs on a sheet, as it was measured; None: nothing known."""
    known = request.session.get("printer", {}).get(on.sheet.key)
    return Offset(**known) if known else None


@require_safe
@page("print_labels")
def test_page(request: HttpRequest) -> HttpResponse:
    """The page that shows how far a printer is off, corrected by what is known of it."""
    kept = paper.sheet(request.GET.get("sheet") or paper.DEFAULT_SHEET)
    return as_pdf(paper.test_page(kept, offset_of(request, kept)), "test-page.pdf")


# --------------------------------------------------------------------- kits' and rooms' papers
@require_safe
@page("print_labels")
def kit_tag(request: HttpRequest, kit: str) -> HttpResponse:
    """The tag that hangs on a sealed kit: its first expiry, seal, by whom."""
    of = find.kit(actor(request), kit)
    on = paper.sheet(request.GET.get("sheet") or paper.TAG_SHEET).sheet
    return _paper(request, "tag.pdf", partial(paper.kit_tag, of, on))


@require_safe
@page("print_labels")
def lid_card(request: HttpRequest, kit: str) -> HttpResponse:
    """The card for a kit's lid."""
    of = find.kit(actor(request), kit)
    size: Any = "a4-folded" if request.GET.get("size") == "a4-folded" else "a5"
    return _paper(request, "card.pdf", partial(paper.lid_card, actor(request), of, size))


@require_safe
@page("print_labels")
def sign_out_sheet(request: HttpRequest, room: str) -> HttpResponse:
    """The paper sheet to sign kits out on when phones are dead."""
    of = find.room(actor(request), room)
    return _paper(request, "sign-out-sheet.pdf", partial(paper.sign_out_sheet, of))


def _paper(request: HttpRequest, name: str, draw: Callable[..., bytes]) -> HttpResponse:
    """A PDF; where no address is set that it could lead to, the offer of a preview."""
    try:
        return as_pdf(draw(preview=bool(request.GET.get("preview"))), name)
    except paper.NoPublicAddress as problem:
        return show(
            request,
            "site/labelling/not_printed.html",
            status=problem.status,
            detail=problem.detail,
        )
