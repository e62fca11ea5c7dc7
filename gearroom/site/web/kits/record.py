"""What a kit's responsible instructor answers with: its whole history, and its record as of
a day, to print for an inspector or an insurer."""

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Invalid
from gearroom.site.web.page import Day, actor, id_of, read_field, read_page, show
from kits.services.kits import history, record
from kits.services.ledger import readiness
from kits.services.lookup import find
from kits.services.overview import kits_overview

_A_PAGE = 40


@read_page("read_history")
def list_acts(request: HttpRequest, kit: str) -> HttpResponse:
    """The history of a kit, newest first, so many at a time."""
    who = actor(request)
    subject = find.kit(who, kit)
    before = request.GET.get("before", "")
    acts, older = history.history(
        who,
        subject,
        most=_A_PAGE,
        before=id_of(before),
    )
    return show(
        request,
        "site/kits/record/history.html",
        kit=subject,
        acts=acts,
        older=older,
        newest=not before,
        may={"reverse": who.may("reverse", subject.home_room_id)},
    )


@read_page()
def as_of(request: HttpRequest, kit: str) -> HttpResponse:
    """One printable page of a kit as of a day, as known now or as it was known that evening."""
    who = actor(request)
    subject = find.kit(who, kit)
    history.refuse_unless_known(who, subject)
    today = readiness.today_of(subject)
    on = read_field(Day(required=False, label=_("As of")), request.GET, "on") or today
    if on > today:
        raise Invalid(_("That day is in the future. Choose today or an earlier day."), field="on")
    then = request.GET.get("known") == "then" and on < today
    overview = kits_overview.overview(who, subject)
    return show(
        request,
        "site/kits/record/as_of.html",
        kit=overview.kit,
        overview=overview,
        on=on,
        today=today,
        then=then,
        record=record.record(
            subject,
            on=None if on == today else on,
            known_by=clock.end_of_day(on, subject.home_room.time_zone) if then else None,
        ),
    )
