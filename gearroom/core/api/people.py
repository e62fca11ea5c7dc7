"""/api/v1/people/: whoever can have a kit, in the rooms that one belongs to."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody, PageQuery
from gearroom.core.api.views import ListView, ReadView, UseCaseView, present
from gearroom.core.models import Membership, Person
from gearroom.core.rules.roles import Role
from gearroom.core.services.people import people, rooms

ROLES = [role.value for role in Role]


class RoleShown(serializers.Serializer[Membership]):
    """A role that somebody has in a gear room; without a room: in all of them."""

    room = serializers.SlugField(source="room.slug", allow_null=True)
    role = serializers.ChoiceField(choices=ROLES)


class PersonShown(serializers.ModelSerializer[Person]):
    """A person, with their roles in your gear rooms."""

    home_room = serializers.SlugField(source="home_room.slug", allow_null=True)
    email = serializers.SerializerMethodField(
        help_text="For keepers and for the person themselves; otherwise null."
    )
    username = serializers.CharField(
        source="user.username", allow_null=True, help_text="Null without a login."
    )
    roles = RoleShown(source="memberships", many=True, read_only=True)

    class Meta:
        model = Person
        fields = [
            "id",
            "name",
            "phone",
            "email",
            "language",
            "home_room",
            "username",
            "roles",
            "left_on",
        ]

    def get_email(self, person: Person) -> str | None:
        """Who may edit somebody sees where to write to them."""
        actor = self.context["actor"]
        own = actor.person is not None and actor.person.pk == person.pk
        return person.email if own or actor.may("edit_person", person.home_room_id) else None


class PersonBody(ActBody):
    """Somebody's details."""

    example = {
        "name": "Robin Example", "phone": "01632 960 001", "email": "robin@example.org",
        "language": "en-gb", "home_room": "main-store",
    }  # fmt: skip
    name = serializers.CharField(max_length=120)
    phone = serializers.CharField(max_length=40, required=False, allow_blank=True)
    email = serializers.EmailField(max_length=254, required=False, allow_blank=True)
    language = serializers.RegexField(
        r"^[a-z]{2,3}(-[a-z0-9]{2,5})?$",
        max_length=10,
        required=False,
        allow_blank=True,
        help_text="The language of pages and emails, such as en-gb. Empty: pages use the"
        " browser's language, emails the organisation's.",
    )
    home_room = serializers.SlugField(max_length=40, required=False, allow_null=True)


class PeopleQuery(PageQuery):
    """Which people."""

    search = serializers.CharField(required=False, max_length=120, help_text="Part of the name.")
    room = serializers.SlugField(
        required=False,
        max_length=40,
        help_text="People with a role in this gear room, or whose home gear room it is.",
    )
    left = serializers.BooleanField(
        required=False,
        default=False,
        help_text="Only people who have left, instead of those who have not.",
    )


class LeftBody(ActBody):
    """That somebody has left."""

    example = {"on": "2026-05-31"}
    on = serializers.DateField(
        required=False, help_text="Default: today. It cannot be in the future."
    )


class SignInBody(ActBody):
    """A login."""

    example = {"username": "robin"}
    username = serializers.CharField(
        required=False, max_length=150, help_text="Required for a new login."
    )


class SignInMade(serializers.Serializer[Any]):
    """A login with its password."""

    username = serializers.CharField()
    password = serializers.CharField(
        allow_null=True, help_text="Shown only once. Null if the same key is sent again."
    )


class RoleBody(ActBody):
    """A role in a gear room; null: in all of them."""

    example = {"role": "guide", "room": "main-store"}
    role = serializers.ChoiceField(choices=ROLES)
    room = serializers.SlugField(max_length=40, allow_null=True)


class _PersonView(UseCaseView):
    """What is done about one person."""

    use_case = "edit_person"
    answers = {200: PersonShown}

    def person(self) -> Person:
        """The one that the address names; raises NotFound for one that may not be seen."""
        return people.get(self.actor, self.kwargs["id"])

    def whole(self, row: Person) -> Person:
        """Them as they are now, with the roles that may be seen."""
        return people.visible_to(self.actor).filter(pk=row.pk).first() or row

    def fields(self, data: dict[str, Any]) -> dict[str, Any]:
        """The room by its slug made a room of theirs."""
        if data.get("home_room") is not None:
            data["home_room"] = rooms.get(self.actor, data["home_room"])
        return data


