"""Pictures that come with a form, of what is wrong or of a label to read; and forms that a batch
may be scanned into."""

from collections.abc import Callable

from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse

from gearroom.core.acts import Problem
from gearroom.site.web.page import actor, read_page
from kits.models import Lot
from kits.services.kits import holds
from kits.services.lookup import find
from labels.services.scan import read_picture
from labels.services.scan.pack_scans import batch_in


def picture_of(request: HttpRequest, name: str) -> bytes:
    """The file that a form was sent with; empty without one."""
    file = request.FILES.get(name)
    if not isinstance(file, UploadedFile) or not file.size:
        return b""
    content = b"".join(file.chunks())
    file.seek(0)
    return content


def photo_of(request: HttpRequest, name: str = "photo") -> bytes:
    """The photo that a form was sent with, as it is kept; empty without one. Raises what
    `read_picture.photo` raises for a file that is none."""
    picture = picture_of(request, name)
    return read_picture.photo(picture) if picture else b""


def batch_of(request: HttpRequest) -> Lot | None:
    """The batch that was scanned, photographed or typed into a form; None without one."""
    if picture := picture_of(request, "image"):
        return batch_in(actor(request), read_picture.read(picture).seen)
    text = request.POST.get("batch", "").strip()
    return batch_in(actor(request), text) if text else None


def form_with_batch(
    request: HttpRequest,
    page_of: Callable[..., HttpResponse],
    send: Callable[[], HttpResponse],
) -> HttpResponse:
    """A form that a batch may be scanned into: its page, the page again with that `batch` or with
    the `problem` that it met, or what sending it comes to."""
    if request.method != "POST":
        return page_of()
    try:
        return page_of(batch=batch_of(request)) if request.POST.get("read") else send()
    except Problem as problem:
        return page_of(problem=problem)


@read_page()
def photo(request: HttpRequest, kit: str, number: int) -> HttpResponse:
    """One photo of a kit."""
    who = actor(request)
    jpeg = holds.photo(who, find.kit(who, kit), number).jpeg
    return HttpResponse(bytes(jpeg), content_type="image/jpeg")
