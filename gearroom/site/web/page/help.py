"""Help: one page a role, a topic a task, each with a picture of the very page.

The pictures are made from the running program by `python -m tests.help_pictures` and lie in
`static/site/help/LANGUAGE/`.
"""

from dataclasses import dataclass

from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import get_language, gettext_lazy as _

from gearroom.core.acts import NotFound
from gearroom.core.rules.roles import Role
from gearroom.site.web.page.shell import actor, company, read_page, show
from kits.rules.lookup.ranking import Fit, Query

WIDTH, HEIGHT = 360, 640
"""Of every picture, in CSS pixels: a telephone's."""


@dataclass(frozen=True)
class Topic:
    """One task: its name, how it goes step by step, the page's address, and whether it has a
    picture."""

    title: str | Promise
    steps: tuple[str | Promise, ...]
    page: str = ""
    pictured: bool = True


_TOPICS = {
    "take-out": Topic(
        _("Take a kit out"),
        (
            _("Open “Scan” and hold the kit’s label in the frame, or type its name or code."),
            _("The page shows the kit’s trip and guide, and its status up to and including the "
              "last day of the trip. If the kit is ready, even if it is low on something, take "
              "it out with one tap."),
            _("With a guide’s tag: scan the tag and the kit, in either order. You do not need to "
              "tap anything."),
            _("“Ask first”: the kit is short of something, or its kit list does not suit the "
              "trip or is not signed. It may only be taken out with a reason from somebody who "
              "is allowed to give one. “Do not take”: take another kit, or press “Emergency”."),
            _("Next to the status: the day and trip that the status is for, and the first expiry, "
              "which is the earliest expiry date of anything inside."),
        ),
        page="scan",
    ),
    "hand-back": Topic(
        _("Hand a kit back"),
        (
            _("Scan the kit. If it is out, the ways to hand it back are shown."),
            _("“Sealed and dry”: compare the last three digits of the seal with those on the "
              "screen. If they differ, the kit has been opened."),
            _("“Sort later”: leave the kit on the bench. If you select “Wet or dirty”, it is hung "
              "up to dry first."),
            _("Anyone may hand in any kit, including one from another gear room."),
        ),
        page="scan",
    ),
    "used": Topic(
        _("Enter what was used"),
        (
            _("Opened: deal with sharps or blood first. Put on gloves, put sharps in the sharps "
              "tub, and clean the kit before counting."),
            _("Then tap once for each item used. The items used most from this kit come first."),
            _("Do not write anything about casualties. An incident reference is enough."),
        ),
    ),
    "sort": Topic(
        _("Sort and restock"),
        (
            _("The page shows what to remove, then what to put in, shelf by shelf with the batch "
              "to take."),
            _("“All put in as listed” takes one tap. Select anything that was not replaced."),
            _("Put a seal on, type its number, and tie the kit tag to the seal."),
        ),
        page="board",
    ),
    "offline": Topic(
        _("Working offline"),
        (
            _("Open “Scan” once while you have a network connection. After that it works without "
              "one and shows how many records are waiting to be sent."),
            _("The records are sent automatically, in order, when the connection is back. Any "
              "that break a rule are shown, with a way to correct them."),
        ),
        pictured=False,
    ),
    "undo": Topic(
        _("Undo a mistake"),
        (
            _("Your latest actions are listed below the camera, each with “Undo”."),
            _("Wrong kit? Choose the right one, and the record will be moved to it."),
        ),
        page="scan",
        pictured=False,
    ),
    "board": Topic(
        _("Read the board"),
        (
            _("The board has four parts: going out, out now, needs sorting, and needs "
              "attention. Each entry ends with what to do next."),
            _("The board updates itself within five seconds."),
            _("If a kit is not back, tap the person’s telephone number to call them."),
        ),
        page="board",
    ),
    "receive": Topic(
        _("Receive a delivery"),
        (
            _("Scan the maker’s code on the box: it contains the item, the lot number and the "
              "expiry date."),
            _("Enter how many packs there are and which shelf they go on. Anything out of date or "
              "recalled goes into quarantine."),
        ),
        page="receive",
    ),
    "count": Topic(
        _("Count a shelf or a kit"),
        (
            _("Count without looking at the record, and enter what is there."),
            _("Differences are shown before anything is saved. Check again, then save."),
        ),
        page="count",
    ),
    "expiry": Topic(
        _("See what expires and when"),
        (
            _(
                "A chart shows the coming months, with units stacked by kind, and there is a table "
                "below it."
            ),
            _("Dispose of everything that is out of date in one step, each item in the "
              "right way: bin, sharps tub, clinical waste or pharmacy."),
        ),
        page="stock-expiry",
    ),
    "recalls": Topic(
        _("When a maker recalls a batch"),
        (
            _("Enter the item and the lot number. Anything affected in the gear room goes into "
              "quarantine immediately."),
            _("Kits that certainly contain the batch and kits that may contain it are listed "
              "separately, with who has them. For each kit the answer is “removed” or "
              "“none there”."),
            _("Finish the recall when everything is accounted for: the batch stays blocked. It may "
              "be used again only if its maker withdraws the recall."),
        ),
        page="recalls",
    ),
    "kit": Topic(
        _("Be responsible for a kit"),
        (
            _("The kit’s page shows its full history, who checked it last, its seals and its "
              "checks."),
            _("“Printable page” shows the kit on any day, as known now or as known that evening, "
              "for an inspector or an insurer."),
        ),
        page="kits",
    ),
    "list": Topic(
        _("Write a kit list"),
        (
            _("For each item, a kit list shows how many to carry, the minimum, the priority and "
              "the reason."),
            _("A draft is one table, and all of it is saved together. Type, paste rows from a "
              "spreadsheet, or copy from another list. Press Enter to go to the next row, or Alt "
              "and an arrow key to move a row."),
            _("Edit a draft, see which kits it would change and what it would take from stock, "
              "then publish it. A published version cannot be changed."),
            _("The medical adviser signs each version, and the signature is valid until a "
              "set date."),
        ),
        page="lists",
    ),
    "plan": Topic(
        _("Decide what to carry"),
        (
            _("On the page of a kit or a list: “How many to carry” shows how often each item "
              "would run out, “What it costs to carry” shows the cost per year, and “On past "
              "trips” shows how the list would have done on your own trips."),
            _("For every number you can see what it is based on and how sure it is. Where "
              "nothing is on record, the page says so."),
            _("A list also shows what it leaves out: why, what to do instead, and when to review "
              "it."),
            _("The numbers never advise leaving out a must-have. Whoever signs the list decides."),
        ),
        page="rates",
        pictured=False,
    ),
    "draft": Topic(
        _("Draft a list for a trip"),
        (
            _("Enter the activity, people, days, hazards, and how many hours away a hospital or "
              "doctor is. Each line has its reason, and so does everything left out."),
            _("Save the result as a new list or as the next version of an existing list. It is a "
              "draft until you have read it, decided what is still open, and published it."),
        ),
        page="list-draft",
        pictured=False,
    ),
    "advice": Topic(
        _("Advice for somebody else’s trip"),
        (
            _("An administrator turns this on and chooses who may send advice."),
            _("Create a link and send it. Whoever opens it answers eight questions and "
              "needs no login."),
            _("When the answers have arrived, edit the draft and send it. The same link then "
              "shows it as one page to print. Medicines and doses are never part of it."),
            _("You can withdraw advice at any time. What was sent stays on record."),
        ),
        pictured=False,
    ),
    "trips": Topic(
        _("Reserve kits for a trip"),
        (
            _("Trips are added automatically from the booking system, or by hand."),
            _("A trip’s page shows whether its kits together cover the trip and are ready up to "
              "and including its last day."),
        ),
        page="trips",
    ),
    "weekly": Topic(
        _("Monday’s email"),
        (
            _(
                "The email starts with the next departure whose kits are not ready, and what to do "
                "about it."
            ),
            _("You choose what is sent immediately, weekly or not at all; recalls are "
              "always sent."),
        ),
        page="notices",
    ),
    "sign": Topic(
        _("Sign a kit list"),
        (
            _("Read the version with its reasons, and compare it with the previous one."),
            _(
                "Sign it and enter the last day on which the signature is valid. A page signed on "
                "paper can be attached."
            ),
            _("Without a signature, a kit that contains medicines must not be taken out."),
        ),
        page="lists",
    ),
    "first-day": Topic(
        _("The first day"),
        (
            _("From an empty gear room to the first kit taken out, one step at a time."),
            _("Try the web address with a phone and the mail server with a test email. You can "
              "leave any step and come back to it."),
            _("Enter the first kit on one page: from the example list, from lines that you paste, "
              "by scanning makers’ codes or by typing what is there. Or upload everything in a "
              "spreadsheet."),
            _("Enter dates as printed: 0327 is March 2027, good until its last day."),
        ),
        page="first-day",
    ),
    "people": Topic(
        _("People and what they may do"),
        (
            _("Everyone who may take out a kit needs a name on record. Only people who work at a "
              "screen need a login."),
            _("A guide takes out, hands back and sorts kits. A keeper looks after the stock. An "
              "instructor is responsible for kits. A medical adviser signs kit lists. An "
              "administrator looks after gear rooms and people."),
        ),
        page="people",
    ),
    "labels": Topic(
        _("Print labels"),
        (
            _(
                "Choose what to print labels for and which sheet to use, look at the preview, and "
                "print at full size."
            ),
            _("Before you get the page, every code on it is checked."),
        ),
        page="labels",
    ),
}  # fmt: skip
"""Each task, by the name of its picture."""

