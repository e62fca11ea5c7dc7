"""Faults that the program once had, put back one at a time."""

from tests.world.faults import acts, verdicts
from tests.world.faults.fault import FAULTS, Fault

__all__ = ["FAULTS", "Fault", "acts", "verdicts"]
