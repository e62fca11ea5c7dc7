"""Labels: chosen, seen to scale, printed; cancelled and replaced."""

from typing import Any
from urllib.parse import urlencode

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Actor, Invalid, Problem, refuse_first
from gearroom.core.models import Room
from gearroom.core.models.installation import current
from gearroom.core.services.people import people
from gearroom.site.web.labelling.papers import as_pdf, offset_of
from gearroom.site.web.page import (
    Done,
    Line,
    PageForm,
    Tick,
    WholeNumber,
    actor,
    form_view,
    here,
    id_of,
    names_room,
    once_a_form,
    page,
    post_page,
    read_field,
    read_page,
    rooms_of,
    show,
)
from kits.models import Holding, Kit, Label, LabelKind, Lot, Place
from kits.rules.lookup import label_codes
from kits.services.labelling import labelling
from kits.services.lookup import find
from kits.services.text.wording import in_words
from labels.services.paper import paper, preview, sheets

MOST = 300
"""Things on one page to choose from, and labels printed in one go."""

KINDS = {
    "kits": gettext_lazy("Kits"),
    "pouches": gettext_lazy("Pouches"),
    "shelves": gettext_lazy("Shelves"),
    "batches": gettext_lazy("Batches"),
    "people": gettext_lazy("People"),
    "blanks": gettext_lazy("Blank labels"),
}
TICKS = {
    "new": gettext_lazy("those without a label"),
    "unprinted": gettext_lazy("those not yet printed"),
    "all": gettext_lazy("all"),
    "none": gettext_lazy("none"),
}
_SHEETS = {"people": "key-ring-a4"}
_NUMBER = gettext_lazy("Enter a whole number from %(least)d to %(most)d.")


# ----------------------------------------------------------------------------------- choosing
@page("print_labels")
def choose(request: HttpRequest) -> HttpResponse:
    """Things of a room with their labels; those chosen get one each and go to be printed."""
    kind, room = kind_of(request), room_of(request)
    if request.method != "POST":
        return _choose_page(request, kind, room)

    def perform(act: Act) -> dict[str, Any]:
        if kind != "blanks":
            made = labelling.labels_for(
                act, targets(act.actor, kind, room, request.POST.getlist("on")), room
            )
        elif room is None:
            raise Invalid(_("Choose the gear room that the blank labels are for."))
        else:
            count = WholeNumber(least=1, most=MOST, message=_NUMBER)
            made = labelling.blanks(act, room, read_field(count, request.POST, "count"))
        return {"codes": [each.code for each in made]}

    try:
        made = once_a_form(request, perform)
    except Problem as problem:
        return _choose_page(request, kind, room, problem)
    query = urlencode({"codes": ".".join(made["codes"]), "sheet": _SHEETS.get(kind, "")})
    return redirect(f"{reverse('print-labels')}?{query}")


def kind_of(request: HttpRequest) -> str:
    """Which kind of things a form is about."""
    kind = request.POST.get("for") or request.GET.get("for", "")
    return kind if kind in KINDS else "kits"


def room_of(request: HttpRequest) -> Room | None:
    """Which of one's rooms a form is about."""
    slug = request.POST.get("room") or request.GET.get("room", "")
    return next((room for room in rooms_of(request) if room.slug == slug), here(request))


def _choose_page(
    request: HttpRequest, kind: str, room: Room | None, problem: Problem | None = None
) -> HttpResponse:
    search = request.GET.get("search", "").strip()[:80]
    wanted = room is not None and kind != "blanks"
    rows = list(things(actor(request), kind, room, search)[: MOST + 1]) if wanted else []
    labels = newest(kind, rows[:MOST])
    tick = request.GET.get("tick", "")
    chosen = set(request.POST.getlist("on"))
    return show(
        request,
        "site/labelling/choose.html",
        problem=problem,
        kinds=KINDS,
        ticks=TICKS,
        tick=tick if tick in TICKS else "new",
        kind=kind,
        room=room,
        search=search,
        rows=[
            {
                "pk": row.pk,
                "name": name_of(row),
                "label": labels.get(row.pk),
                "code": label_codes.shown(labels[row.pk].code) if row.pk in labels else "",
                "ticked": str(row.pk) in chosen
                if request.method == "POST"
                else _ticked(labels.get(row.pk), tick),
            }
            for row in rows[:MOST]
        ],
        more=len(rows) > MOST,
        most=MOST,
    )


