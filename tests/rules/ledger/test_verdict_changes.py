"""A verdict changes by time alone only after the days that are named for it."""

from datetime import date, timedelta

from hypothesis import given

from kits.rules.ledger.facts import KitState
from kits.rules.ledger.kit_contents import last_days
from kits.rules.ledger.readiness import judge
from tests.rules.kit_facts import NEAR, kits

DAY = timedelta(days=1)


@given(kits(), NEAR)
def test_from_one_day_to_the_next_a_verdict_changes_only_after_a_named_day(
    kit: KitState, today: date
) -> None:
    named = last_days(kit)
    for day in (today + n * DAY for n in range(40)):
        if day in named:
            continue
        before, after = judge(kit, day, day), judge(kit, day + DAY, day + DAY)
        assert after.reasons == before.reasons
        ahead = day + 5 * DAY
        if ahead not in named:
            assert judge(kit, ahead, day + DAY).reasons == judge(kit, ahead, day).reasons
            assert judge(kit, ahead + DAY, day).reasons == judge(kit, ahead, day).reasons
