"""Pages about locations of kits and shelves, and what to move for the weather there."""
