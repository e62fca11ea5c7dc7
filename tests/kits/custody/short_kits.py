"""A kit that lacks something, and what comes of taking it out."""

from typing import Any

import pytest

from gearroom.core.acts import Refused
from kits.models import Item, Kit
from kits.rules.ledger.facts import Criticality
from kits.services.custody import custody
from kits.services.restocking import sorting
from tests.kits import factories as make


def lacking(school: make.World, priority: Criticality = Criticality.ROUTINE) -> tuple[Kit, Item]:
    """A kit ROPE-01 that carries no sling, of which its list asks for two; and the sling."""
    return lacking_named(school, "ROPE-01", priority)


def lacking_named(
    school: make.World, name: str, priority: Criticality = Criticality.ROUTINE
) -> tuple[Kit, Item]:
    """The same, by another name."""
    sling = make.item("Sling" if name == "ROPE-01" else f"Sling of {name}")
    version = make.kit_list(
        f"{name} {priority}", {"main": [(sling, 3, 2, priority)]}, signed_by=school.adviser
    )
    kit = make.kit(name, version, school.store, responsible=school.instructor)
    sorting.look_inside(make.act(), kit)
    return make.fresh(kit), sling


def out(school: make.World, kit: Kit, who: Any = None, **more: Any) -> custody.CheckOut:
    return custody.check_out(
        make.act(who or school.guide), make.fresh(kit), person=school.guide, **more
    )


def refused(school: make.World, kit: Kit, who: Any = None, **more: Any) -> Refused:
    with pytest.raises(Refused) as problem:
        out(school, kit, who, **more)
    return problem.value


def offered(problem: Refused) -> list[Any]:
    return [row["do"] for row in problem.facts["offers"]]
