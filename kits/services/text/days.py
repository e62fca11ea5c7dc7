"""Days, times and durations as mails say them."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.utils import formats
from django.utils.translation import gettext as _, pgettext


def day(of: date, today: date) -> str:
    """A date in words, with its weekday, and its year where it is not this one."""
    if of == date.max:
        return _("no limit")
    near = abs((of - today).days) < 300 and of.year == today.year
    # Django's letters for a day of the week in short, a day, a month and a year.
    form = pgettext("date format", "D j F") if near else pgettext("date format", "D j F Y")
    return formats.date_format(of, form)


def moment(instant: datetime, zone: str, today: date) -> str:
    """An instant in words, by the clock of a time zone."""
    local = instant.astimezone(ZoneInfo(zone))
    return f"{day(local.date(), today)}, {local:%H:%M}"


def instant(text: str, zone: str) -> str:
    """An instant in ISO form, in words where a room is."""
    local = datetime.fromisoformat(text).astimezone(ZoneInfo(zone))
    day_of = formats.date_format(local.date(), pgettext("date format", "D j F"))
    return f"{day_of}, {local:%H:%M}"


def duration(minutes: int) -> str:
    """So many minutes of work, in hours and minutes."""
    hours, rest = divmod(minutes, 60)
    if not hours:
        return _("%(minutes)d min") % {"minutes": rest}
    if not rest:
        return _("%(hours)d h") % {"hours": hours}
    return _("%(hours)d h %(minutes)d min") % {"hours": hours, "minutes": rest}
