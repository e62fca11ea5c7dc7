"""Notices: what was sent to whom, sending it again, settings, the calendar."""

from collections.abc import Iterable
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from rest_framework import serializers

from gearroom.core.acts import Act, Actor, NotFound
from gearroom.core.api.requests.serializers import ActBody, PageQuery, QuerySerializer
from gearroom.core.api.rooms import ClockTime
from gearroom.core.api.views import ListView, ReadView, UseCaseView, named
from gearroom.core.models import Person
from kits.api import answers
from kits.api.problems import NAMED_KIT
from kits.models import CalendarBy, Notice, NotificationPreferences
from kits.rules.mail.plain_text import as_text
from kits.rules.notices.policy import When
from kits.services.lookup import find
from kits.services.mail import calendar, notice_log, rendering
from kits.services.mail.digest import digest
from kits.services.mail.notice_log import State
from kits.services.notices import NOTICE_KINDS, preferences, title


@answers.Answer.of(Notice)
class NoticeAnswer(answers.WithPhones):
    members = [
        "id", "person", "kind", "title", "kit", "room", "entry", "created_at", "state", "why",
        "due_at", "tries", "sent_at", "message_id",
    ]  # fmt: skip
    sources = {"kit": "kit.name", "room": "room.slug", "entry": "entry_id"}
    help_texts = {"due_at": "It is not sent before this time."}
    title = answers.made(
        serializers.CharField,
        title,
        source="kind",
        help_text="What this kind of notification is about.",
    )
    state = answers.made(serializers.ChoiceField, notice_log.state, choices=list(State))
    why = answers.made(
        serializers.CharField, notice_log.why, help_text="Why it was or was not sent."
    )

    def rooms(self, row: Notice) -> Iterable[int | None]:
        """Its room."""
        return [row.room_id]

    def shows_phones(self, row: Notice) -> bool:
        """One's own phone too."""
        reader = self.context["actor"].person
        return (reader is not None and reader.pk == row.person_id) or super().shows_phones(row)


class NoticeText(serializers.CharField):
    """A notice as whoever asks may read it."""

    def to_representation(self, notice: Notice) -> str:  # type: ignore[override]  # of a row
        """Plain text."""
        return notice_log.text(self.context["actor"], notice)


class NoticeWhole(NoticeAnswer):
    text = NoticeText(source="*", help_text="Its text, without markup.")


class NoticeQuery(PageQuery):
    person = serializers.IntegerField(required=False, min_value=1)
    kit = serializers.CharField(required=False, max_length=40)
    kind = serializers.ChoiceField(list(NOTICE_KINDS), required=False)
    state = serializers.ChoiceField(list(State), required=False)


class Notices(ListView):
    reads_as = "own_notices"
    read_problems = NAMED_KIT
    query = NoticeQuery
    shows = NoticeAnswer
    filters = {"person": "person", "kind": "kind", "kit": named(find.kit, "kit")}

    def rows(self, query: dict[str, Any]) -> QuerySet[Notice]:
        """Notifications: your own, and those of the rooms you keep."""
        return notice_log.visible_to(self.actor, state=query.get("state"))


class OneNotice(ReadView):
    reads_as = "own_notices"
    shows = NoticeWhole

    def read(self, query: dict[str, Any]) -> Any:
        """One notification with its text."""
        return notice_log.get(self.actor, self.kwargs["id"])


