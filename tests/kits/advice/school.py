"""A small school in which advice is on, its keeper may send it, and things have needs."""

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from gearroom.core.models import Person
from kits.models import Advice, AdviceCopy, HazardNeed, Item, ItemNeed, Need
from kits.rules.ledger.facts import Kind
from kits.services.advice import access, links, sending
from kits.services.advice.drafts import Answers, Draft
from tests.kits import factories as make
from tests.kits.factories import World, act, world
from tests.kits.planning.school import serve

CREW = Answers(
    people=5,
    days=1,
    season="spring",
    activity="work-party",
    hazards=["sharp-tools"],
    hours_to_care="1",
)


def advising() -> World:
    """The school: tourniquets need training, bandages do not, tablets are a medicine."""
    made = world()
    serve(made)
    serves("Tourniquet", "severe-bleeding", training=True, mass_g=80)
    HazardNeed.objects.filter(hazard="sharp-tools").delete()
    asks("sharp-tools", "severe-bleeding", 2)
    turn_on([made.keeper.pk])
    return made


def asks(hazard: str, key: str, units: int) -> None:
    """A hazard asks for something."""
    need = Need.objects.get(key=key)
    HazardNeed.objects.create(hazard=hazard, need=need, units=units, reason="It happens.")


def serves(name: str, key: str, *, training: bool = False, kind: Kind = Kind.TOOL,
           mass_g: int | None = None) -> Item:  # fmt: skip
    """A new item that serves a need."""
    item = make.item(name, kind, needs_date=False, mass_g=mass_g)
    need = Need.objects.get(key=key)
    ItemNeed.objects.create(item=item, need=need, needs_training=training)
    return item


def turn_on(senders: Sequence[int], *, on: bool = True) -> None:
    """Turn advice on, or off."""
    access.put(act(), on=on, senders=senders)


def answered(w: World, answers: Answers = CREW) -> tuple[Advice, str]:
    """A link that was answered, and the link."""
    made, link = links.make(act(w.keeper))
    return links.answer(made, answers), link


def three(sender: Person) -> dict[str, Advice]:
    """A link that waits, one that was answered and one that was sent; each is opened by its name
    here, with `advice-` before it."""
    found = {}
    for name in ("waiting", "draft", "sent"):
        made, _link = links.make(act(sender))
        if name != "waiting":
            made = links.answer(made, CREW)
        if name == "sent":
            sending.send(act(sender), made, revision=made.revision, duty_confirmed=True)
        sha256 = hashlib.sha256(f"advice-{name}".encode()).hexdigest()
        Advice.objects.filter(pk=made.pk).update(sha256=sha256)
        found[name] = Advice.objects.get(pk=made.pk)
    return found


def draft_of(advice: Advice) -> Draft:
    return Draft.of(Advice.objects.get(pk=advice.pk).draft or {})


def edit(w: World, advice: Advice, **changes: Any) -> Advice:
    draft = replace(draft_of(advice), **changes)
    return sending.edit(
        act(w.keeper),
        advice,
        revision=advice.revision,
        lines=draft.lines,
        not_carried=draft.not_carried,
    )


def send(w: World, advice: Advice, **more: Any) -> AdviceCopy:
    revision = Advice.objects.get(pk=advice.pk).revision
    facts = {"revision": revision, "duty_confirmed": True, **more}
    return sending.send(act(w.keeper), advice, **facts)