class People(ListView, _PersonView):
    """People."""

    query = PeopleQuery
    shows = PersonShown
    reads_as = "see_people"
    ordering = ("name", "id")
    filters = {"search": "name__icontains", "left": present("left_on")}
    body = PersonBody
    answers = {201: PersonShown}

    def rows(self, query: dict[str, Any]) -> QuerySet[Person]:
        """List the people of your gear rooms, by name."""
        rows = people.visible_to(self.actor)
        if "room" in query:
            rows = people.of_room(rows, rooms.get(self.actor, query["room"]))
        return rows

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Add somebody."""
        return 201, self.whole(people.add(act, **self.fields(data)))


class HolderBody(ActBody):
    """A person taking a kit who is not on record yet."""

    example = {"name": "Robin Example", "phone": "01632 960 001"}
    name = serializers.CharField(max_length=120)
    phone = serializers.CharField(max_length=40)
    room = serializers.SlugField(
        max_length=40, required=False, help_text="The gear room that they are in."
    )


class Holders(_PersonView):
    """People who take kits."""

    use_case = "add_holder"
    body = HolderBody
    answers = {201: PersonShown}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Add somebody by name and telephone number; anybody who may take out kits can do this."""
        ref = data.pop("room", None)
        room = rooms.get(self.actor, ref) if ref is not None else None
        return 201, self.whole(people.add_holder(act, room=room, **data))


class OnePerson(ReadView, _PersonView):
    """One person."""

    shows = PersonShown
    reads_as = "see_people"
    method = "patch"
    use_case = "look"  # whoever it is may change their own; the service looks at the rest
    token_needs = "the scope `people`, and every scope to change an email address"
    body = PersonBody

    def read(self, query: dict[str, Any]) -> Any:
        """Show a person."""
        return self.person()

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Change a person's details."""
        return 200, self.whole(people.edit(act, self.person(), **self.fields(data)))


_OF_ROLES = "the scope `people`, and `admin` for roles in every gear room"
_OF_LEAVING = "the scope `people`, and every scope where the person has a login"


class Departure(_PersonView):
    """Somebody's leaving."""

    token_needs = _OF_LEAVING
    problems = ("last-administrator",)
    body = LeftBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that somebody has left: their login and tokens stop working immediately."""
        return 200, self.whole(people.leave(act, self.person(), **data))


class Return(_PersonView):
    """Somebody's return."""

    token_needs = _OF_LEAVING

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that somebody has come back: their login works again."""
        return 200, self.whole(people.rejoin(act, self.person()))


class SignIn(_PersonView):
    """Somebody's sign-in."""

    use_case = "edit_member"
    token_needs = "every scope"
    problems = ("has-sign-in", "name-taken", "person-left")
    body = SignInBody
    answers = {201: SignInMade}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Create a login for somebody, or a new password.

        The password is generated, shown only in this answer, and not stored.
        """
        user, password = people.give_sign_in(act, self.person(), **data)
        return 201, {"username": user.username, "password": password}

    def kept(self, body: Any) -> Any:
        """The answer less the password."""
        return {**body, "password": None} if "password" in body else body


class AddRole(_PersonView):
    """A role given."""

    use_case = "edit_member"
    token_needs = _OF_ROLES
    body = RoleBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Give somebody a role in a room."""
        person = self.person()
        people.add_role(act, person, Role(data["role"]), self.room(data))
        return 200, self.whole(person)

    def room(self, data: dict[str, Any]) -> Any:
        """The room that the body names, or None."""
        return rooms.get(self.actor, data["room"]) if data["room"] is not None else None


class EndRole(AddRole):
    """A role taken."""

    problems = ("last-administrator",)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Remove a role from somebody."""
        person = self.person()
        people.end_role(act, person, Role(data["role"]), self.room(data))
        return 200, self.whole(person)
