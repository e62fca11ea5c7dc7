"""Requests that the program makes by itself, to addresses that people typed."""

from gearroom.core.outbound.client import Answer, Client, checked
from gearroom.core.outbound.failures import FAILURE_TEXTS, Failure, OutboundError

__all__ = ["FAILURE_TEXTS", "Answer", "Client", "Failure", "OutboundError", "checked"]
