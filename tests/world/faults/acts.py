"""Faults of what is done and written down, and of what people are told of it."""

from datetime import timedelta

import pytest

from tests.world.faults.fault import fault


# ---- what was used
@fault("use claimed before a count is taken out again", "holdings", cards="count use")
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.services.custody import use

    patch.setattr(use, "_counted_since", lambda *a: False)


@fault("a late report of custody changes who has the kit", "kit", cards="five-from-a-phone")
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.services.ledger.book import Book

    patch.setattr(Book, "is_late", lambda *a, **k: False)


@fault("a tap that names no batch takes the newest", "holdings", cards="use")
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.services.custody import use

    right = use._order
    patch.setattr(use, "_order", lambda *a: right(*a)[::-1])


# ---- what the evening brings
@fault(
    "only the kit that is handed back is to be counted after a mix-up",
    "kit",
    cards="take-without-trip hand-back-closed",
    week=4,
)
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.models import WithheldKind
    from kits.services.kits import holds

    patch.setattr(
        holds,
        "write_mixed",
        lambda book, kit, others: holds.withhold_kit(book, kit, WithheldKind.MIXED, ""),
    )


@fault("what may come back is gone for good", "evening", "holdings", cards="use")
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.rules.custody.use import Went
    from kits.services.custody import use

    right = use._place
    patch.setattr(use, "_place", lambda kit, went: right(kit, Went.USED))


# ---- once, and one person
@fault(
    "an act that is sent again is done again",
    "once",
    "code",
    "kit",
    "holdings",
    cards="press-twice",
)
def _(patch: pytest.MonkeyPatch) -> None:
    from gearroom.core.services import idempotency

    patch.setattr(idempotency, "_first_answer", lambda *a: None)


# ---- undo, and known then
@fault(
    "nothing stands on an act",
    "undo",
    "holdings",
    "kit",
    "audit",
    "code",
    cards="take-without-trip hand-back-later undo-late",
)
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.rules.ledger import undo

    patch.setattr(undo, "without", lambda *a: undo.Fallen((), {}))


@fault(
    "a count since then is taken for a difference, not for what it found",
    "holdings",
    "undo",
    cards="use count undo-late",
)
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.rules.ledger import undo

    right = undo.without
    patch.setattr(undo, "without", lambda *a: undo.Fallen(right(*a).later, {}))


@fault(
    "after an undo seals, holders and sorting stay as they were",
    "kit",
    "audit",
    "verdict",
    cards="reseal undo-soon",
)
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.services.ledger import projections

    patch.setattr(projections, "rewrite", lambda *a, **k: None)


@fault(
    "known then follows what was undone since",
    "known then",
    "known",
    cards="take-without-trip undo-soon",
)
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.services.ledger import facts

    right = facts.then
    patch.setattr(facts, "then", lambda at=None, known_by=None: right(at))


# ---- sealing
@fault("a seal hides what is not replaced", "code", cards="use reseal")
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.services.restocking import sealing

    patch.setattr(sealing, "not_replaced", lambda *a, **k: [])


# ---- what people are told, and by telephone
@fault("nobody is told of a trip that is not covered", "alarms")
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.services.mail import alarms

    patch.setattr(alarms, "going_soon", lambda now: None)


@fault("anybody at all may clear a kit by telephone", "code", cards="use take-cleared-by-phone")
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.services.custody import clearances

    patch.setattr(clearances, "refuse_unless_may_clear", lambda *a: None)


@fault("a kit that comes back closed has to be sorted", "kit", cards="hand-back-closed")
def _(patch: pytest.MonkeyPatch) -> None:
    from kits.models import AsFound
    from kits.services.ledger import kit_state

    patch.setattr(kit_state, "CLOSED", (AsFound.SEALED,))


@fault("the tag says another day than the first expiry", "tag", cards="reseal")
def _(patch: pytest.MonkeyPatch) -> None:
    from labels.rules.layout import contents

    right = vars(contents)["short_date"]
    patch.setattr(contents, "short_date", lambda day: right(day + timedelta(days=1)))
