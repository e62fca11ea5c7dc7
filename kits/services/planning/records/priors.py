"""What is stated of how often a need comes up, before our own records."""

from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid
from kits.models import Activity, Need, RateSource, StatedRate
from kits.rules.planning.records.rates import MOST_WEIGHT
from kits.rules.planning.records.studies import STUDIES

MOST_PER_1000 = Decimal(10_000)


def state(
    act: Act,
    need: Need,
    activity: Activity | None,
    *,
    per_1000: Decimal | None,
    weight: Decimal = Decimal(1),
    study: str = "",
    note: str = "",
) -> StatedRate:
    """State how often a need comes up (uses per 1,000 participant-days; None: leave it blank), in
    one activity or in all; by the adviser, or out of a published study (its key). Raises Invalid.
    """
    act.actor.require("state_rate")
    if need.retired_on is not None:
        raise Invalid(_("“%(need)s” has been retired.") % {"need": need.name}, field="need")
    if per_1000 is not None and not 0 < per_1000 <= MOST_PER_1000:
        raise Invalid(
            _("Enter a number above 0 and at most %(most)s.") % {"most": MOST_PER_1000},
            field="per_1000",
        )
    if not 0 < weight <= Decimal(MOST_WEIGHT):
        raise Invalid(
            _("Enter how many recorded uses this rate counts as: above 0 and at most %(most)g.")
            % {"most": MOST_WEIGHT},
            field="weight",
        )
    if study and study not in {each.key for each in STUDIES}:
        raise Invalid(_("There is no study “%(study)s” here.") % {"study": study}, field="study")
    with transaction.atomic():
        Need.objects.select_for_update(no_key=True).get(pk=need.pk)
        act.match(StatedRate.objects.filter(need=need, activity=activity).order_by("id").last())
        return StatedRate.objects.create(
            need=need,
            activity=activity,
            per_1000=per_1000,
            weight=weight,
            source=RateSource.STUDY if study else RateSource.ADVISER,
            study=study,
            note=note,
            stated_by=act.person,
            stated_at=act.received_at,
        )
