"""The first day: from an empty room to the first kit out, a step at a time, by a start workbook or
by counting things as they stand."""

from dataclasses import asdict, dataclass
from urllib.parse import urlencode

from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.core.models import Room
from gearroom.core.models.installation import current
from gearroom.core.rules.grouping import grouped
from gearroom.core.services.installation import installation
from gearroom.core.services.people import people
from gearroom.site.web.overview import start_workbook
from gearroom.site.web.page import (
    Done,
    PageForm,
    ShortText,
    WholeNumber,
    acted,
    actor,
    company,
    form_view,
    here,
    id_of,
    page,
    read_page,
    rooms_of,
    show,
)
from kits.models import Kit, PackingListVersion
from kits.rules.overview.workbook import Workbook
from kits.services.kits import kits
from kits.services.lookup import find
from kits.services.overview import onboarding

_SAYS = {
    "missing": gettext_lazy("is missing"),
    "not-a-number": gettext_lazy("is not a whole number"),
    "not-a-choice": gettext_lazy("is not one of the options"),
    "not-a-date": gettext_lazy("is not a clear date: enter it as 2027-05-31"),
    "twice": gettext_lazy("appears twice"),
    "not-there": gettext_lazy("is neither in the spreadsheet nor on record: check the spelling"),
    "more-than-carry": gettext_lazy("is more than the number to carry"),
}
_MOST_FAULTS = 60
_WORKBOOK = "site/overview/first_day/workbook.html"
_SALT, _A_DAY = "start-workbook", 24 * 3600


@dataclass(frozen=True)
class Step:
    """One step of the day: what to do, whether it is done and how far it is, and where."""

    title: str
    says: str
    done: bool
    so_far: str
    url: str = ""
    label: str = ""
    several: bool = False
    """It takes somebody else: nobody has to do it who works alone."""
    can_wait: bool = False
    """The kits do not wait for it, so it is never the next step."""
    adds_kit: bool = False


@read_page("look")
def first_day(request: HttpRequest) -> HttpResponse:
    """How far the room has come, and the next step."""
    if (room := here(request)) is None:
        return show(
            request,
            "site/overview/first_day/no_room.html",
            url=reverse("rooms") if actor(request).may("edit_room") else "",
        )
    alone = company(request).alone
    steps = [
        step
        for step in (*_steps_of_installation(request), *_steps_of_day(room, alone=alone))
        if not (step.several and alone)
    ]
    may_begin = actor(request).may("edit_item") and actor(request).may("edit_list")
    return show(
        request,
        "site/overview/first_day/steps.html",
        steps=steps,
        next=next((step for step in steps if not (step.done or step.can_wait)), None),
        may_begin=may_begin,
        begins=may_begin and not any(step.done for step in steps if step.adds_kit),
    )


def _steps_of_installation(request: HttpRequest) -> list[Step]:
    """What an administrator of every room sets up first."""
    if not actor(request).may("edit_installation"):
        return []
    now, tried = current(), installation.row().reached_at is not None
    return [
        Step(
            _("The installation"),
            _("The name on labels and pages, and the language of emails."),
            bool(now.organisation),
            now.organisation,
            reverse("installation"),
            _("Change the name") if now.organisation else _("Enter the name"),
        ),
        Step(
            _("The web address"),
            _("The address that labels and emails link to. Try it with a phone."),
            tried,
            now.public_url,
            reverse("installation-address"),
            _("Try the web address"),
            can_wait=bool(now.public_url),
        ),
        Step(
            _("Email"),
            _(
                "The mail server that sends emails. Try it with a test email. Without a mail "
                "server, emails are saved as files."
            ),
            bool(installation.mail_host()),
            installation.mail_host(),
            reverse("installation-mail"),
            _("Set up email"),
            can_wait=True,
        ),
    ]


