"""Where other programs want events sent."""
