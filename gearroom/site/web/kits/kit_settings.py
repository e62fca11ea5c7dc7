"""Keeping a kit: who answers for it, its bag, where it lives; laid up, lost, moved, retired."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from gearroom.core.acts.act import Act, Actor
from gearroom.core.acts.problems import Invalid, Problem
from gearroom.core.models import Person
from gearroom.core.services.people import people
from gearroom.site.web.page.fields import whole, words
from gearroom.site.web.page.shell import Done, acted, actor, page, rooms_of, show
from kits.models import Kit
from kits.rules.ledger.facts import LivesIn
from kits.services.kits import holds, kits
from kits.services.lookup import find

LIVES_IN = {
    LivesIn.STORE: gettext_lazy("in the gear room"),
    LivesIn.VEHICLE: gettext_lazy("in a vehicle: frost and heat"),
    LivesIn.HUT: gettext_lazy("in a hut: frost"),
}
_MOST = 1_000_000


@page("report_lost")
def keep(request: HttpRequest, kit: str) -> HttpResponse:
    """What is said of a kit, and what is done with it as a whole."""
    found = find.kit(actor(request), kit)
    if request.method != "POST":
        return _page(request, found)
    does = _DOES.get(request.POST.get("do", ""))

    def perform(act: Act) -> Done:
        if does is None:
            raise Invalid(_("Choose what to do with it."), field="do")
        return does(act, find.kit(act.actor, kit), request.POST)

    try:
        return acted(request, perform, to=reverse("kit", args=[found.name]))
    except Problem as problem:
        return _page(request, found, problem)


def _page(request: HttpRequest, kit: Kit, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    may_edit = who.may("edit_kit", kit.home_room_id)
    facts = {
        "kit": kit,
        "may_edit": may_edit,
        "may_empty": who.may("strip", kit.room_id),
        "may_lay_up": who.may("lay_up", kit.home_room_id),
        "people": people.seen_by(who).filter(left_on=None).order_by("name") if may_edit else (),
        "lives_in": [(each.value, label) for each, label in LIVES_IN.items()],
        "homes": [room for room in rooms_of(request) if who.may("edit_kit", room.pk)],
        "sent": request.POST if problem and request.POST.get("do") == "edit" else None,
        "problem": problem,
    }
    return show(request, "site/kits/settings.html", facts, problem.status if problem else 200)


# -------------------------------------------------------------------------------------- what to do
def _edit(act: Act, kit: Kit, said: Mapping[str, str]) -> Done:
    lives_in = said.get("lives_in", "")
    if lives_in not in list(LivesIn):
        raise Invalid(_("Choose where it is kept."), field="lives_in")
    litres = _maybe(said, "bag_volume_ml", _("Volume of the bag, ml"))
    grams = _maybe(said, "bag_mass_limit_g", _("Weight limit of the bag, g"))
    interval = whole(
        said,
        "look_interval_days",
        least=1,
        most=3650,
        what=_("Days between checks of its contents"),
    )
    kit = kits.edit_kit(
        act,
        kit,
        name=words(said, "name", kits.LONGEST_NAME),
        responsible=_person(act.actor, said, "responsible"),
        deputy=_person(act.actor, said, "deputy"),
        lives_in=lives_in,
        bag=words(said, "bag", 80),
        bag_volume_ml=litres,
        bag_mass_limit_g=grams,
        training=bool(said.get("training")),
        look_interval_days=interval,
    )
    says = _("%(kit)s is saved.") % {"kit": kit.name}
    return Done(says, to=reverse("kit", args=[kit.name]))  # its name may be another now


def _person(who: Actor, said: Mapping[str, str], name: str) -> Person | None:
    return find.person(who, said[name]) if said.get(name) else None


def _maybe(said: Mapping[str, str], name: str, what: str) -> int | None:
    return whole(said, name, most=_MOST, what=what) if said.get(name, "").strip() else None


def _lay_up(act: Act, kit: Kit, said: Mapping[str, str]) -> Done:
    entry = holds.lay_up(act, kit)
    return Done(_("%(kit)s is in storage: no reminders.") % {"kit": kit.name}, entry.pk)


def _wake(act: Act, kit: Kit, said: Mapping[str, str]) -> Done:
    entry = holds.wake(act, kit)
    return Done(_("%(kit)s is back in use. Check its contents next.") % {"kit": kit.name}, entry.pk)


def _lost(act: Act, kit: Kit, said: Mapping[str, str]) -> Done:
    entry = holds.mark_lost(act, kit)
    says = _("%(kit)s is lost, and its keepers are told. Scanning it finds it again.")
    return Done(says % {"kit": kit.name}, entry.pk)


def _found(act: Act, kit: Kit, said: Mapping[str, str]) -> Done:
    entry = holds.find_again(act, kit)
    return Done(_("%(kit)s is found. Check its contents next.") % {"kit": kit.name}, entry.pk)


def _move(act: Act, kit: Kit, said: Mapping[str, str]) -> Done:
    room = find.room(act.actor, said.get("room", ""))
    kit = kits.move_home(act, kit, room, is_there=bool(said.get("is_there")))
    told = {"kit": kit.name, "room": kit.home_room.name}
    return Done(_("The home of %(kit)s is %(room)s now.") % told)


def _retire(act: Act, kit: Kit, said: Mapping[str, str]) -> Done:
    kit = kits.retire_kit(act, kit)
    return Done(_("%(kit)s is retired. Its history stays.") % {"kit": kit.name})


_DOES: dict[str, Callable[[Act, Kit, Mapping[str, str]], Done]] = {
    "edit": _edit,
    "lay-up": _lay_up,
    "wake": _wake,
    "lost": _lost,
    "found": _found,
    "move": _move,
    "retire": _retire,
}
