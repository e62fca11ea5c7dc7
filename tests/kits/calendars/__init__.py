"""Calendars that trips come from."""
