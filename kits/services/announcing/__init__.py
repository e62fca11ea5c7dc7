"""Events of what follows from the passing of time, or from several things together."""

from kits.services.announcing.sweep import announce

__all__ = ["announce"]
