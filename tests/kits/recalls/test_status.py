"""How a recall stands: which places are settled, and what others than its makers see of it."""

from typing import Any

import pytest

from kits.models import AsFound, Recall
from kits.services.custody import custody, use
from kits.services.recalls import recalls, status
from kits.services.recalls.recalls import Answer
from kits.services.restocking import sorting
from tests.kits import factories as make
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def mixed(w: make.World) -> None:
    """DAY-01 held 6 of D1 and 2 of D2; two were used and nobody looked which."""
    make.put_in(w.day_01, w.lots["d2"], w.upper, 2)
    custody.check_in(
        make.act(w.guide),
        w.day_01,
        as_found=AsFound.OPENED,
        used=[use.UseLine(w.dressing, 2)],
    )


def start(w: make.World, number: str = "D1") -> Recall:
    """The maker recalls dressings with a lot number."""
    return recalls.start(make.act(w.keeper), item=w.dressing, scope="number", number=number)


def test_a_place_is_settled_by_an_answer_or_when_the_sure_units_are_gone(w: make.World) -> None:
    recall = start(w)

    def settled() -> dict[Any, Any]:
        return {p.place.name: p.settled for p in status.of(recall).places}

    assert settled() == {"C2": True, "Main": False}  # the shelf went to quarantine by itself
    sorting.take_expired_out(make.act(w.keeper), w.day_01)
    assert settled() == {"C2": True, "Main": True}


def test_a_place_in_doubt_is_settled_by_nothing_but_an_answer(w: make.World, mixed: None) -> None:
    recall = start(w, "D2")
    doubtful = [
        p for p in status.of(recall).places if present(p.row).units_min < present(p.row).units_max
    ]
    assert doubtful
    assert not any(p.settled for p in doubtful)
    recalls.answer(make.act(w.keeper), present(doubtful[0].row), Answer.NONE_THERE)
    (same,) = [p for p in status.of(recall).places if p.place == doubtful[0].place]
    assert same.settled


def test_others_see_the_places_of_their_own_rooms_alone(w: make.World) -> None:
    recall = start(w)
    stands = status.of(recall)
    assert status.of(recall, make.actor(w.keeper)) == stands
    theirs = status.of(recall, make.actor(w.guide))
    assert {p.place.name for p in theirs.places} == {"C2", "Main"}
    strangers = status.of(recall, make.actor(w.stranger))
    assert (list(strangers.places), list(strangers.quarantine)) == ([], [])
