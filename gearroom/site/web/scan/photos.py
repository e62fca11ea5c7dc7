"""Photos: taken in with a form, shown to those who may see the kit."""

from __future__ import annotations

from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from gearroom.site.web.page.shell import actor, page
from kits.services.kits import photos
from kits.services.lookup import find
from labels.services.scan import read_picture


@require_safe
@page()
def photo(request: HttpRequest, kit: str, number: int) -> HttpResponse:
    """One photo of a kit."""
    who = actor(request)
    found = photos.photo(who, find.kit(who, kit), number)
    return HttpResponse(bytes(found.jpeg), content_type="image/jpeg")


def sent_with(request: HttpRequest, name: str = "photo") -> bytes:
    """The photo that a form was sent with, as it is kept; nothing where there is none.

    Raises what `looking.photo` raises for a file that is none.
    """
    picture = request.FILES.get(name)
    if not isinstance(picture, UploadedFile) or not picture.size:
        return b""
    kept = read_picture.photo(picture.read())
    picture.seek(0)
    return kept
