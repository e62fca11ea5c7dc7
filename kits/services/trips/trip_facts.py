"""What a source says of a trip, and what the table keeps of that."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import NOT_GIVEN, Invalid, NotGiven, Unacceptable, refuse_first
from gearroom.core.models import Person, Room
from gearroom.core.rules.sentences import InvalidValue
from kits.models import Activity
from kits.rules.text.hazards import hazards
from kits.rules.trips.trips import check_days
from kits.services.text.wording import as_invalid, in_words

LONGEST = timedelta(days=366)
MOST_PEOPLE = 10_000
OLDEST = 120
ADULT_FROM = 18
"""The age from which nobody is a child (United Nations, Convention on the Rights of the Child,
article 1)."""


@dataclass(frozen=True)
class TripFacts:
    """All that a source says of a trip. Days are local dates; without them they follow from
    `departs_at` and `returns_at` where the room is. The leader is a person, or an email address,
    or a name and phone. An `activity` and `hours_to_care` (to definitive care) that are not given
    stay as they are; where it is not given whether there are `children`, the `youngest` says so."""

    name: str
    departs_at: datetime
    returns_at: datetime
    people: int
    room: Room | None = None
    first_day: date | None = None
    last_day: date | None = None
    hazards: Sequence[str] = ()
    children: bool | None = None
    youngest: int | None = None
    oldest: int | None = None
    latex_free: bool = False
    leader: Person | None = None
    leader_name: str = ""
    leader_phone: str = ""
    leader_email: str = ""
    planned: bool = False
    cancelled: bool = False
    activity: Activity | NotGiven | None = NOT_GIVEN
    hours_to_care: Decimal | NotGiven | None = NOT_GIVEN


def columns_of(facts: TripFacts) -> dict[str, Any]:
    """What the table keeps of a trip; refuses what cannot be."""
    name = " ".join(facts.name.split())
    email = facts.leader_email.strip().lower()
    refuse_first(
        (not name, Invalid(_("Enter a name for the trip."), field="name")),
        (
            not 1 <= facts.people <= MOST_PEOPLE,
            Invalid(
                _("A trip must have 1 to %(most_people)s people.") % {"most_people": MOST_PEOPLE},
                field="people",
            ),
        ),
        (
            facts.leader is not None and bool(email),
            Invalid(
                _("Name the leader as a person or by email address, not both."),
                field="leader_email",
            ),
        ),
    )
    _check_ages(facts)
    if email:
        try:
            validate_email(email)
        except ValidationError:
            raise Invalid(
                _("This must be an email address, such as robin@example.org."),
                field="leader_email",
            ) from None
    zone = facts.room.time_zone if facts.room else settings.TIME_ZONE
    first = facts.first_day or clock.local_date(facts.departs_at, zone)
    last = facts.last_day or clock.local_date(facts.returns_at, zone)
    check_span(facts.departs_at, facts.returns_at, first, last)
    with as_invalid("hazards"):
        known = hazards(facts.hazards)
    children = facts.children
    if children is None:
        children = facts.youngest is not None and facts.youngest < ADULT_FROM
    return {
        "name": name,
        "room": facts.room,
        "departs_at": facts.departs_at,
        "returns_at": facts.returns_at,
        "first_day": first,
        "last_day": last,
        "people": facts.people,
        "hazards": known,
        "children": children,
        "youngest": facts.youngest,
        "oldest": facts.oldest,
        "latex_free": facts.latex_free,
        "planned": facts.planned and not facts.cancelled,
        "leader": facts.leader,
        "leader_name": facts.leader_name,
        "leader_phone": facts.leader_phone,
        "leader_email": email,
        **({} if facts.activity is NOT_GIVEN else {"activity": facts.activity}),
        **({} if facts.hours_to_care is NOT_GIVEN else {"hours_to_care": facts.hours_to_care}),
    }


def _check_ages(facts: TripFacts) -> None:
    """Raise Invalid for ages that nobody has, or a youngest who is older than the oldest."""
    for field in ("youngest", "oldest"):
        age = getattr(facts, field)
        if age is not None and not 0 <= age <= OLDEST:
            raise Invalid(
                _("Enter an age from 0 to %(most)s years.") % {"most": OLDEST}, field=field
            )
    if facts.youngest is not None and facts.oldest is not None and facts.youngest > facts.oldest:
        raise Invalid(
            _("The youngest is %(youngest)s and the oldest %(oldest)s. Check the ages.")
            % {"youngest": facts.youngest, "oldest": facts.oldest},
            field="youngest",
        )


def check_span(departs_at: datetime, returns_at: datetime, first: date, last: date) -> None:
    """Raise Unacceptable for a trip that ends before it begins, or lasts more than a year."""
    wrong = ""
    try:
        check_days(first, last)
    except InvalidValue as error:
        wrong = in_words(error.says)
    if returns_at < departs_at:
        wrong = _("The trip returns before it departs. Check its times.")
    if wrong:
        raise Unacceptable(
            "trip-ends-before-it-begins",
            wrong,
            departs_at=departs_at.isoformat(),
            returns_at=returns_at.isoformat(),
            first_day=first.isoformat(),
            last_day=last.isoformat(),
        )
    if returns_at - departs_at > LONGEST or last - first > LONGEST:
        raise Unacceptable(
            "trip-too-long", _("This trip lasts more than a year. Check the trip’s dates.")
        )