class SendAgain(UseCaseView):
    use_case = "send_notice_again"
    problems = ("no-address",)
    answers = {201: NoticeAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Send a notification again, whatever the person has chosen to receive."""
        notice = notice_log.get(act.actor, self.kwargs["id"])
        return 201, notice_log.get(act.actor, notice_log.send_again(act, notice).pk)


class WeeklyQuery(QuerySerializer):
    person = serializers.IntegerField(required=False, min_value=1, help_text="Default: you.")


class WeeklyAnswer(answers.WithPhones):
    person = answers.PersonAnswer()
    due_at = answers.Moment(help_text="When it will be sent.")
    subject = serializers.CharField()
    text = serializers.CharField()
    html = serializers.CharField()

    def rooms(self, row: Any) -> Iterable[int | None]:
        """Where they are at home."""
        return [row["person"].home_room_id]


class NextWeekly(ReadView):
    reads_as = "own_notices"
    query = WeeklyQuery
    shows = WeeklyAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """The next weekly email as it would be now."""
        person = _person(self.actor, query.get("person"))
        rooms = notice_log.rooms_of_weekly(self.actor, person)
        due_at, letter = digest.preview(person, rooms=rooms)
        return {
            "person": person,
            "due_at": due_at,
            "subject": letter.subject,
            "text": as_text(letter),
            "html": rendering.html(letter, person.reads),
        }


def _person(actor: Actor, pk: int | None = None) -> Person:
    """Whoever is asked for, else whoever asks."""
    own = actor.person
    return own if own is not None and pk in (None, own.pk) else find.person(actor, pk or 0)


@answers.Answer.of(NotificationPreferences)
class SettingsAnswer(answers.Answer):
    members = [
        "weekly_on", "weekly_at", "quiet_from", "quiet_until", "minutes_a_kit", "choices",
        "address_refused", "calendar", "calendar_by",
    ]  # fmt: skip
    help_texts = {
        "weekly_on": "Day of the week, Monday 0 to Sunday 6.",
        "minutes_a_kit": "The minutes that it takes to check and restock an opened kit.",
        "calendar_by": "Whether an event with expiry dates is of a batch or of a month.",
    }
    weekly_at = ClockTime(help_text="Local to your home room.")
    quiet_from = ClockTime(allow_null=True)
    quiet_until = ClockTime(allow_null=True)
    choices = answers.made(
        serializers.DictField,
        preferences.choices,
        source="person",
        child=serializers.ChoiceField(list(When)),
        help_text="When you get each kind of notification.",
    )
    address_refused = answers.made(
        serializers.CharField,
        lambda why: why or None,
        source="refused_why",
        allow_null=True,
        help_text="Your mail server's answer when it permanently refused our email.",
    )
    calendar = answers.made(
        serializers.BooleanField,
        lambda row: row.calendar_sha256 is not None,
        help_text="Whether your calendar has a link.",
    )


class SettingsBody(ActBody):
    example = {
        "weekly_on": 0, "weekly_at": "07:00", "quiet_from": "21:00", "quiet_until": "06:30",
        "choices": {"low-stock": "weekly"},
    }  # fmt: skip
    weekly_on = serializers.IntegerField(required=False, min_value=0, max_value=6)
    weekly_at = ClockTime(required=False)
    quiet_from = ClockTime(required=False, allow_null=True)
    quiet_until = ClockTime(required=False, allow_null=True)
    minutes_a_kit = serializers.IntegerField(required=False, min_value=1, max_value=480)
    calendar_by = serializers.ChoiceField(CalendarBy.values, required=False)
    choices = serializers.DictField(
        child=serializers.ChoiceField(list(When)),
        required=False,
        help_text="By kind of notification.",
    )


class Settings(ReadView, UseCaseView):
    reads_as = "own_notices"
    shows = SettingsAnswer
    use_case = "choose_notices"
    method = "patch"
    body = SettingsBody
    answers = {200: SettingsAnswer}

    def read(self, query: dict[str, Any]) -> Any:
        """Your notification settings."""
        return preferences.of(_person(self.actor))

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Change your weekly email, quiet hours and which notifications are sent when."""
        person = _person(act.actor)
        preferences.change(act, person, **data)
        return 200, preferences.of(person)

    def whole(self, row: Person) -> NotificationPreferences:
        """The settings of somebody whose row is locked."""
        return preferences.of(row)


class CalendarAnswer(serializers.Serializer[Any]):
    address = serializers.CharField(
        allow_null=True, help_text="Shown only once. Null if the same key is sent again."
    )


class NewCalendar(UseCaseView):
    use_case = "choose_notices"
    answers = {201: CalendarAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Create a new secret link to your calendar; the old one no longer shows anything."""
        secret = preferences.new_calendar(act, _person(act.actor))
        return 201, {"address": self.request.build_absolute_uri(f"/api/v1/calendars/{secret}/")}

    def kept(self, body: Any) -> Any:
        """The answer less the secret."""
        return {"address": None} if "address" in body else body


class EndCalendar(UseCaseView):
    use_case = "choose_notices"
    answers = {200: SettingsAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Turn off the link to your calendar."""
        person = _person(act.actor)
        preferences.end_calendar(act, person)
        return 200, preferences.of(person)


class CalendarOf(ReadView):
    public = True
    schema = None  # an address for calendar programs, which find it in no schema

    def read(self, query: dict[str, Any]) -> Any:
        """A calendar (RFC 5545) for whoever has its secret address: what goes out of date, is due
        back, wants a look."""
        if (person := preferences.by_secret(self.kwargs["secret"])) is None:
            raise NotFound("calendar")
        return HttpResponse(calendar.of(person), content_type="text/calendar; charset=utf-8")
