"""People: who they are, their roles by room, their sign-in, their tag."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, Problem
from gearroom.core.models import Person, Room
from gearroom.core.role_names import ROLE_NAMES
from gearroom.core.rules.roles import Role
from gearroom.core.services.accounts import account_changes
from gearroom.core.services.people import people, rooms
from gearroom.site.web.page.shell import Done, acted, actor, once_a_form, page, rooms_of, show
from kits.rules.lookup import label_codes
from kits.services.labelling import labelling
from kits.services.people import erasure

_MOST_PEOPLE = 300


# -------------------------------------------------------------------------------------- all of them
@require_safe
@page("see_people")
def every(request: HttpRequest) -> HttpResponse:
    """The people of one's rooms."""
    return _list_page(request)


def _list_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    left = request.GET.get("left") == "1"
    found = people.seen_by(who).filter(left_on__isnull=not left)
    search = request.GET.get("search", "").strip()[:120]
    if search:
        found = found.filter(name__icontains=search)
    chosen = next((r for r in rooms_of(request) if r.slug == request.GET.get("room")), None)
    if chosen is not None:
        found = people.of_room(found, chosen)
    rows = list(found.order_by("name", "id")[: _MOST_PEOPLE + 1])
    facts = {
        "people": [{"person": row, "roles": _roles(row)} for row in rows[:_MOST_PEOPLE]],
        "more": len(rows) > _MOST_PEOPLE,
        "search": search,
        "chosen": chosen,
        "left": left,
        "may_add": who.may("edit_person"),
        "may_erase": erasure.may_erase(who),
        "said": request.POST,
        "problem": problem,
    }
    status = problem.status if problem else 200
    return show(request, "site/people/people.html", facts, status=status)


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


@require_POST
@page("edit_person")
def add(request: HttpRequest) -> HttpResponse:
    """Somebody new; with a role in their room at once where whoever adds may give it."""

    def perform(act: Act) -> Done:
        fields = _fields(request)
        person = people.add(act, **fields)
        if request.POST.get("role"):
            people.add_role(act, person, _role(request), fields["home_room"])
        says = _("%(name)s is added.") % {"name": person.name}
        return Done(says, to=reverse("person", args=[person.pk]))

    try:
        return acted(request, perform, to=reverse("people"))
    except Problem as problem:
        return _list_page(request, problem)


# ------------------------------------------------------------------------------------- one of them
@page("own_account")
def one(request: HttpRequest, person: int) -> HttpResponse:
    """Somebody, with what of them may be changed by whoever asks."""
    who = actor(request)
    if who.person is None or who.person.pk != person:
        who.require("see_people")
    found = people.get(who, person)
    if request.method == "POST":

        def perform(act: Act) -> Done:
            fields = _fields(request)
            if "home_room" not in request.POST:
                del fields["home_room"]
            people.edit(act, people.get(act.actor, person), **fields)
            return Done(_("Saved."))

        try:
            return acted(request, perform, to=request.path)
        except Problem as problem:
            return _one_page(request, found, problem=problem)
    return _one_page(request, found)


def _one_page(request: HttpRequest, person: Person, **more: Any) -> HttpResponse:
    who = actor(request)
    own = who.person == person
    tag = labelling.live(person, who)
    problem: Problem | None = more.get("problem")
    facts = {
        "shown": person,
        "own": own,
        "roles": _roles(person),
        "all_roles": [
            (role.value, label)
            for role, label in ROLE_NAMES.items()
            if role is not Role.ADVISER or (not own and who.may("appoint_adviser"))
        ],
        "languages": settings.LANGUAGES,
        "mail_language": dict(settings.LANGUAGES)[settings.LANGUAGE_CODE],
        "everywhere": who.everywhere,
        "tag": label_codes.shown(tag.code) if tag else "",
        "printed": tag.printed_at if tag else None,
        "may_care": who.may("edit_person", person.home_room_id),
        "may_rule": who.may("edit_member"),
        "may_leave": person.user is None or account_changes.has_the_right_over(who, person),
        "may_reach": account_changes.has_the_right_over(who, person),
        "may_erase": erasure.may_erase(who),
        "may_print": who.may("print_labels", person.home_room_id),
        "may_cancel": who.may("cancel_label", person.home_room_id),
        "said": request.POST if problem else None,
        **more,
    }
    return show(
        request, "site/people/person.html", facts, status=problem.status if problem else 200
    )


