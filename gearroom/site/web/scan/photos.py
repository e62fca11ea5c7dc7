"""Photos of what is wrong, for those who may see the kit."""

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from gearroom.site.web.page.shell import actor, page
from kits.services.kits import holds
from kits.services.lookup import find


@require_safe
@page()
def photo(request: HttpRequest, kit: str, number: int) -> HttpResponse:
    """One photo of a kit."""
    who = actor(request)
    jpeg = holds.photo(who, find.kit(who, kit), number).jpeg
    return HttpResponse(bytes(jpeg), content_type="image/jpeg")
