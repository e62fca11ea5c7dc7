"""Pages about where events are sent."""
