"""Locations of kits and shelves, and what to move because of the weather there."""
