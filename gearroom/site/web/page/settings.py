"""Settings: one's own, those of one's rooms, and, to read, how the program is set up."""

from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, NotFound
from gearroom.core.models.installation import current
from gearroom.core.services.installation import installation
from gearroom.core.services.people import alone
from gearroom.site.web.page.form_acts import Done
from gearroom.site.web.page.form_views import form_view
from gearroom.site.web.page.shell import actor, company, here, is_offered, read_page, show
from kits.services.advice import access as advice

_LINKS = (
    "see_people",
    "print_labels",
    "own_tokens",
    "edit_webhook",
    "edit_device",
    "edit_installation",
    "set_up_advice",
    "export_tables",
)


@read_page("own_account")
def overview(request: HttpRequest) -> HttpResponse:
    """Where everything that can be set is set."""
    who = actor(request)
    languages = dict(settings.LANGUAGES)
    return show(
        request,
        "site/page/settings/settings.html",
        spoken=languages.get(who.person.language) if who.person else None,
        mail_language=languages[current().language],
        may={name: is_offered(request, name) for name in _LINKS},
        company=company(request),
        room=here(request),
        may_send_advice=advice.may_send(who),
        set_up=_set_up() if who.may("edit_room") else None,
    )


@form_view("own_account", "settings", refused=overview)
def work_alone(act: Act, request: HttpRequest) -> Done:
    """Have pages show everything to somebody who works alone, or only what they need."""
    if act.person is None:
        raise NotFound("person")
    shows_all = bool(request.POST.get("shows_all"))
    alone.choose(act, act.person, shows_all=shows_all)
    if shows_all:
        return Done(_("Saved. Pages now show everything."))
    return Done(_("Saved. Pages now leave out everything that needs more than one person."))


def _set_up() -> list[dict[str, Any]]:
    """What whoever runs the program has set, by the environment's names, without any secret."""
    host = installation.mail_host()
    mail = (
        _("through the mail server %(host)s") % {"host": host}
        if host
        else _("saved as files in %(folder)s: no email leaves this server")
        % {"folder": settings.EMAIL_OUTBOX_DIR}
    )
    broker = urlsplit(settings.CELERY_BROKER_URL).scheme
    return [
        {
            "name": "GEARROOM_ORGANISATION",
            "what": _("The name of the school on labels and cards"),
            "value": current().organisation,
            "wanted": _("not set: labels show no school name"),
        },
        {
            "name": "GEARROOM_PUBLIC_URL",
            "what": _("The web address that labels and emails link to"),
            "value": current().public_url,
            "wanted": _("not set: labels can only be previewed, and emails contain no links"),
        },
        {
            "name": "GEARROOM_LANGUAGE",
            "what": _("The language of emails to people who have not chosen one"),
            "value": dict(settings.LANGUAGES)[current().language],
            "wanted": "",
        },
        {"name": "EMAIL_URL", "what": _("How email is sent"), "value": mail, "wanted": ""},
        {
            "name": "GEARROOM_MAIL_FROM",
            "what": _("Email sender"),
            "value": current().mail_from,
            "wanted": "",
        },
        {
            "name": "DATABASE_URL",
            "what": _("The database"),
            "value": {"sqlite": "SQLite", "postgresql": "PostgreSQL"}[connection.vendor],
            "wanted": "",
        },
        {
            "name": "CELERY_BROKER_URL",
            "what": _("How tasks are passed to the background worker"),
            "value": _("files on this server") if broker == "filesystem" else broker,
            "wanted": "",
        },
        {
            "name": "GEARROOM_DATA_DIR",
            "what": _("The folder for everything stored on this server"),
            "value": str(settings.DATA_DIR),
            "wanted": "",
        },
    ]