def _fields(request: HttpRequest) -> dict[str, Any]:
    """What a form says of somebody. Raises Invalid."""
    said = request.POST
    name = " ".join(said.get("name", "").split())
    if not name or len(name) > 120:
        raise Invalid(_("Enter a name of up to 120 characters."), field="name")
    email = said.get("email", "").strip()
    if email:
        try:
            validate_email(email)
        except ValidationError:
            raise Invalid(
                _("Enter the full email address, such as name@example.org."), field="email"
            ) from None
    language = said.get("language", "")
    if language and language not in dict(settings.LANGUAGES):
        raise Invalid(_("Choose one of the languages."), field="language")
    return {
        "name": name,
        "phone": " ".join(said.get("phone", "").split())[:40],
        "email": email,
        "language": language,
        "home_room": _room(request, said.get("home_room", "")),
    }


def _room(request: HttpRequest, slug: str) -> Room | None:
    return rooms.get(actor(request), slug) if slug else None


def _role(request: HttpRequest) -> Role:
    try:
        return Role(request.POST.get("role", ""))
    except ValueError:
        raise Invalid(_("Choose a role."), field="role") from None


def _act(
    request: HttpRequest, person: int, perform: Any, *, part: str = ""
) -> HttpResponse:  # an act on somebody, told on their page
    try:
        return acted(request, perform, to=reverse("person", args=[person]) + part)
    except Problem as problem:
        return _one_page(request, people.get(actor(request), person), problem=problem)


@require_POST
@page("edit_member")
def add_role(request: HttpRequest, person: int) -> HttpResponse:
    """Make somebody something in a room, or in every room."""

    def perform(act: Act) -> Done:
        somebody, role = people.get(act.actor, person), _role(request)
        people.add_role(act, somebody, role, _room(request, request.POST.get("room", "")))
        says = _("%(name)s: %(role)s.") % {"name": somebody.name, "role": ROLE_NAMES[role]}
        return Done(says)

    return _act(request, person, perform, part="#roles")


@require_POST
@page("edit_member")
def end_role(request: HttpRequest, person: int) -> HttpResponse:
    """Take a role from somebody."""

    def perform(act: Act) -> Done:
        somebody, role = people.get(act.actor, person), _role(request)
        people.end_role(act, somebody, role, _room(request, request.POST.get("room", "")))
        says = _("%(name)s: no longer %(role)s.") % {
            "name": somebody.name,
            "role": ROLE_NAMES[role],
        }
        return Done(says)

    return _act(request, person, perform, part="#roles")


@require_POST
@page("edit_member")
def sign_in(request: HttpRequest, person: int) -> HttpResponse:
    """A sign-in, or a new password for the one they have; shown this once."""

    def perform(act: Act) -> dict[str, Any]:
        name = request.POST.get("username", "").strip()
        try:
            user, password = people.give_sign_in(act, people.get(act.actor, person), name or None)
        except ValidationError as error:
            raise Invalid(" ".join(error.messages), field="username") from None
        return {"username": user.username, "password": password}

    try:
        made = once_a_form(request, perform, kept=lambda body: _without(body, "password"))
    except Problem as problem:
        return _one_page(request, people.get(actor(request), person), problem=problem)
    return _one_page(request, people.get(actor(request), person), made=made)


def _without(body: dict[str, Any], secret: str) -> dict[str, Any]:
    return {**body, secret: None} if secret in body else body


@require_POST
@page("edit_person")
def left(request: HttpRequest, person: int) -> HttpResponse:
    """They left: sign-in and tokens end at once."""

    def perform(act: Act) -> Done:
        somebody = people.left(act, people.get(act.actor, person))
        says = _("%(name)s has left: they are signed out and cannot sign in.")
        return Done(says % {"name": somebody.name})

    return _act(request, person, perform)


@require_POST
@page("edit_person")
def came_back(request: HttpRequest, person: int) -> HttpResponse:
    """They are here again."""

    def perform(act: Act) -> Done:
        somebody = people.came_back(act, people.get(act.actor, person))
        return Done(_("%(name)s is back: the sign-in works again.") % {"name": somebody.name})

    return _act(request, person, perform)


@require_POST
@page("print_labels")
def make_tag(request: HttpRequest, person: int) -> HttpResponse:
    """A tag for somebody, to be printed next."""

    def perform(act: Act) -> Done:
        somebody = people.get(act.actor, person)
        (tag,) = labelling.labels_for(act, [somebody], somebody.home_room or act.room)
        says = _("%(name)s has the tag %(code)s. Print it now.")
        return Done(
            says % {"name": somebody.name, "code": label_codes.shown(tag.code)},
            to=f"{reverse('print-labels')}?codes={tag.code}&sheet=key-ring-a4",
        )

    return _act(request, person, perform)