def _steps_of_day(room: Room, *, alone: bool) -> list[Step]:
    so_far = onboarding.steps(room)
    kits = Kit.objects.active().filter(home_room=room).order_by("pk")
    kit = kits.first()
    to_count = kits.filter(contents_entered=False).first() or kit
    unsigned = PackingListVersion.objects.filter(published_at__isnull=False, signed_on=None).first()
    return [
        Step(
            _("The gear room"),
            _("Enter the gear room’s name, its time zone, and how to return a kit that "
              "somebody finds."),
            bool(room.how_to_return),
            room.how_to_return,
            reverse("room", args=[room.slug]),
            _("Change how to return a kit") if room.how_to_return
            else _("Enter how to return a kit"),
        ),
        Step(
            _("People"),
            _("Everyone who may take out a kit: a name is enough, and a telephone number helps. "
              "Only people who work at a screen need a login. If you work alone, you need nobody "
              "else."),
            alone or so_far.people > 1,
            _("%(count)d so far") % {"count": so_far.people},
            reverse("people"),
            _("Add people"),
        ),
        Step(
            _("Shelves"),
            _("A name for each shelf, in the order in which you walk past them."),
            so_far.shelves > 0,
            _("%(count)d so far") % {"count": so_far.shelves},
            reverse("room", args=[room.slug]),
            _("Add shelves"),
        ),
        Step(
            _("A kit list"),
            _("What a kit contains, the minimum of each item, and why. New items are added as "
              "you go."),
            so_far.lists > 0,
            _("%(count)d published") % {"count": so_far.lists},
            reverse("lists"),
            _("Write a kit list"),
        ),
        Step(
            _("A kit"),
            _("A name for each box or bag, and the kit list that it uses."),
            so_far.kits > 0,
            _("%(count)d so far") % {"count": so_far.kits},
            reverse("add-kit"),
            _("Add a kit"),
            adds_kit=True,
        ),
        Step(
            _("Contents"),
            _("Open the kit and count what is in it, including anything out of date. You do "
              "not need to correct anything first."),
            so_far.filled > 0,
            _("%(filled)d of %(kits)d counted") % {"filled": so_far.filled, "kits": so_far.kits},
            reverse("kit-count", args=[to_count.name]) if to_count else "",
            _("Count %(kit)s") % {"kit": to_count.name} if to_count else "",
        ),
        Step(
            _("The signature"),
            _("You decide what your kits carry, name your sources, and set the last day on which "
              "your decision is valid. Until you have decided, a kit that contains medicines "
              "must not be taken out, and any other kit is not ready.")
            if alone
            else _("Your medical adviser reads the kit list and signs it; the signature is valid "
              "until a set date. Without a signature, a kit that contains medicines must not "
              "be taken out, and for any other kit you must ask first."),
            so_far.signed > 0,
            _("%(count)d signed") % {"count": so_far.signed},
            reverse("list-version", args=[unsigned.packing_list_id, unsigned.number])
            if unsigned
            else reverse("lists"),
            _("View the list"),
        ),
        Step(
            _("A label"),
            _("A code on the lid, so that a phone recognises the kit. You can also type the kit’s "
              "name."),
            so_far.labelled > 0,
            _("%(count)d labelled") % {"count": so_far.labelled},
            reverse("labels"),
            _("Print labels"),
        ),
        Step(
            _("Take out the first kit"),
            _("Scan the kit or type its name, then choose who is taking it. The kit is then "
              "recorded as taken out."),
            so_far.went > 0,
            _("%(count)d taken out") % {"count": so_far.went},
            reverse("scan") + ("?" + urlencode({"text": kit.name}) if kit else ""),
            _("Take it out"),
            several=True,
        ),
    ]  # fmt: skip


# ------------------------------------------------------------------------------------ the workbook
@read_page("edit_item")
def blank_workbook(request: HttpRequest) -> HttpResponse:
    """The start workbook, empty."""
    return HttpResponse(
        start_workbook.blank(),
        content_type=start_workbook.MEDIA_TYPE,
        headers={"Content-Disposition": 'attachment; filename="gear-room.xlsx"'},
    )


