"""The settings of a kit: who is responsible, its bag, where it lives; in storage, lost, moved,
retired."""

from collections.abc import Callable, Mapping

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Actor, Invalid, Problem
from gearroom.core.models import Person
from gearroom.core.services.people import people
from gearroom.site.web.page import (
    Choice,
    Done,
    PageForm,
    ShortText,
    Tick,
    WholeNumber,
    actor,
    form_view,
    rooms_of,
    show,
)
from kits.models import Kit
from kits.rules.ledger.facts import LivesIn
from kits.services.kits import holds, kits
from kits.services.lookup import find

LIVES_IN = {
    LivesIn.STORE: gettext_lazy("indoors"),
    LivesIn.VEHICLE: gettext_lazy("in a vehicle (frost and heat)"),
    LivesIn.HUT: gettext_lazy("in a hut (frost)"),
}


class KitForm(PageForm):
    """What is said of a kit."""

    lives_in = Choice(LivesIn, message=gettext_lazy("Choose where the kit is kept."))
    bag_volume_ml = WholeNumber(required=False, label=gettext_lazy("Bag volume (ml)"))
    bag_mass_limit_g = WholeNumber(required=False, label=gettext_lazy("Bag weight limit (g)"))
    look_interval_days = WholeNumber(
        least=1, most=3650, label=gettext_lazy("Days between contents checks")
    )
    name = ShortText(kits.LONGEST_NAME)
    bag = ShortText(80)
    training = Tick()


def _page(request: HttpRequest, kit: str, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    subject = find.kit(who, kit)
    may_edit = who.may("edit_kit", subject.home_room_id)
    return show(
        request,
        "site/kits/settings/settings.html",
        problem=problem,
        kit=subject,
        may_edit=may_edit,
        may_empty=who.may("strip", subject.room_id),
        may_lay_up=who.may("lay_up", subject.home_room_id),
        people=people.visible_to(who).filter(left_on=None).order_by("name") if may_edit else (),
        lives_in=[(each.value, label) for each, label in LIVES_IN.items()],
        locations=find.locations_of(who).filter(room=subject.home_room),
        homes=[room for room in rooms_of(request) if who.may("edit_kit", room.pk)],
        sent=request.POST if problem and request.POST.get("do") == "edit" else _kept(subject),
    )


def _kept(kit: Kit) -> dict[str, str]:
    """The settings of a kit as its form sends them."""
    values = {
        "name": kit.name,
        "responsible": kit.responsible_id,
        "deputy": kit.deputy_id,
        "lives_in": kit.lives_in,
        "location": kit.location_id,
        "bag": kit.bag,
        "bag_volume_ml": kit.bag_volume_ml,
        "bag_mass_limit_g": kit.bag_mass_limit_g,
        "look_interval_days": kit.look_interval_days,
        "training": "1" if kit.training else "",
    }
    return {name: "" if value is None else str(value) for name, value in values.items()}


@form_view("report_lost", "kit", page_of=_page)
def change_settings(act: Act, request: HttpRequest, kit: str) -> Done:
    """The settings of a kit, and what is done with it as a whole."""
    if (do := request.POST.get("do", "")) in _HOLDS:
        of, (hold, sentence) = find.kit(act.actor, kit), _HOLDS[do]
        return Done(sentence % {"kit": of.name}, hold(act, of).pk)
    if do not in _CHANGES:
        raise Invalid(_("Choose an action."), field="do")
    return _CHANGES[do](act, find.kit(act.actor, kit), request.POST)


# -------------------------------------------------------------------------------------- what to do
def _edit(act: Act, kit: Kit, sent: Mapping[str, str]) -> Done:
    kit = kits.edit_kit(
        act,
        kit,
        responsible=_person(act.actor, sent, "responsible"),
        deputy=_person(act.actor, sent, "deputy"),
        location=find.location(act.actor, sent["location"]) if sent.get("location") else None,
        **KitForm.read(sent),
    )
    sentence = _("%(kit)s has been saved.") % {"kit": kit.name}
    return Done(sentence, to=reverse("kit", args=[kit.name]))  # its name may be another now


def _person(who: Actor, sent: Mapping[str, str], name: str) -> Person | None:
    return find.person(who, sent[name]) if sent.get(name) else None


def _move(act: Act, kit: Kit, sent: Mapping[str, str]) -> Done:
    room = find.room(act.actor, sent.get("room", ""))
    kit = kits.move_home(act, kit, room, is_there=bool(sent.get("is_there")))
    return Done(
        _("The home gear room of %(kit)s is now %(room)s.")
        % {"kit": kit.name, "room": kit.home_room.name}
    )


def _retire(act: Act, kit: Kit, sent: Mapping[str, str]) -> Done:
    kit = kits.retire_kit(act, kit)
    return Done(_("%(kit)s has been retired. Its history is kept.") % {"kit": kit.name})


_CHANGES: dict[str, Callable[[Act, Kit, Mapping[str, str]], Done]] = {
    "edit": _edit,
    "move": _move,
    "retire": _retire,
}
_HOLDS = {
    "lay-up": (
        holds.lay_up,
        gettext_lazy("%(kit)s is now in storage, and there will be no reminders about it."),
    ),
    "wake": (holds.wake, gettext_lazy("%(kit)s is back in use. Check its contents next.")),
    "lost": (
        holds.mark_lost,
        gettext_lazy(
            "%(kit)s has been marked as lost, and its keepers will be notified. If anybody scans "
            "the kit, it will be marked as found."
        ),
    ),
    "found": (
        holds.find_again,
        gettext_lazy("%(kit)s has been found. Check its contents next."),
    ),
}
"""What is done with a kit as a whole by an entry of its own, and what is said of it then."""
