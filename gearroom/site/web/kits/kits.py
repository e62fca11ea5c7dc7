"""One kit: how it stands, who has it, what is inside; its history, and
its record as of a day, to print for an inspector or an insurer."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, Invalid
from gearroom.core.services.people import people
from gearroom.site.web.kits import filling
from gearroom.site.web.labelling.papers import as_pdf
from gearroom.site.web.lists import not_carried
from gearroom.site.web.page import (
    Choice,
    Day,
    Done,
    PageForm,
    ShortText,
    WholeNumber,
    YesOrNo,
    acted,
    actor,
    back_to,
    form_view,
    id_of,
    is_offered,
    new_person,
    post_page,
    read_field,
    read_page,
    remedies,
    show,
)
from gearroom.site.web.scan.pictures import photo_of
from gearroom.site.web.stock import rotation
from gearroom.site.web.weather import jobs as weather_jobs
from kits.models import Lot, WithheldKind
from kits.rules.custody.in_class import keeps_from_class
from kits.rules.lookup import label_codes
from kits.services.custody import offers, passing_on, returns
from kits.services.kits import filling as kit_filling, history, holds, inspection, record
from kits.services.ledger import kit_state, readiness
from kits.services.lookup import find
from kits.services.overview import kits_overview
from kits.services.restocking import sorting
from kits.services.stock import instruments
from kits.services.text import reason_texts, wording
from kits.services.trips import carried_when, due_times
from labels.services.paper.kit_record import kit_record
from labels.services.scan.kit_scans import step_to_class
from labels.services.scan.results import NextStep, next_steps

_TIMELINE = 8
_RIGHTS = (
    "check_out",
    "look_inside",
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
    "emergency",
)
"""The use cases that a kit's page offers to whoever may do them."""
_BY_HAND = (WithheldKind.DRYING, WithheldKind.SOMETHING_WRONG, WithheldKind.KEEP_AS_IT_CAME_BACK)


_HOLDER = ShortText(
    40,
    required=True,
    error_messages={
        "required": gettext_lazy(
            "Choose who has the kit now, or enter a name and a telephone number."
        )
    },
)
"""To whom a kit was passed."""


class WithholdForm(PageForm):
    """Why a kit is on hold."""

    kind = Choice(
        WithheldKind, message=gettext_lazy("Choose a reason for putting the kit on hold.")
    )
    note = ShortText()


@read_page()
def show_kit(request: HttpRequest, kit: str) -> HttpResponse:
    """One kit, with as much of it as whoever asks may see."""
    who = actor(request)
    overview = kits_overview.overview(who, find.kit(who, kit))
    subject, verdict = overview.kit, overview.judged.verdict
    inside = history.contents(subject)
    filled = kit_filling.of_kit(subject, inside, overview.judged.question.through)
    facts: dict[str, Any] = {
        "kit": subject,
        "overview": overview,
        "settle": remedies.settle_verdict(subject, verdict),
        "verdict": verdict,
        "gone": (gone := kit_state.out_of_use(subject)),
        "reasons": [] if gone else reason_texts.reasons(verdict.reasons),
        "offers": _offers(who, overview) if is_offered(request, "check_out") else [],
        "today": readiness.today_of(subject),
        "to_add": _to_add(overview),
        "section_names": {each.place.section_key: each.place.name for each in overview.sections},
        "below": filled.below,
        "pouches": filling.pouches(overview.sections, filled),
        "labels": [label_codes.shown(code) for code in overview.labels],
        "people": people.choices(who),
        "kinds": [(kind.value, wording.withheld(kind)) for kind in _BY_HAND],
        "may": {
            name: is_offered(request, name, subject.room_id)
            or is_offered(request, name, subject.home_room_id)
            for name in _RIGHTS
        },
        "due": due_times.due(who, overview.checkout) if overview.checkout else None,
        "not_ours": returns.has_own(subject),
        "editions": rotation.editions(who, [subject]),
        "weather": weather_jobs.of_kit(who, subject, readiness.today_of(subject)),
        "photos": holds.photos(subject),
    }
    for_class = subject.training and not (facts["offers"] or keeps_from_class(verdict))
    goes = verdict.may_go or verdict.by_phone or for_class
    facts["takes_out"] = facts["may"]["check_out"] and goes and not gone
    if facts["may"]["read_history"]:
        facts["acts"], facts["older"] = history.history(who, subject, most=_TIMELINE)
        facts["look_by"] = subject.look_by
    if facts["may"]["read_history"] and overview.knows:
        facts["seals"] = list(
            subject.seals.select_related("section", "put_on__person", "broken").order_by("-id")[:8]
        )
        facts["instruments"] = record.checks(inside)
    return show(request, "site/kits/kit.html", **facts)


def _to_add(overview: kits_overview.Overview) -> list[str]:
    """What the list of a kit that is not out leaves out, and its next trip wants."""
    if overview.checkout is not None or overview.reserved is None:
        return []
    return carried_when.to_add(overview.reserved.trip, [overview.kit])


