"""Whether a list has what the hazards that it serves ask for."""

from kits.rules.lists.hazards_covered import Ask, covered, lacking

BLEEDING, BURN = 1, 2
TOURNIQUET, DRESSING, GEL = 10, 11, 12
ASKS = [Ask("sharp-tools", BLEEDING, 2), Ask("fire", BURN, 1)]
SERVES = {BLEEDING: frozenset({TOURNIQUET, DRESSING}), BURN: frozenset({GEL})}
BOTH = ("sharp-tools", "fire")


def test_units_of_all_that_serves_a_need_count_together() -> None:
    assert lacking(BOTH, ASKS, {TOURNIQUET: 1, DRESSING: 1, GEL: 1}, SERVES, frozenset()) == []


def test_what_is_not_enough_is_lacking_and_its_hazard_is_not_covered() -> None:
    short = lacking(BOTH, ASKS, {TOURNIQUET: 1, GEL: 1}, SERVES, frozenset())
    assert [(each.ask.need, each.carried, each.explained) for each in short] == [
        (BLEEDING, 1, False)
    ]
    assert covered(BOTH, short) == {"fire"}


def test_a_hazard_that_the_list_does_not_serve_asks_for_nothing() -> None:
    assert lacking(["hill"], ASKS, {}, SERVES, frozenset()) == []


def test_a_line_that_says_why_not_covers_the_hazard_and_still_shows() -> None:
    short = lacking(["fire"], ASKS, {}, SERVES, frozenset({BURN}))
    assert [each.explained for each in short] == [True]
    assert covered(["fire"], short) == {"fire"}


def test_a_need_that_nothing_serves_is_lacking() -> None:
    [one] = lacking(["fire"], ASKS, {GEL: 3}, {}, frozenset())
    assert one.carried == 0
