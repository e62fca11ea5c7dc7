"""Why nothing was done with what was read, and how to go on."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, NotFound, Problem, Refused, Unacceptable, beyond_form
from kits.models import AsFound, Label, Trip
from kits.rules.lookup import label_codes
from kits.services.labelling import labelling
from kits.services.lookup import find
from labels.rules.codes.scans import NOT_OURS, Intent, Means, Reading, Readings
from labels.services import passerby
from labels.services.scan import kit_scans
from labels.services.scan.resolve import Meaning
from labels.services.scan.results import (
    NextStep,
    Outcome,
    ScanRequest,
    Step,
    next_steps,
    resend,
    text_of,
)


def bind(meaning: Meaning) -> NextStep:
    """The way on from a label that is not on anything yet."""
    return NextStep(Step.BIND, _("Choose what this label is on"), text_of(meaning), needs=("to",))


def problem_of(meaning: Meaning, intent: Intent) -> Problem:
    """Why nothing can be done with what was read."""
    if meaning.kits:
        return find.which_kit(meaning.seen.text.strip(), meaning.kits)
    match meaning:
        case Meaning(means=Means.CANCELLED, label=Label() as label):
            return find.cancelled(label, instead=labelling.successor(label))
        case Meaning(means=Means.BLANK):
            return Refused(
                "label-not-bound",
                _(
                    "The label %(label)s is not linked to anything yet. First link it to what it "
                    "is on."
                )
                % {"label": text_of(meaning)},
                label=text_of(meaning),
            )
        case Meaning(means=Means.UNKNOWN_LABEL):
            problem = NotFound("label", label_codes.shown(label_codes.bare(meaning.seen.text)[-8:]))
            problem.detail = meaning.says + " " + _("Check where the label comes from.")
            return problem
        case Meaning(means=Means.WRONG_CODE):
            return Unacceptable(
                "code-wrong", meaning.says + " " + _("Scan the code on the label again.")
            )
        case Meaning(means=Means.MAKER_WRONG):
            return Unacceptable("makers-code-wrong", meaning.says)
        case Meaning(means=means) if means in NOT_OURS:
            return Unacceptable(
                "not-ours", meaning.says + " " + _("Scan the label of a kit, a shelf or a batch.")
            )
    if intent in (Intent.CHECK_OUT, Intent.CHECK_IN, Intent.LOOK_INSIDE, Intent.ADD):
        return kit_scans.not_a_kit(meaning)
    return Unacceptable(
        "not-wanted-here",
        _("There is nothing to receive or count: scan a pack, a batch label or a shelf."),
        means=str(meaning.means),
    )


def refused(act: Act, meaning: Meaning, ask: ScanRequest, problem: Problem) -> Outcome:
    """What comes of a reading with which nothing could be done."""
    problem = beyond_form(problem)
    return Outcome(
        meaning.seen,
        meaning.means,
        problem.code,
        problem.detail,
        label=meaning.label,
        problem=problem,
        thing=passerby.facts_of(meaning.label, act.actor)
        if meaning.label is not None and meaning.means in (Means.ELSEWHERE, Means.CANCELLED)
        else None,
        next=_next_steps(act, meaning, ask, problem),
    )


def _next_steps(act: Act, meaning: Meaning, ask: ScanRequest, problem: Problem) -> list[NextStep]:
    """How to go on after a problem, by its code."""
    text = text_of(meaning)
    given: dict[str, Any] = {"holder": str(ask.holder.pk)} if ask.holder else {}
    given |= {"trip": str(ask.trip.pk)} if isinstance(ask.trip, Trip) else {}
    given |= {"due_at": ask.due_at.isoformat()} if isinstance(ask.due_at, datetime) else {}

    def out(says: str, *needs: str, **more: Any) -> NextStep:
        return resend(Intent.CHECK_OUT, says, text, needs, **given, **more)

    match problem.code:
        case "kit-is-out":
            who = problem.facts["person_name"]
            says, as_found = (
                (_("The kit is here and sealed: hand it back for %(who)s"), AsFound.SEALED)
                if problem.facts["sealed"]
                else (_("The kit is here and closed: hand it back for %(who)s"), AsFound.CLOSED)
            )
            return [
                resend(Intent.CHECK_IN, says % {"who": who}, text, as_found=str(as_found)),
                resend(
                    Intent.CHECK_IN,
                    _("The kit is here and needs sorting: hand it back for %(who)s") % {"who": who},
                    text,
                ),
                out(_("Then take it out")),
            ]
        case "who-takes-it" | "which-person":
            return [out(_("Take it out"), "holder")]
        case "short-needs-a-reason":
            return next_steps(problem.facts["offers"], text, **given)
        case "not-fit":
            return [
                *next_steps(problem.facts["offers"], text, **given),
                NextStep(Step.RESTOCK, _("View what is missing"), problem.facts["kit"]),
                out(_("Emergency: take it now"), emergency=True),
            ]
        case "another-kit-is-reserved":
            return [out(_("Swap the two kits"), swap=True)]
        case "reserved-for-another":
            return _from_another(act, problem, out)
        case "due-in-the-past":
            return [out(_("Choose when it is due back"), "due_at")]
    return _label_steps(meaning, ask, problem)


def _label_steps(meaning: Meaning, ask: ScanRequest, problem: Problem) -> list[NextStep]:
    """How to go on where the problem is with what was read."""
    match problem.code:
        case "label-not-bound":
            return [bind(meaning)]
        case "label-cancelled" if problem.facts.get("replaced_by"):
            instead = problem.facts["replaced_by"]
            sentence = _("Continue with %(instead)s") % {"instead": instead}
            return [resend(ask.intent, sentence, instead)]
        case "which-kit":
            return [resend(ask.intent, kit.name, kit.name) for kit in meaning.kits]
        case "code-wrong" if meaning.offered is not None:
            code = label_codes.shown(meaning.offered.code)
            facts = {"code": code, "name": labelling.name_of(meaning.offered)}
            return [resend(ask.intent, _("Did you mean %(code)s, %(name)s?") % facts, code)]
        case "not-a-kit" if meaning.means == Means.SECTION and meaning.place and meaning.place.kit:
            kit_name = meaning.place.kit.name
            sentence = _("This belongs to %(kit_name)s: continue with that kit") % {
                "kit_name": kit_name
            }
            return [resend(ask.intent, sentence, kit_name)]
        case "not-found" if meaning.means == Means.ELSEWHERE:
            return [resend(Intent.CHECK_IN, _("Hand it in"), text_of(meaning))]
    return []


def _from_another(act: Act, problem: Problem, out: Callable[..., NextStep]) -> list[NextStep]:
    """The ways on where the kit in the hand is reserved for another guide's trip."""
    facts = problem.facts
    steps = []
    if facts["swap"]:
        whom = facts["guide_name"] or facts["trip_name"]
        steps.append(
            out(_("Swap: %(whom)s gets %(kit)s") % {"whom": whom, "kit": facts["swap"]}, swap=True)
        )
    if not facts["uncovered_within_48h"] or act.actor.could("check_out_short"):
        steps.append(out(_("Take it anyway and give a reason"), "take_reason"))
    return steps


def empty_outcome(readings: Readings) -> Outcome:
    """What comes of a picture or a text in which nothing was read."""
    problem = Unacceptable(
        "nothing-read",
        _(
            "No label was found in the picture. Move closer, hold the camera still and make "
            "sure there is enough light; or type the code below the symbol."
        )
        if readings.picture_sha256
        else _("There is nothing to read. Send a picture or a text."),
    )
    return Outcome(Reading(""), Means.NOTHING, problem.code, problem.detail, problem=problem)
