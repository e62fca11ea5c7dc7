"""Two phones over the same heap of kits at the same time."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.db import connection, transaction

from kits.models import Checkout
from kits.services.ledger import audit
from labels.rules.codes.scans import Intent, typed_texts
from labels.services.scan.results import ScanRequest
from labels.services.scan.scanning import scan
from tests.engines import ENGINES
from tests.kits import factories as make
from tests.labels.scan import scanned as at

pytestmark = pytest.mark.parametrize("engine", ENGINES, indirect=True)


def test_each_kit_goes_once_whatever_the_order_they_were_read_in(open_database: str) -> None:
    labels = at.labelled()
    world = labels.world
    kits = [world.day_01, *(at.filled(f"DAY-{number}", world) for number in range(11, 15))]
    heap = [at.label(kit).code for kit in kits]
    together = Barrier(2)

    def phone(who: Any, codes: Any) -> list[Any]:
        act, ask = make.act(who), ScanRequest(Intent.CHECK_OUT, holder=who)
        together.wait()
        try:
            with transaction.atomic():
                return [each.outcome for each in scan(act, typed_texts(codes), ask).outcomes]
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as phones:
        one = phones.submit(phone, world.guide, heap)
        other = phones.submit(phone, world.keeper, heap[::-1])
        came = one.result() + other.result()
    assert sorted(came) == ["kit-is-out"] * 5 + ["taken-out"] * 5
    assert Checkout.objects.filter(in_at=None).values("kit").distinct().count() == 5
    assert not list(audit.findings())


def test_two_guides_with_each_other_s_kits_both_go_and_no_trip_is_left_without(
    open_database: str,
) -> None:
    labels = at.labelled()
    world = labels.world
    theirs = at.filled("DAY-11", world)
    mine = at.promised(labels, person=world.guide)
    other = at.promised(labels, kit=theirs, person=world.instructor)
    together = Barrier(2)

    def phone(who: Any, code: Any) -> list[Any]:
        act, ask = make.act(who), ScanRequest(Intent.CHECK_OUT, holder=who)
        together.wait()
        try:
            with transaction.atomic():
                return [each.outcome for each in scan(act, typed_texts([code]), ask).outcomes]
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as phones:
        one = phones.submit(phone, world.guide, at.label(theirs).code)
        two = phones.submit(phone, world.instructor, labels.kit.code)
        assert one.result() + two.result() == ["taken-out"] * 2
    out = {held.person: held.trip for held in Checkout.objects.filter(in_at=None)}
    assert out == {world.guide: mine, world.instructor: other}
    assert not list(audit.findings())
