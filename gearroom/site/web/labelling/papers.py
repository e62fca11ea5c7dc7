"""What is printed beside labels: kits' tags and cards, sign-out sheets, a printer's test page."""

from __future__ import annotations

import dataclasses
import re
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from gearroom.core.acts.problems import Invalid, Problem, Refused
from gearroom.site.web.page.shell import actor, page, show
from kits.services.lookup import find
from kits.services.text import wording
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
_LENGTH = re.compile(r"[0-9]{1,3}(\.[0-9]{1,3})?")
_MEASURED = ("left_mm", "top_mm", "across_mm", "down_mm")


@page("print_labels")
def printer(request: HttpRequest) -> HttpResponse:
    """How far this device's printer is off on a sheet: a page to measure, and its correction."""
    said = request.POST or request.GET
    try:
        kept = paper.sheet(said.get("sheet") or paper.DEFAULT_SHEET)
        if request.method == "POST":
            corrections = dict(request.session.get("printer", {}))
            corrections.pop(kept.sheet.key, None)
            if not request.POST.get("none"):
                measured = _measured(kept, request.POST)
                corrections[kept.sheet.key] = dataclasses.asdict(measured)
            request.session["printer"] = corrections
            return redirect(f"{reverse('printer')}?sheet={kept.sheet.key}")
        problem = None
    except Problem as found:
        problem = found
        kept = paper.sheet(paper.DEFAULT_SHEET)
    facts = {
        "sheets": [
            (each.sheet.key, wording.in_words(each.sheet.called)) for each in paper.sheets()
        ],
        "on": kept,
        "marks": marks(kept.sheet),
        "offset": offset_of(request, kept),
        "said": request.POST,
        "problem": problem,
    }
    status = problem.status if problem else 200
    return show(request, "site/labelling/printer.html", facts, status=status)


def _measured(kept: paper.StoredSheet, said: QueryDict) -> Offset:
    texts = [said.get(name, "").strip().replace(",", ".") for name in _MEASURED]
    if not all(_LENGTH.fullmatch(text) for text in texts):
        raise Invalid(_("Enter all four lengths in millimetres, such as 15.5."))
    try:
        return marks(kept.sheet).offset(*map(float, texts))
    except SheetError as error:
        raise paper.as_problem(error) from error


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
    found = find.kit(actor(request), kit)
    on = paper.sheet(request.GET.get("sheet") or paper.TAG_SHEET).sheet
    return _paper(request, "tag.pdf", lambda marked: paper.kit_tag(found, on, preview=marked))


@require_safe
@page("print_labels")
def lid_card(request: HttpRequest, kit: str) -> HttpResponse:
    """The card for a kit's lid."""
    found = find.kit(actor(request), kit)
    size: Any = "a4-folded" if request.GET.get("size") == "a4-folded" else "a5"
    return _paper(
        request,
        "card.pdf",
        lambda marked: paper.lid_card(actor(request), found, size, preview=marked),
    )


@require_safe
@page("print_labels")
def sign_out_sheet(request: HttpRequest, room: str) -> HttpResponse:
    """The paper sheet to sign kits out on when phones are dead."""
    found = find.room(actor(request), room)
    return _paper(
        request, "sign-out-sheet.pdf", lambda marked: paper.sign_out_sheet(found, preview=marked)
    )


def _paper(request: HttpRequest, name: str, draw: Any) -> HttpResponse:
    """A PDF; where no address is set that it could lead to, the offer of a preview."""
    try:
        return as_pdf(draw(bool(request.GET.get("preview"))), name)
    except Refused as problem:
        if problem.code != "public-address-missing":
            raise
        return show(
            request, "site/labelling/not_printed.html", {"detail": problem.detail}, problem.status
        )
