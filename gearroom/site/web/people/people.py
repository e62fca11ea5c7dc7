"""People: who they are, their roles by room, their sign-in, their tag; what is kept about somebody:
given to them, and erased; and somebody who is on record twice made one."""

from functools import partial
from typing import Any

from django import forms
from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse, QueryDict
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy, ngettext

from gearroom.core.acts import Act, Problem
from gearroom.core.models import Person, Redaction, Room
from gearroom.core.models.installation import current
from gearroom.core.role_names import ROLE_NAMES
from gearroom.core.rules.roles import Role
from gearroom.core.services.accounts import account_changes
from gearroom.core.services.people import people, personal_data, redaction, rooms
from gearroom.site.web.page import (
    Choice,
    Done,
    Line,
    PageForm,
    ShortText,
    actor,
    form_view,
    invalid,
    post_page,
    read_page,
    rooms_of,
    show,
    shown_once,
)
from kits.rules.lookup import label_codes
from kits.services.labelling import labelling
from kits.services.lookup import find
from kits.services.people import personal_records

_MOST_PEOPLE = 300


# -------------------------------------------------------------------------------------- all of them
@read_page("see_people")
def all_people(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    """The people of one's rooms."""
    who, left = actor(request), request.GET.get("left") == "1"
    search = request.GET.get("search", "").strip()[:120]
    chosen = next((r for r in rooms_of(request) if r.slug == request.GET.get("room")), None)
    rows = people.visible_to(who).filter(left_on__isnull=not left, name__icontains=search)
    rows = people.of_room(rows, chosen) if chosen else rows
    listed = list(rows.order_by("name", "id")[: _MOST_PEOPLE + 1])
    return show(
        request,
        "site/people/people.html",
        problem=problem,
        people=[{"person": row, "roles": _roles(row)} for row in listed[:_MOST_PEOPLE]],
        more=len(listed) > _MOST_PEOPLE,
        search=search,
        chosen=chosen,
        left=left,
        may_add=who.may("edit_person"),
        may_erase=personal_records.may_erase(who),
        values=request.POST,
    )


def _roles(person: Person) -> list[dict[str, Any]]:
    return [
        {
            "role": held.role,
            "label": ROLE_NAMES[Role(held.role)],
            "room": held.room.name if held.room else "",
            "slug": held.room.slug if held.room else "",
        }
        for held in person.memberships.all()
    ]


class PersonForm(PageForm):
    """Somebody's name, how they are reached, and where they are at home."""

    name = Line(120, message=gettext_lazy("Enter a name of up to 120 characters."))
    phone = Line(40, required=False)
    email = forms.EmailField(
        required=False,
        error_messages={
            "invalid": gettext_lazy("Enter the full email address, such as name@example.org.")
        },
    )
    language = forms.ChoiceField(
        required=False,
        choices=settings.LANGUAGES,
        error_messages={"invalid_choice": gettext_lazy("Choose one of the languages.")},
    )
    home_room = ShortText()


class RoleForm(PageForm):
    """A role in a room, or in every room."""

    role = Choice(Role, message=gettext_lazy("Choose a role."))
    room = ShortText()


def _values(act: Act, sent: QueryDict) -> dict[str, Any]:
    values = PersonForm.read(sent)
    values["home_room"] = _room(act, values["home_room"])
    return values


def _room(act: Act, slug: str) -> Room | None:
    return rooms.get(act.actor, slug) if slug else None


@form_view("edit_person", "people", refused=all_people)
def add(act: Act, request: HttpRequest) -> Done:
    """Somebody new; with a role in their room at once where whoever adds may give it."""
    values = _values(act, request.POST)
    person = people.add(act, **values)
    if request.POST.get("role"):
        role = RoleForm.read(request.POST)["role"]
        people.add_role(act, person, role, values["home_room"])
    return Done(
        _("%(name)s has been added.") % {"name": person.name},
        to=reverse("person", args=[person.pk]),
    )


# ------------------------------------------------------------------------------------- one of them
def _page(
    request: HttpRequest,
    person: int,
    problem: Problem | None = None,
    made: dict[str, Any] | None = None,
) -> HttpResponse:
    who = actor(request)
    if who.person is None or who.person.pk != person:
        who.require("see_people")
    of = people.get(who, person)
    own, tag = who.person == of, labelling.live(of, who)
    has_right = account_changes.has_the_right_over(who, of)
    may_appoint = people.may_appoint(who, of)
    return show(
        request,
        "site/people/person.html",
        problem=problem,
        somebody=of,
        own=own,
        roles=_roles(of),
        all_roles=[
            (role.value, label)
            for role, label in ROLE_NAMES.items()
            if role is not Role.ADVISER or may_appoint
        ],
        languages=settings.LANGUAGES,
        mail_language=dict(settings.LANGUAGES)[current().language],
        everywhere=who.everywhere,
        tag=label_codes.shown(tag.code) if tag else "",
        printed=tag.printed_at if tag else None,
        may_care=who.may("edit_person", of.home_room_id),
        may_rule=who.may("edit_member"),
        may_leave=of.user is None or has_right,
        may_reach=has_right,
        may_erase=personal_records.may_erase(who),
        may_print=who.may("print_labels", of.home_room_id),
        may_cancel=who.may("cancel_label", of.home_room_id),
        values=request.POST if problem else None,
        made=made,
    )


@form_view("own_account", "person", page_of=_page)
def person(act: Act, request: HttpRequest, person: int) -> Done:
    """Somebody, with what of them may be changed by whoever asks."""
    if act.actor.person is None or act.actor.person.pk != person:
        act.actor.require("see_people")
    values = _values(act, request.POST)
    if "home_room" not in request.POST:
        del values["home_room"]
    people.edit(act, people.get(act.actor, person), **values)
    return Done(_("Saved."))


@form_view("edit_member", "person", part="#roles", refused=_page)
def add_role(act: Act, request: HttpRequest, person: int) -> Done:
    """Make somebody something in a room, or in every room."""
    of, values = people.get(act.actor, person), RoleForm.read(request.POST)
    people.add_role(act, of, values["role"], _room(act, values["room"]))
    return Done(_("%(name)s: %(role)s.") % {"name": of.name, "role": ROLE_NAMES[values["role"]]})


@form_view("edit_member", "person", part="#roles", refused=_page)
def end_role(act: Act, request: HttpRequest, person: int) -> Done:
    """Take a role from somebody."""
    of, values = people.get(act.actor, person), RoleForm.read(request.POST)
    people.end_role(act, of, values["role"], _room(act, values["room"]))
    return Done(
        _("%(name)s: no longer %(role)s.") % {"name": of.name, "role": ROLE_NAMES[values["role"]]}
    )


@post_page("edit_member")
def sign_in(request: HttpRequest, person: int) -> HttpResponse:
    """A sign-in, or a new password for the one they have; shown this once."""

    def perform(act: Act) -> dict[str, Any]:
        name, of = request.POST.get("username", "").strip(), people.get(act.actor, person)
        with invalid("username"):
            user, password = people.give_sign_in(act, of, name or None)
        return {"username": user.username, "password": password}

    return shown_once(request, perform, "password", partial(_page, request, person))


@form_view("edit_person", "person", refused=_page)
def left(act: Act, request: HttpRequest, person: int) -> Done:
    """They left: sign-in and tokens end at once."""
    of = people.leave(act, people.get(act.actor, person))
    return Done(
        _(
            "%(name)s is now on record as having left. They have been logged out and can no "
            "longer log in."
        )
        % {"name": of.name}
    )


@form_view("edit_person", "person", refused=_page)
def came_back(act: Act, request: HttpRequest, person: int) -> Done:
    """They are here again."""
    of = people.rejoin(act, people.get(act.actor, person))
    return Done(_("%(name)s is back, and their login works again.") % {"name": of.name})


@form_view("print_labels", refused=_page)
def make_tag(act: Act, request: HttpRequest, person: int) -> Done:
    """A tag for somebody, to be printed next."""
    of = people.get(act.actor, person)
    (tag,) = labelling.labels_for(act, [of], of.home_room or act.room)
    return Done(
        _("%(name)s now has the tag %(code)s. Print the tag now.")
        % {"name": of.name, "code": label_codes.shown(tag.code)},
        to=f"{reverse('print-labels')}?codes={tag.code}&sheet=key-ring-a4",
    )


# ---------------------------------------------------------------------- what is kept about somebody
@read_page("own_account")
def export(request: HttpRequest, person: int) -> HttpResponse:
    """All that is kept about somebody, as a file: one's own; anybody's for an administrator."""
    who = actor(request)
    return JsonResponse(
        personal_data.export(who, people.get(who, person)),
        json_dumps_params={"indent": 2, "ensure_ascii": False},
        headers={"Content-Disposition": f'attachment; filename="person-{person}.json"'},
    )


def _erase_page(request: HttpRequest, person: int, problem: Problem | None = None) -> HttpResponse:
    redaction.require_administrator(actor(request))
    of = people.get(actor(request), person)
    return show(
        request,
        "site/people/erase.html",
        problem=problem,
        somebody=of,
        moves=personal_records.moves(of),
        words=request.POST.get("words", ""),
    )


@form_view("erase_person", page_of=_erase_page)
def erase(act: Act, request: HttpRequest, person: int) -> Done:
    """What is erased of somebody and what stays, what hangs on them, and the act itself."""
    words = request.POST.get("words", "").splitlines()
    done = personal_records.erase(act, people.get(act.actor, person), words)
    sentence = _("Erased. Their past actions are now on record under Person %(number)s.")
    sentence %= {"number": done.person}
    if done.still_named:
        also = _("The person’s name still appears in: %(things)s. Change it there.")
        sentence += " " + also % {"things": ", ".join(done.still_named)}
    return Done(sentence, to=reverse("people"))


def _names_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    redaction.require_administrator(actor(request))
    if problem is not None:
        raise problem
    done = Redaction.objects.filter(about=None).order_by("pk").last()
    return show(request, "site/people/names_in_old_records.html", done=done)


@form_view("erase_person", "names", page_of=_names_page)
def names(act: Act, request: HttpRequest) -> Done:
    """Names in old records are put where they can be erased: asked, then done."""
    rows = redaction.redact_landed(act).rows.count()
    return Done(
        ngettext(
            "Names in %(count)s record can now be erased.",
            "Names in %(count)s records can now be erased.",
            rows,
        )
        % {"count": rows}
    )


def _merge_page(request: HttpRequest, person: int, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    of = people.get(who, person)
    chosen = request.POST.get("into") or request.GET.get("into", "")
    into = find.person(who, chosen) if chosen else None
    if into == of:
        return redirect("person", of.pk)
    return show(
        request,
        "site/people/merge.html",
        problem=problem,
        somebody=of,
        into=into,
        others=people.may_take(who).exclude(pk=of.pk),
        moves=personal_records.moves(of) if into else None,
    )


@form_view("edit_person", page_of=_merge_page)
def merge(act: Act, request: HttpRequest, person: int) -> Done:
    """Which record of somebody is kept, what moves to it, and the act itself."""
    into = find.person(act.actor, request.POST.get("into", ""))
    kept = personal_records.merge(act, people.get(act.actor, person), into)
    return Done(
        _("The two records of %(name)s have been merged into one.") % {"name": kept.name},
        to=reverse("person", args=[kept.pk]),
    )
