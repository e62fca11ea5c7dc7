"""Pages of planning: what a list comes to, what it costs, past trips, rates."""
