"""Answers whose members follow from what they show."""

from dataclasses import dataclass

import pytest
from rest_framework import serializers

from gearroom.core.api.derived_serializer import DerivedSerializer


@dataclass(frozen=True)
class Batch:
    """What it is now, and the number it had then."""

    number: str
    lot: dict[str, str]


class OfBatch(DerivedSerializer):
    members = ["number"]
    number = serializers.CharField(source="lot.number")


def test_a_member_that_a_base_declares_is_declared_again_or_left_out() -> None:
    with pytest.raises(TypeError, match="Then names number"):
        type("Then", (OfBatch,), {"members": ["number"]})


def test_what_is_declared_again_counts() -> None:
    class Then(OfBatch):
        number = serializers.CharField()

    shown = Then(Batch("D1", {"number": "D9"})).data
    assert shown == {"number": "D1"}
