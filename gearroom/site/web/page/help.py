"""Help: one page a role, a topic a task, each with a picture of the very page.

The pictures are made from the running program by `python -m tests.help_pictures` and lie in
`static/site/help/LANGUAGE/`.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse
from django.utils.functional import Promise
from django.utils.translation import get_language
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from gearroom.core.acts.problems import NotFound
from gearroom.core.rules.roles import Role
from gearroom.site.web.page.shell import actor, page, show

WIDTH, HEIGHT = 360, 640
"""Of every picture, in CSS pixels: a telephone's."""


@dataclass(frozen=True)
class Topic:
    """One task: its name, how it goes step by step, its picture's name, and the page's address."""

    title: str | Promise
    steps: tuple[str | Promise, ...]
    picture: str = ""
    page: str = ""


_TAKE_OUT = Topic(
    _("Take a kit out"),
    (
        _("Open Scan and hold the kit’s label in the frame, or type its name or code."),
        _("Its trip and its guide come up, and its state through the trip’s last day. Ready, "
          "also where it is low on something: one tap takes it out."),
        _("With a guide’s tag: scan the tag and the kit, in any order. No tap is needed."),
        _("Ask first: it is short of something, and goes with a reason from somebody who may "
          "give one. Do not take means just that: take another one, or press Emergency."),
        _("Beside it: for which day and trip it was judged, and the first expiry, which is the "
          "earliest date of anything inside."),
    ),
    "take-out",
    "scan",
)  # fmt: skip
_HAND_BACK = Topic(
    _("Hand a kit back"),
    (
        _("Scan it. If it is out, the ways to hand it back come up."),
        _("Sealed and dry: compare the last three digits of the seal with those on the screen. "
          "If they differ, it was opened."),
        _("Sort later: leave it on the bench. Select wet or dirty, and it is hung up to dry "
          "first."),
        _("Anybody may hand in any kit, including one of another gear room."),
    ),
    "hand-back",
    "scan",
)  # fmt: skip
_USED = Topic(
    _("Enter what was used"),
    (
        _("Opened: first sharps or blood. Gloves on; sharps into the tub; clean before counting."),
        _("Then one tap an item. What is used most from this kit comes first."),
        _("Write nothing about casualties. An incident’s reference is enough."),
    ),
    "used",
)  # fmt: skip
_SORT = Topic(
    _("Sort and restock"),
    (
        _("The page says what to remove, what to put in, and from which shelf and batch."),
        _("All put in as listed is one tap. Select what was not replaced."),
        _("Put a seal on, type its number, and tie the kit tag to it."),
    ),
    "sort",
    "board",
)  # fmt: skip
_OFFLINE = Topic(
    _("Without a network"),
    (
        _("Open Scan once while there is a network. After that it works without one, and shows "
          "how many records are waiting."),
        _("They are sent by themselves, in order, when the network is back. What breaks a rule "
          "is shown, with a way to settle it."),
    ),
)  # fmt: skip
_UNDO = Topic(
    _("Undo a mistake"),
    (
        _("What you did just now is listed below the camera, each with Undo."),
        _("Wrong kit? Choose the right one, and the record is moved to it."),
    ),
    page="scan",
)
_BOARD = Topic(
    _("Read the board"),
    (
        _("Four parts: going out, coming back, needs sorting, and needs attention. Each line "
          "ends with what to do next."),
        _("It updates itself within five seconds."),
        _("Not back: the person’s telephone number is a link."),
    ),
    "board",
    "board",
)  # fmt: skip
_RECEIVE = Topic(
    _("Receive a delivery"),
    (
        _("Scan the maker’s code on the box: item, LOT and date are read from it."),
        _("Enter how many packs, and to which shelf. What is out of date or recalled goes to "
          "quarantine."),
    ),
    "receive",
    "receive",
)  # fmt: skip
_COUNT = Topic(
    _("Count a shelf or a kit"),
    (
        _("Count without looking at the record, and enter what is there."),
        _("Differences are shown before anything is saved. Look again, then save."),
    ),
    "count",
    "count",
)
_EXPIRY = Topic(
    _("View what expires"),
    (
        _("A chart of the months to come, with units stacked by kind, and a table below it."),
        _("What is out of date is disposed of in one step, each item in its own way."),
    ),
    "expiry",
    "stock-expiry",
)
_RECALL = Topic(
    _("A maker recalls a batch"),
    (
        _("Enter the item and the LOT. What is in the gear room goes to quarantine at once."),
        _("Kits that certainly hold it and those that may hold it are listed apart, with who "
          "has them. Each answers: removed, or none there."),
        _("Finish it when everything is accounted for: the batch stays blocked. It is good again "
          "only when its maker withdraws the recall."),
    ),
    "recalls",
    "recalls",
)  # fmt: skip
_KIT = Topic(
    _("Be responsible for a kit"),
    (
        _("Its page shows its full history, who checked it last, its seals and its checks."),
        _("Print page: the kit as of any day, as known now or as known that evening, for an "
          "inspector or an insurer."),
    ),
    "kit",
    "kits",
)  # fmt: skip
_LISTS = Topic(
    _("Write a kit list"),
    (
        _("A line says how many to carry, the minimum, its priority, and the reason."),
        _("Edit a draft, see which kits it would change and what that takes from stock, then "
          "publish it. A published version cannot be changed."),
        _("The medical adviser signs each version until a day."),
    ),
    "list",
    "lists",
)  # fmt: skip
_TRIPS = Topic(
    _("Reserve kits for a trip"),
    (
        _("Trips come from the booking system by themselves, or are added by hand."),
        _("A trip’s page says whether its kits suit it together, and are ready through its last "
          "day."),
    ),
    "trips",
    "trips",
)  # fmt: skip
_WEEKLY = Topic(
    _("Monday’s email"),
    (
        _(
            "It starts with the soonest departure whose kits are not ready, and with what to "
            "do about it."
        ),
        _("You choose what is sent at once, weekly or not at all; recalls always come."),
    ),
    "weekly",
    "notices",
)
_SIGN = Topic(
    _("Sign a kit list"),
    (
        _("Read the version with its reasons, and compare it with the one before."),
        _("Sign it until a day; a page that was signed on paper can be attached."),
        _("Without a signature a kit that carries medicines is not to be taken."),
    ),
    "sign",
    "lists",
)
_FIRST_DAY = Topic(
    _("The first day"),
    (
        _("From an empty room to the first kit out, a step at a time."),
        _("Upload everything in a workbook, or count as you go."),
    ),
    "first-day",
    "first-day",
)
_PEOPLE = Topic(
    _("People and what they may do"),
    (
        _("Anybody who can have a kit needs a name. A sign-in is for those who work at a screen."),
        _("A guide takes out, hands back and sorts. A keeper looks after the stock. An "
          "instructor is responsible for kits. An adviser signs lists. An administrator looks "
          "after gear rooms and people."),
    ),
    "people",
    "people",
)  # fmt: skip
_LABELS = Topic(
    _("Print labels"),
    (
        _("Choose what for and which sheet, look at the preview, and print at full size."),
        _("Every code is read back from the page before you get it."),
    ),
    "labels",
    "labels",
)

