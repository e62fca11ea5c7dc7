"""The demonstration: a day in the gear room, played through the real HTTP API."""
