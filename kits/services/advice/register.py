"""All advice on record, as those who may send it see it."""

from django.db.models import Prefetch, QuerySet
from django.utils.translation import gettext as _

from gearroom.core.acts import Actor, Refused, one
from kits.models import Advice, AdviceCopy
from kits.rules.planning.advice import State, state
from kits.services.advice import access
from kits.services.advice.drafts import Answers, Draft


def _with_all() -> QuerySet[Advice]:
    copies = AdviceCopy.objects.defer("text").order_by("number")
    return Advice.objects.select_related("withdrawal", "made_by").prefetch_related(
        Prefetch("copies", copies)
    )


def rows(actor: Actor) -> QuerySet[Advice]:
    """All advice, the newest first, without the texts that were sent. Raises what
    `access.require_sender` raises."""
    access.require_sender(actor)
    return _with_all().order_by("-pk")


def by_hash(sha256: str) -> Advice | None:
    """The advice of a link, by what is kept of the link."""
    return _with_all().filter(sha256=sha256).first()


def fresh(pk: int) -> Advice:
    """One of them afresh, locked until the transaction ends."""
    Advice.objects.select_for_update(of=("self",), no_key=True).get(pk=pk)
    return _with_all().get(pk=pk)


def get(actor: Actor, pk: int) -> Advice:
    """One of them. Raises NotFound."""
    return one(rows(actor).filter(pk=pk), "advice", pk)


def copy(actor: Actor, pk: int, number: int) -> AdviceCopy:
    """An answer as it was sent. Raises NotFound."""
    return one(AdviceCopy.objects.filter(advice=get(actor, pk), number=number), "advice", pk)


def latest_copy(advice: Advice) -> AdviceCopy | None:
    """The answer that is in force, with its text."""
    return AdviceCopy.objects.filter(advice=advice).order_by("-number").first()


def content(advice: Advice) -> tuple[Answers, Draft]:
    """What was answered, and the draft that was made of it. Raises Refused (`not-answered-yet`)."""
    if advice.answers is None or advice.draft is None:
        raise Refused(
            "not-answered-yet", _("Nobody has answered the questions yet: there is no draft.")
        )
    return Answers(**advice.answers), Draft.of(advice.draft)


def state_of(advice: Advice) -> State:
    """How far it has got."""
    return state(
        answered=advice.answers is not None,
        sent=bool(advice.copies.all()),
        withdrawn=hasattr(advice, "withdrawal"),
    )