def _offers(who: Actor, overview: kits_overview.Overview) -> list[NextStep]:
    """What settles a kit that may not go, of that what is one tap here."""
    if overview.checkout is not None or overview.kit.retired_on is not None:
        return []
    kit, judged = overview.kit, overview.judged
    if kit.training:
        if keeps_from_class(judged.verdict):
            return []
        step = step_to_class(who.person, kit.name)
        return [] if step.needs else [step]
    rows = offers.offers(who, kit, judged.verdict, trip=judged.question.trip)
    steps = next_steps(offers.as_values(who, kit, rows), kit.name)
    return [step for step in steps if not step.needs]


@form_view("pass", "kit")
def pass_on(act: Act, request: HttpRequest, kit: str) -> Done:
    """A kit was passed to another person."""
    out = find.kit(act.actor, kit)
    to = new_person(act, request.POST) or find.person(
        act.actor, read_field(_HOLDER, request.POST, "person")
    )
    passing_on.pass_on(act, out, to)
    return Done(_("%(name)s now has %(kit)s.") % {"name": to.name, "kit": out.name})


@post_page("withhold")
def withhold(request: HttpRequest, kit: str) -> HttpResponse:
    """Put a kit on hold, with the reason."""
    photo = photo_of(request)  # before anything is locked: it takes a while

    def perform(act: Act) -> Done:
        kind, note = WithholdForm.read(request.POST).values()
        entry = holds.withhold(act, find.kit(act.actor, kit), kind, note, photo)
        return Done(_("%(kit)s is now on hold and must not be taken out.") % {"kit": kit}, entry.pk)

    return acted(request, perform, to=reverse("kit", args=[kit]))


@form_view("release", "kit")
def release(act: Act, request: HttpRequest, kit: str) -> Done:
    """Let a kit that was on hold go again."""
    kind = read_field(Choice(WithheldKind, message=_("Choose what to do.")), request.POST, "kind")
    entry = holds.release(act, find.kit(act.actor, kit), kind)
    return Done(_("%(kit)s has been released and its status updated.") % {"kit": kit}, entry.pk)


@form_view("take_expired_out")
def remove_expired(act: Act, request: HttpRequest, kit: str) -> Done:
    """What may not stay inside was removed."""
    entry = sorting.take_expired_out(act, find.kit(act.actor, kit))
    return Done(
        _("Everything that may not stay in %(kit)s has been removed. Restock the kit next.")
        % {"kit": kit},
        entry.pk,
        to=back_to(request, reverse("sort", args=[kit])),
    )


class CheckForm(PageForm):
    """How an instrument did."""

    lot = WholeNumber(label=gettext_lazy("Instrument"))
    passed = YesOrNo(message=gettext_lazy("Choose whether the instrument passed its check."))
    answer = ShortText(200)


@form_view("check_instrument", "kit", part="#checks")
def check_instrument(act: Act, request: HttpRequest, kit: str) -> Done:
    """Record that an instrument inside passed its check, or failed it."""
    checked = find.kit(act.actor, kit)
    pk, passed, answer = CheckForm.read(request.POST).values()
    inside = Lot.objects.select_related("item").filter(
        holdings__place__kit=checked, holdings__units__gt=0
    )
    if (lot := inside.filter(pk=pk).first()) is None:
        raise Invalid(_("This instrument is not in this kit. Reload the page."))
    instruments.check(act, lot, passed=passed, answer=answer)
    sentence = (
        _("%(thing)s %(serial)s passed its check.")
        if passed
        else _("%(thing)s %(serial)s failed its check and is on hold.")
    )
    return Done(sentence % {"thing": lot.item.name, "serial": lot.serial})


# --------------------------------------------------------------------------------------- its record
_A_PAGE = 40


@read_page("read_history")
def list_acts(request: HttpRequest, kit: str) -> HttpResponse:
    """The history of a kit, newest first, so many at a time."""
    who = actor(request)
    subject = find.kit(who, kit)
    before = request.GET.get("before", "")
    acts, older = history.history(
        who,
        subject,
        most=_A_PAGE,
        before=id_of(before),
    )
    return show(
        request,
        "site/kits/record/history.html",
        kit=subject,
        acts=acts,
        older=older,
        newest=not before,
        may={"reverse": who.may("reverse", subject.home_room_id)},
    )


@read_page()
def as_of(request: HttpRequest, kit: str) -> HttpResponse:
    """One printable page of a kit as of a day, as known now or as it was known that evening; with
    `?print=1` as PDF, with what had happened to it."""
    who = actor(request)
    subject = find.kit(who, kit)
    history.refuse_unless_known(who, subject)
    today = readiness.today_of(subject)
    on = read_field(Day(required=False, label=_("As of")), request.GET, "on") or today
    if on > today:
        raise Invalid(_("That day is in the future. Choose today or an earlier day."), field="on")
    then = request.GET.get("known") == "then" and on < today
    day = None if on == today else on
    known_by = clock.end_of_day(on, subject.home_room.time_zone) if then else None
    if request.GET.get("print"):
        of = inspection.inspection(who, subject, on=day, known_by=known_by)
        return as_pdf(kit_record(of), f"record-{on}.pdf")
    overview = kits_overview.overview(who, subject)
    known = record.record(subject, on=day, known_by=known_by)
    return show(
        request,
        "site/kits/record/as_of.html",
        kit=overview.kit,
        overview=overview,
        on=on,
        today=today,
        then=then,
        record=known,
        not_carried=not_carried.shown(known.version, on),
        may_print=is_offered(request, "read_history", subject.home_room_id),
    )