@page("edit_item")
def workbook(request: HttpRequest) -> HttpResponse:
    """Send a workbook: first it is read and shown, then, where nothing is wrong, taken in."""
    if (room := here(request)) is None:
        return show(request, "site/overview/first_day/no_room.html", url="")
    if request.method != "POST":
        return show(request, _WORKBOOK, room=room)
    try:
        if "sure" in request.POST:
            return _take_in(request, room)
        if "workbook" not in request.FILES:
            raise Invalid(_("Choose the spreadsheet that you filled in."), field="workbook")
        sheets = start_workbook.sheets_of(request.FILES["workbook"])
    except Problem as problem:
        return show(request, _WORKBOOK, problem=problem, room=room)
    book = onboarding.read_workbook(actor(request), room, sheets, start_workbook.words())
    return show(
        request,
        _WORKBOOK,
        status=400 if book.faults else 200,
        room=room,
        book=book,
        faults=_faults(book),
        read="" if book.faults else signing.dumps(sheets, salt=_SALT, compress=True),
    )


def _take_in(request: HttpRequest, room: Room) -> HttpResponse:
    try:
        sheets = signing.loads(request.POST["sure"], salt=_SALT, max_age=_A_DAY)
    except signing.BadSignature:  # expired too
        raise Invalid(_("The spreadsheet was checked too long ago. Choose it again.")) from None

    def perform(act: Act) -> Done:
        book = onboarding.read_workbook(act.actor, room, sheets, start_workbook.words())
        done = onboarding.begin(act, room, book)
        return Done(
            _(
                "Added: %(shelves)d shelves, %(things)d items, %(lists)d kit lists, %(kits)d kits, "
                "%(batches)d batches."
            )
            % asdict(done)
        )

    return acted(request, perform, to=reverse("first-day"))


def _faults(book: Workbook) -> list[dict[str, str]]:
    """What is wrong, a sentence a cell, with where it stands."""
    return [
        {
            "where": _("%(sheet)s, row %(row)d") % {
                "sheet": start_workbook.SHEETS[fault.sheet], "row": fault.row
            },
            "says": _("%(column)s: “%(said)s” %(wrong)s.") % {
                "column": start_workbook.HEADINGS[fault.column],
                "said": fault.typed,
                "wrong": _SAYS[fault.code],
            } if fault.typed else _("%(column)s %(wrong)s.") % {
                "column": start_workbook.HEADINGS[fault.column], "wrong": _SAYS[fault.code],
            },
            "choices": ", ".join(fault.choices),
        }
        for fault in book.faults[:_MOST_FAULTS]
    ]  # fmt: skip


# ------------------------------------------------------------------------------------------- a kit
class KitForm(PageForm):
    """A new kit."""

    version = WholeNumber(label=gettext_lazy("Kit list"))
    name = ShortText(60)


def _kit_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    versions = PackingListVersion.objects.filter(
        published_at__isnull=False, packing_list__retired_on__isnull=True
    ).order_by("packing_list__name", "-number")
    by_list = grouped(
        (version.packing_list_id, version)
        for version in versions.select_related("packing_list").defer("signed_page")
    )
    return show(
        request,
        "site/overview/first_day/kit.html",
        problem=problem,
        versions=[newest for newest, *_older in by_list.values()],
        people=people.visible_to(who).filter(left_on__isnull=True).order_by("name"),
        homes=[room for room in rooms_of(request) if who.may("edit_kit", room.pk)],
        sent=request.POST or request.GET,
    )


@form_view("edit_kit", page_of=_kit_page)
def add_kit(act: Act, request: HttpRequest) -> Done:
    """Add a kit: its name, the list that it follows, who is responsible."""
    sent, (pk, name) = request.POST, KitForm.read(request.POST).values()
    version = PackingListVersion.objects.filter(pk=pk, published_at__isnull=False).first()
    if version is None:
        raise Invalid(_("Choose the kit list for this kit."), field="version")
    responsible = sent.get("responsible", "")
    made = kits.add_kit(
        act,
        list_version=version,
        home_room=find.room(act.actor, sent.get("room", "")),
        name=name,
        responsible=find.person(act.actor, responsible) if responsible else None,
    )
    if sent.get("then") != "strip":
        sentence = _("%(kit)s has been added. Count its contents next.")
        to = reverse("kit-count", args=[made.name])
    else:
        sentence = _("%(kit)s has been added. Next, break down the bought kit.")
        filled = id_of(sent.get("filled", ""))
        to = (
            reverse("strip-filled", args=[made.name, filled])
            if filled
            else reverse("strip-kit", args=[made.name])
        )
    return Done(sentence % {"kit": made.name}, to=to)
