"""Notices: what was sent to whom, sending it again, settings, the calendar."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from rest_framework import serializers

from gearroom.core.acts.act import Act, Actor
from gearroom.core.acts.problems import NotFound
from gearroom.core.api.requests.serializers import CLOCK_TIME, ActBody, PageQuery, QuerySerializer
from gearroom.core.api.views import ListView, ReadView, UseCaseView
from gearroom.core.models import Person
from kits.api import answers
from kits.models import Hearing, Notice
from kits.rules.mail.plain_text import as_text
from kits.rules.notices.policy import When
from kits.services.lookup import find
from kits.services.mail import calendar, digest, notice_log, rendering
from kits.services.mail.notice_log import State
from kits.services.notices import preferences
from kits.services.notices.registry import NOTICE_KINDS, title


class NoticeAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    person = answers.PersonAnswer()
    kind = serializers.CharField()
    title = serializers.CharField(help_text="What the kind is about.")
    kit = serializers.CharField(allow_null=True)
    room = serializers.CharField(allow_null=True)
    entry = serializers.IntegerField(allow_null=True)
    created_at = serializers.DateTimeField()
    state = serializers.ChoiceField(list(State))
    why = serializers.CharField(help_text="Why it was or was not sent.")
    due_at = serializers.DateTimeField(help_text="Not sent before then.")
    tries = serializers.IntegerField()
    sent_at = serializers.DateTimeField(allow_null=True)
    message_id = serializers.CharField()


class NoticeWhole(NoticeAnswer):
    text = serializers.CharField(help_text="What it says, as plain text.")


class NoticeQuery(PageQuery):
    person = serializers.IntegerField(required=False, min_value=1)
    kit = serializers.CharField(required=False, max_length=40)
    kind = serializers.ChoiceField(list(NOTICE_KINDS), required=False)
    state = serializers.ChoiceField(list(State), required=False)


def _shown(actor: Actor, notice: Notice) -> Any:
    own = actor.person is not None and actor.person.pk == notice.person_id
    told_to = answers.person(notice.person)
    return {
        "id": notice.pk,
        "person": told_to if own else answers.for_eyes_of(actor, [notice.room_id], told_to),
        "kind": notice.kind,
        "title": title(notice.kind),
        "kit": notice.kit.name if notice.kit else None,
        "room": notice.room.slug if notice.room else None,
        "entry": notice.entry_id,
        "created_at": notice.created_at.isoformat(),
        "state": str(notice_log.state(notice)),
        "why": notice_log.why(notice),
        "due_at": notice.due_at.isoformat(),
        "tries": notice.tries,
        "sent_at": notice.sent_at.isoformat() if notice.sent_at else None,
        "message_id": notice.message_id,
    }


class Notices(ListView):
    reads_as = "own_notices"
    query = NoticeQuery
    shows = NoticeAnswer

    def rows(self, query: dict[str, Any]) -> QuerySet[Notice]:
        """What was told to whom: your own, and those of the rooms you keep."""
        assert self.actor is not None
        found = notice_log.seen_by(self.actor, state=query.get("state"))
        if "person" in query:
            found = found.filter(person=query["person"])
        if "kind" in query:
            found = found.filter(kind=query["kind"])
        if "kit" in query:
            found = found.filter(kit=find.kit(self.actor, query["kit"]))
        return found

    def show(self, page: list[Any]) -> Any:
        """The rows of a page."""
        assert self.actor is not None
        return [_shown(self.actor, notice) for notice in page]


class OneNotice(ReadView):
    reads_as = "own_notices"
    shows = NoticeWhole

    def read(self, query: dict[str, Any]) -> Any:
        """One notice with what it says."""
        assert self.actor is not None
        notice = notice_log.get(self.actor, self.kwargs["id"])
        return {**_shown(self.actor, notice), "text": notice_log.text(self.actor, notice)}


class SendAgain(UseCaseView):
    use_case = "send_notice_again"
    answers = {201: NoticeAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Tell the same once more, whatever they chose to hear."""
        notice = notice_log.get(act.actor, self.kwargs["id"])
        again = notice_log.get(act.actor, notice_log.send_again(act, notice).pk)
        return 201, _shown(act.actor, again)


class WeeklyQuery(QuerySerializer):
    person = serializers.IntegerField(required=False, min_value=1, help_text="You, unless told.")


class WeeklyAnswer(serializers.Serializer[Any]):
    person = answers.PersonAnswer()
    due_at = serializers.DateTimeField(help_text="When it will be sent.")
    subject = serializers.CharField()
    text = serializers.CharField()
    html = serializers.CharField()


class NextWeekly(ReadView):
    reads_as = "own_notices"
    query = WeeklyQuery
    shows = WeeklyAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """The next weekly email as it would be now."""
        assert self.actor is not None
        person = _person(self.actor, query.get("person"))
        rooms = notice_log.rooms_of_weekly(self.actor, person)
        due_at, letter = digest.preview(person, rooms=rooms)
        shown = answers.person(person)
        return {
            "person": answers.for_eyes_of(self.actor, [person.home_room_id], shown),
            "due_at": due_at.isoformat(),
            "subject": letter.subject,
            "text": as_text(letter),
            "html": rendering.html(letter, person.reads),
        }