def _ticked(label: Label | None, tick: str) -> bool:
    """Whether something with that label is to be ticked when the page opens."""
    if tick in ("all", "none"):
        return tick == "all"
    return label is None or (tick == "unprinted" and label.printed_at is None)


def things(who: Actor, kind: str, room: Room | None, search: str = "") -> QuerySet[Any]:
    """What there is of a kind in a room that a label can be stuck on."""
    rows: QuerySet[Any]
    match kind:
        case "kits":
            rows = find.kits_of(who).active().filter(home_room=room)
        case "pouches":
            rows = (
                find.places_of(who)
                .open()
                .sections()
                .filter(kit__home_room=room, kit__retired_on__isnull=True)
            )
            return rows.filter(kit__name__icontains=search).order_by("kit__name", "position", "id")
        case "shelves":
            rows = find.places_of(who).open().shelves().filter(room=room)
            return rows.filter(name__icontains=search).order_by("position", "name", "id")
        case "batches":
            here_now = Holding.objects.on_hand().filter(place__room=room).values("lot")
            rows = Lot.objects.select_related("item").filter(pk__in=here_now)
            return rows.filter(item__name__icontains=search).order_by(
                "item__name", "expiry", "number", "id"
            )
        case _:
            if not who.may("see_people"):
                return people.visible_to(who).none()
            rows = people.visible_to(who).filter(left_on__isnull=True)
            rows = rows.exclude(pk__in=people.programs().values("pk"))
            rows = people.of_room(rows, room) if room else rows
    return rows.filter(name__icontains=search).order_by("name", "id")


def targets(who: Actor, kind: str, room: Room | None, wanted: list[str]) -> list[labelling.Target]:
    """What a form ticked, of a kind in a room. Raises Invalid."""
    ids = [pk for each in wanted if (pk := id_of(each)) is not None]
    too_many = _("Choose no more than %(most)d at a time.") % {"most": MOST}
    refuse_first(
        (not ids, Invalid(_("Choose at least one entry to print a label for."), field="on")),
        (len(ids) > MOST, Invalid(too_many, field="on")),
    )
    chosen = list(things(who, kind, room).filter(pk__in=ids))
    if len(chosen) != len(set(ids)):
        raise Invalid(_("Something that you chose no longer exists. Reload the page."))
    return chosen


def newest(kind: str, rows: list[Any]) -> dict[int, Label]:
    """The newest label that counts, by the id of what it is on."""
    of: dict[str, tuple[str, LabelKind]] = {
        "kits": ("kit_id", LabelKind.KIT),
        "pouches": ("place_id", LabelKind.SECTION),
        "shelves": ("place_id", LabelKind.SHELF),
        "batches": ("lot_id", LabelKind.LOT),
        "people": ("person_id", LabelKind.PERSON),
    }
    if kind not in of or not rows:
        return {}
    column, is_on = of[kind]
    labels = Label.objects.active().filter(
        kind=is_on, **{f"{column}__in": [row.pk for row in rows]}
    )
    return {getattr(label, column): label for label in labels.order_by("id")}


def name_of(thing: Kit | Place | Lot | Any) -> str:
    """What people call a thing that a label can be stuck on."""
    match thing:
        case Place() if thing.kit is not None:
            return f"{thing.kit.name}, {thing.name}"
        case Lot():
            number = thing.number or thing.serial
            return f"{thing.item.name}, {number}" if number else thing.item.name
    return str(thing.name)


# ------------------------------------------------------------------------------------ printing
@read_page("print_labels")
def sheet(request: HttpRequest) -> HttpResponse:
    """Which sheet, from which cell, how often; and how its first page looks."""
    try:
        how = _print_options(request, request.GET)
    except Problem as problem:
        return show(request, "site/labelling/sheet.html", problem=problem)
    on, labels = how["on"], how["labels"]
    return show(
        request,
        "site/labelling/sheet.html",
        **how,
        codes=".".join(label.code for label in labels),
        count=len(labels),
        names=[labelling.name_of(label) for label in labels[:6]],
        pages=preview.pages(len(labels), on, start_cell=how["start_cell"], copies=how["copies"]),
        sheets=[(kept.sheet.key, in_words(kept.sheet.called)) for kept in sheets.sheets()],
        query=request.GET.urlencode(),
        width=round(on.sheet.page_width_mm / 25.4 * preview.SCREEN_DPI),
        height=round(on.sheet.page_height_mm / 25.4 * preview.SCREEN_DPI),
        public=bool(current().public_url),
    )


