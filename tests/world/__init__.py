"""A simulated school that judges the program: see `play` for how a week is played."""
