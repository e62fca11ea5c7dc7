"""Locations that kits and shelves are put at."""

from django.utils.translation import gettext as _

from gearroom.core.acts import Invalid
from kits.models import Location


def still_used(location: Location) -> bool:
    """Whether a location is in use; if so, it stays so until the transaction ends: whoever closes
    it waits for what is put there meanwhile."""
    rows = Location.objects.select_for_update(no_key=True)
    return rows.filter(pk=location.pk, closed_on=None).exists()


def refuse_unused(location: Location) -> None:
    """Raises Invalid (`location`) for a location that is not in use (see `still_used`)."""
    if not still_used(location):
        raise Invalid(
            _("%(location)s is no longer used. Choose another location.")
            % {"location": location.name},
            field="location",
        )