def _person(actor: Actor, pk: int | None = None) -> Person:
    """Whoever is asked for, else whoever asks."""
    own = actor.person
    if own is not None and pk in (None, own.pk):
        return own
    return find.person(actor, pk or 0)


class SettingsAnswer(serializers.Serializer[Any]):
    weekly_on = serializers.IntegerField(help_text="Day of the week, Monday 0 to Sunday 6.")
    weekly_at = serializers.RegexField(CLOCK_TIME, help_text="Local to your home room.")
    quiet_from = serializers.RegexField(CLOCK_TIME, allow_null=True)
    quiet_until = serializers.RegexField(CLOCK_TIME, allow_null=True)
    minutes_a_kit = serializers.IntegerField(help_text="How long a kit takes that is opened.")
    choices = serializers.DictField(
        child=serializers.ChoiceField(list(When)), help_text="When you hear of each kind."
    )
    address_refused = serializers.CharField(
        allow_null=True, help_text="What your mail server said when it refused mail for good."
    )
    calendar = serializers.BooleanField(help_text="Whether an address of your calendar is out.")


class SettingsBody(ActBody):
    example = {
        "weekly_on": 0, "weekly_at": "07:00", "quiet_from": "21:00", "quiet_until": "06:30",
        "choices": {"low-stock": "weekly"},
    }  # fmt: skip
    weekly_on = serializers.IntegerField(required=False, min_value=0, max_value=6)
    weekly_at = serializers.RegexField(CLOCK_TIME, required=False)
    quiet_from = serializers.RegexField(CLOCK_TIME, required=False, allow_null=True)
    quiet_until = serializers.RegexField(CLOCK_TIME, required=False, allow_null=True)
    minutes_a_kit = serializers.IntegerField(required=False, min_value=1, max_value=480)
    choices = serializers.DictField(
        child=serializers.ChoiceField(list(When)), required=False, help_text="By kind."
    )


def _settings(person: Person) -> dict[str, Any]:
    row: Hearing = preferences.of(person)

    def at(value: Any) -> str | None:
        return None if value is None else f"{value:%H:%M}"

    return {
        "weekly_on": row.weekly_on,
        "weekly_at": at(row.weekly_at),
        "quiet_from": at(row.quiet_from),
        "quiet_until": at(row.quiet_until),
        "minutes_a_kit": row.minutes_a_kit,
        "choices": {kind: str(when) for kind, when in preferences.choices(person).items()},
        "address_refused": row.refused_why or None,
        "calendar": row.calendar_sha256 is not None,
    }


class Settings(ReadView, UseCaseView):
    reads_as = "own_notices"
    shows = SettingsAnswer
    use_case = "choose_notices"
    method = "patch"
    body = SettingsBody
    answers = {200: SettingsAnswer}

    def read(self, query: dict[str, Any]) -> Any:
        """How you hear of things."""
        assert self.actor is not None
        return _settings(_person(self.actor))

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Change when the weekly email comes, quiet hours, and what you hear at once."""
        person = _person(act.actor)
        for name in ("weekly_at", "quiet_from", "quiet_until"):
            if data.get(name) is not None:
                data[name] = preferences.clock_time(data[name])
        preferences.change(act, person, **data)
        return 200, _settings(person)

    def whole(self, row: Person) -> Any:
        """The settings of somebody whose row is locked."""
        return _settings(row)


class CalendarAnswer(serializers.Serializer[Any]):
    address = serializers.CharField(
        allow_null=True, help_text="Shown this once. Asked for again with the same key: null."
    )


class NewCalendar(UseCaseView):
    use_case = "choose_notices"
    answers = {201: CalendarAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """A new secret address of your calendar; the one before shows nothing any more."""
        secret = preferences.new_calendar(act, _person(act.actor))
        return 201, {"address": self.request.build_absolute_uri(f"/api/v1/calendars/{secret}/")}

    def kept(self, body: Any) -> Any:
        """The answer less the secret."""
        return {"address": None} if "address" in body else body


class EndCalendar(UseCaseView):
    use_case = "choose_notices"
    answers = {200: SettingsAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Have the address of your calendar show nothing any more."""
        person = _person(act.actor)
        preferences.end_calendar(act, person)
        return 200, _settings(person)


class CalendarOf(ReadView):
    public = True
    schema = None  # an address for calendar programs, which find it in no schema

    def read(self, query: dict[str, Any]) -> Any:
        """A calendar (RFC 5545) for whoever has its secret address: what goes out of date, is due
        back, wants a look."""
        person = preferences.by_secret(self.kwargs["secret"])
        if person is None:
            raise NotFound("calendar")
        return HttpResponse(calendar.of(person), content_type="text/calendar; charset=utf-8")