def _print_options(request: HttpRequest, sent: QueryDict) -> dict[str, Any]:
    """What a print form asks for. Raises Problem."""
    codes = [code for code in sent.get("codes", "").split(".") if code]
    too_many = _("Print no more than %(most)d labels at a time.") % {"most": MOST}
    refuse_first(
        (not codes, Invalid(_("First choose what to print labels for."))),
        (len(codes) > MOST, Invalid(too_many)),
    )
    on = sheets.sheet(sent.get("sheet") or sheets.DEFAULT_SHEET)
    most = {"copies": 100, "start_cell": on.sheet.cells}
    numbers = {
        name: WholeNumber(least=1, most=n, required=False, initial=1, message=_NUMBER)
        for name, n in most.items()
    }
    return {
        "labels": paper.labels_of_codes(actor(request), codes),
        "on": on,
        "offset": offset_of(request, on),
        **{name: read_field(number, sent, name) for name, number in numbers.items()},
    }


@read_page("print_labels")
def picture(request: HttpRequest) -> HttpResponse:
    """The first page as a picture, marked as a preview."""
    how = _print_options(request, request.GET)
    png = preview.first_page(
        Act(actor(request)), how.pop("labels"), how.pop("on"), **how, names_room=names_room(request)
    )
    return HttpResponse(png, content_type="image/png")


@post_page("print_labels")
def pdf(request: HttpRequest) -> HttpResponse:
    """The labels to print, as PDF; it notes that they were printed."""
    how = _print_options(request, request.POST)
    content = paper.print_sheet(
        Act(actor(request)),
        how.pop("labels"),
        how.pop("on"),
        **how,
        preview=bool(request.POST.get("preview")),
        names_room=names_room(request),
    )
    answer = as_pdf(content, "labels.pdf")
    # Tells the page that asked (busy.js): where the file is saved, the page stays.
    answer.set_cookie(
        "answered",
        request.POST.get("asked", "")[:20],
        max_age=60,
        samesite="Strict",
        secure=request.is_secure(),
    )
    return answer


# ---------------------------------------------------------------------------------- one label
@read_page("print_labels")
def label(request: HttpRequest, code: str, problem: Problem | None = None) -> HttpResponse:
    """One label: what it is on, when it was made and printed; replaced or cancelled from here."""
    of = labelling.one_of(actor(request), code)
    return show(
        request,
        "site/labelling/label.html",
        problem=problem,
        label=of,
        code=label_codes.shown(of.code),
        name=labelling.name_of(of),
        kit=of.kit or (of.place.kit if of.place else None),
        sheet=_SHEETS["people"] if of.kind == LabelKind.PERSON else "",
        successor=label_codes.shown(of.replaced_by.code) if of.replaced_by else "",
        may_cancel=actor(request).may("cancel_label", of.room_id),
    )


@read_page("print_labels")
def label_picture(request: HttpRequest, code: str) -> HttpResponse:
    """A label as a picture; marked as a preview while there is no public address."""
    of = labelling.one_of(actor(request), code)
    (row,) = paper.labels_of_codes(actor(request), [of.code])
    key = _SHEETS["people"] if row.kind == LabelKind.PERSON else sheets.PICTURE_SHEET
    on, marked = sheets.sheet(key).sheet, not current().public_url
    return HttpResponse(
        paper.picture(
            row, form="png", dpi=203, on=on, preview=marked, names_room=names_room(request)
        ),
        content_type="image/png",
    )


class CancelForm(PageForm):
    """Why a label is cancelled, and whether another takes its place."""

    why = Line(
        200, message=gettext_lazy("Enter a reason. Anyone who scans the label later will see it.")
    )
    replace = Tick()


@form_view("cancel_label", "one-label", refused=label)
def cancel(act: Act, request: HttpRequest, code: str) -> Done:
    """Cancel a label that is worn, lost or on the wrong thing, and replace it if wanted."""
    values, of = CancelForm.read(request.POST), labelling.one_of(act.actor, code)
    done = labelling.cancel(act, of.code, values["why"], and_replace=values["replace"])
    old = label_codes.shown(of.code)
    if done.replaced_by is None:
        return Done(_("Label %(code)s has been cancelled.") % {"code": old})
    new = done.replaced_by.code
    sentence = _("%(new)s replaces %(code)s. Print the new label and stick it on now.")
    sheet = f"&sheet={_SHEETS['people']}" if of.kind == LabelKind.PERSON else ""
    return Done(
        sentence % {"code": old, "new": label_codes.shown(new)},
        to=f"{reverse('print-labels')}?codes={new}{sheet}",
    )