PAGES: dict[Role, tuple[str | Promise, tuple[Topic, ...]]] = {
    Role.GUIDE: (
        _("For guides"),
        (_TAKE_OUT, _HAND_BACK, _USED, _SORT, _UNDO, _OFFLINE),
    ),
    Role.KEEPER: (
        _("For keepers"),
        (_BOARD, _TAKE_OUT, _HAND_BACK, _SORT, _RECEIVE, _COUNT, _EXPIRY, _RECALL, _LABELS),
    ),
    Role.INSTRUCTOR: (
        _("For responsible instructors"),
        (_BOARD, _KIT, _LISTS, _TRIPS, _RECALL, _WEEKLY),
    ),
    Role.ADVISER: (_("For medical advisers"), (_SIGN, _LISTS, _RECALL)),
    Role.ADMINISTRATOR: (
        _("For administrators"),
        (_FIRST_DAY, _PEOPLE, _LABELS, _COUNT, _WEEKLY),
    ),
}
"""What each role reads, in the order in which it meets it."""


@require_safe
@page(None)
def help_for(request: HttpRequest, role: str = "") -> HttpResponse:
    """One role's page; without one, that of the reader's own first role."""
    who = actor(request)
    held = frozenset().union(*who.roles.values()) if who.roles else frozenset()
    own = next((each for each in PAGES if each in held), Role.GUIDE)
    if role and role not in PAGES:
        raise NotFound("help page", role)
    chosen = Role(role) if role else own
    title, topics = PAGES[chosen]
    facts = {
        "title": title,
        "topics": [(topic, _picture(topic.picture)) for topic in topics],
        "others": [(each.value, name) for each, (name, _topics) in PAGES.items()],
        "chosen": chosen,
        "width": WIDTH,
        "height": HEIGHT,
    }
    return show(request, "site/page/help.html", facts)


def _picture(name: str) -> str:
    """The static file of a picture in the language of now, else in English; empty without one."""
    language = (get_language() or "en").split("-")[0]
    for path in (f"site/help/{language}/{name}.webp", f"site/help/en/{name}.webp"):
        if name and finders.find(path):
            return path
    return ""
