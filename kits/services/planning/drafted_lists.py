"""What is proposed for a trip, made a draft: of a new list, or the next version of one."""

from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid
from kits.models import PackingListVersion
from kits.services.lists import drafts
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.planning.drafting import Profile, Proposal
from kits.services.text.planning import rate_texts
from kits.services.text.planning.planning_texts import people_and_days


def make_list(act: Act, proposal: Proposal, *, name: str) -> PackingListVersion:
    """Make a new kit list of what is proposed, a draft. Raises Refused (`name-taken`), Invalid."""
    return drafts.make_list(act, name=name, draft=as_draft(proposal))


def make_version(act: Act, proposal: Proposal) -> PackingListVersion:
    """Make what is proposed the next version, a draft, of the list that it starts from. Raises
    Refused (`draft-there`), Invalid where it starts from none."""
    if proposal.profile.like is None:
        raise Invalid(_("Choose the kit list that the draft starts from."), field="like")
    with transaction.atomic():
        version = drafts.new_draft(act, proposal.profile.like.packing_list)
        return drafts.edit_draft(act, version, as_draft(proposal))


def as_draft(proposal: Proposal) -> Draft:
    """What is proposed as a draft of a list. What is still to decide is no decision yet, so it is
    not among what the list leaves out on purpose."""
    return Draft(
        proposal.profile.people,
        proposal.profile.days,
        note=_drafted_for(proposal.profile),
        hazards=proposal.hazards,
        sections=[
            SectionDraft(
                section.name,
                [
                    LineDraft(line.item, line.quantity, line.minimum, line.priority, line.reason)
                    for line in section.lines
                ],
                section.key,
                section.outside,
            )
            for section in proposal.sections
        ],
        not_carried=[line for line in proposal.not_carried if line.key not in proposal.undecided],
    )


def _drafted_for(profile: Profile) -> str:
    facts = people_and_days(profile.people, profile.days)
    if profile.activity:
        facts["activity"] = rate_texts.word(profile.activity.name)
        return _("Drafted for %(activity)s: %(people)s, %(days)s.") % facts
    return _("Drafted for %(people)s, %(days)s.") % facts
