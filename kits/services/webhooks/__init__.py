"""Where other programs want events sent, and sending them there."""
