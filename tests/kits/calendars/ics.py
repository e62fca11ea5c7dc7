"""Calendar files, as other programs write them."""

from datetime import UTC, datetime, timedelta


def ics(*events: str, before: str = "") -> bytes:
    """A calendar with these events, each as lines."""
    text = "".join(f"BEGIN:VEVENT\n{each.strip()}\nEND:VEVENT\n" for each in events)
    whole = f"BEGIN:VCALENDAR\nVERSION:2.0\nPRODID:-//x//y//EN\n{before}{text}END:VCALENDAR\n"
    return whole.replace("\n", "\r\n").encode()


def event_in(days: int, uid: str, *more: str) -> str:
    """The lines of an event on a day from now."""
    day = datetime.now(UTC) + timedelta(days=days)
    return "\n".join(
        [
            f"UID:{uid}",
            f"SUMMARY:{uid.capitalize()} day",
            f"DTSTART:{day:%Y%m%d}T080000",
            f"DTEND:{day:%Y%m%d}T170000",
            *more,
        ]
    )


def far(uid: str) -> str:
    """The lines of an event that is far ahead."""
    return event_in(200, uid)