PAGES: dict[Role, tuple[str | Promise, tuple[str, ...]]] = {
    Role.GUIDE: (
        _("For guides"),
        ("take-out", "hand-back", "used", "sort", "undo", "offline"),
    ),
    Role.KEEPER: (
        _("For keepers"),
        (
            "board",
            "take-out",
            "hand-back",
            "sort",
            "receive",
            "count",
            "expiry",
            "recalls",
            "labels",
        ),
    ),
    Role.INSTRUCTOR: (
        _("For instructors responsible for kits"),
        ("board", "kit", "list", "plan", "draft", "trips", "recalls", "weekly", "advice"),
    ),
    Role.ADVISER: (_("For medical advisers"), ("sign", "list", "plan", "draft", "recalls")),
    Role.ADMINISTRATOR: (
        _("For administrators"),
        ("first-day", "people", "labels", "count", "weekly"),
    ),
}
"""What each role reads, in the order in which it meets it."""

_MOST_OFTEN = (Role.GUIDE, Role.KEEPER, Role.INSTRUCTOR, Role.ADMINISTRATOR, Role.ADVISER)
"""Whose page opens for somebody with several roles: what is done daily goes before what is done
once a season."""


@read_page(None)
def help_for(request: HttpRequest, role: str = "") -> HttpResponse:
    """One role's page; without one, that of the role that the reader has most to do with."""
    who = actor(request)
    held = frozenset().union(*who.roles.values()) if who.roles else frozenset()
    own = next((each for each in _MOST_OFTEN if each in held), Role.GUIDE)
    if own is Role.ADMINISTRATOR and company(request).alone:
        own = Role.KEEPER  # whoever works alone looks after the kits besides
    if role and role not in PAGES:
        raise NotFound("help page", role)
    chosen = Role(role) if role else own
    title, names = PAGES[chosen]
    return show(
        request,
        "site/page/help.html",
        title=title,
        topics=[(name, _TOPICS[name], _picture(name)) for name in names],
        others=[(each.value, name) for each, (name, _names) in PAGES.items()],
        chosen=chosen,
        width=WIDTH,
        height=HEIGHT,
    )


def topics_named(query: Query) -> list[tuple[str, str]]:
    """The topics whose title or steps have what somebody typed, the best first: each with its
    title and address."""
    fits = []
    for name, topic in _TOPICS.items():
        in_title = query.fit(str(topic.title))
        in_steps = any(query.fit(str(step)) in _IN_A_TEXT for step in topic.steps)
        if in_title is not None or in_steps:
            fits.append((in_title if in_title is not None else Fit.ONE_SLIP, name))
    return [(str(_TOPICS[name].title), _address(name)) for _fit, name in sorted(fits)[:_MOST]]


_IN_A_TEXT = (Fit.BEGINS, Fit.WORD_BEGINS)
_MOST = 6


def _address(name: str) -> str:
    """Where a topic stands on the page of the first role that reads it."""
    role = next(role for role, (_title, names) in PAGES.items() if name in names)
    return f"{reverse('help-for', args=[role.value])}#{name}"


def _picture(name: str) -> str:
    """The static file of a picture in the language of now, else in English; empty without one."""
    language = (get_language() or "en").split("-")[0]
    paths = (f"site/help/{language}/{name}.webp", f"site/help/en/{name}.webp")
    return next(filter(finders.find, paths), "")
