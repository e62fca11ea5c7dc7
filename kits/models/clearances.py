"""Kits that went because somebody who may cleared them by telephone, and what that person says."""

from django.db import models

from gearroom.core.models import Person
from gearroom.core.models.append_only import InOrder, append_only
from kits.models.custody import Checkout
from kits.models.ledger import Entry


@append_only
class Clearance(InOrder):
    """That a kit went out although it was stopped, because `person` is said to have cleared it by
    telephone. `entry` is the taking out; `reasons` is what stood against it, each with its code
    and what of which thing was lacking."""

    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="clearance")
    checkout = models.ForeignKey(Checkout, on_delete=models.PROTECT, related_name="clearances")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="clearances")
    reasons = models.JSONField(default=list)


@append_only
class ClearanceAnswer(InOrder):
    """What the person says who is said to have cleared a kit: that they did, or that they did
    not. `entry` is that act of theirs."""

    clearance = models.OneToOneField(Clearance, on_delete=models.PROTECT, related_name="answer")
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="clearance_answer")
    confirmed = models.BooleanField()
