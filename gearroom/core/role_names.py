"""What the roles are called on pages and in sentences."""

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from gearroom.core.rules.roles import Role

ROLE_NAMES: dict[Role, str | Promise] = {
    Role.GUIDE: _("Guide"),
    Role.INSTRUCTOR: _("Instructor"),
    Role.KEEPER: _("Keeper"),
    Role.ADVISER: _("Medical adviser"),
    Role.ADMINISTRATOR: _("Administrator"),
    Role.INTEGRATION: _("Program"),
}
