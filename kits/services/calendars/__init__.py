"""Calendars (iCalendar) of other programs that trips come from."""
