"""What lets the scan page work without a network: see `static/site/offline/queue.js`.

The page itself, the worker that keeps it and the manifest are the same for everybody and hold
nothing of anybody's. What belongs to somebody, the pocket book, is kept in the browser's database,
and goes when they sign out.
"""

import hashlib
import json
from functools import cache
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import get_language, gettext as _
from django.views.decorators.http import require_safe

from gearroom.core import clock
from gearroom.core.acts import actor_of
from gearroom.core.models import User
from gearroom.core.models.installation import current
from gearroom.core.services.accounts import handed_over
from gearroom.site.http.middleware import reads_labels
from kits.rules.ledger.reasons import ReasonCode
from kits.services.overview.phone_copy import pocket_book, revision
from kits.services.text.irregular_texts import IRREGULAR

SHELL = (
    "site/styles/tokens.css",
    "site/styles/base.css",
    "site/styles/components.css",
    "site/styles/pages/scan.css",
    "site/styles/pages/phone-copy.css",
    "site/icon.svg",
    "site/scripts/busy.js",
    "site/scripts/same-key.js",
    "site/scripts/menu.js",
    "site/scripts/search-key.js",
    "site/offline/sync.js",
    "site/offline/queue.js",
    "site/offline/page.js",
    "site/scripts/camera/camera.js",
    "site/scripts/touch.js",
    "site/offline/copy.js",
    "site/offline/card.js",
    "site/offline/acts.js",
    "site/offline/hand-over.js",
    "site/offline/packing.js",
    "site/offline/qr.js",
    "site/scripts/camera/label-reader.js",
)
"""What the page needs without a network, of the static files."""

_SETTLES: dict[str, str] = {
    ReasonCode.OUT_OF_ORDER: "kit",
    ReasonCode.WAS_OUT: "kit",
    ReasonCode.WAS_NOT_OUT: "kit",
    ReasonCode.WAS_NOT_TAKEN_OUT: "kit",
    ReasonCode.EMERGENCY: "kit",
    ReasonCode.KEPT_AS_IT_CAME: "kit",
    ReasonCode.USED_MORE: "count",
    ReasonCode.BORROWED_MORE: "count",
}
"""The page of a kit that settles an irregular act, where that is not the one to sort it on."""

_CHECKED = {"Cache-Control": "no-cache"}
"""Of what a browser may keep as long as it asks each time whether it is still so."""


@require_safe
def manifest(request: HttpRequest) -> HttpResponse:
    """The web application manifest (W3C): what is put on a phone's home screen."""
    name = current().organisation or "Gearroom"
    icons = [
        {"src": static("site/icon.svg"), "sizes": "any", "type": "image/svg+xml"},
        *(
            {
                "src": static(f"site/icon-{side}.png"),
                "sizes": f"{side}x{side}",
                "type": "image/png",
                "purpose": purpose,
            }
            for side in (192, 512)
            for purpose in ("any", "maskable")
        ),
    ]
    facts = {
        "id": "/scan/",
        "name": _("%(organisation)s: gear room") % {"organisation": name},
        "short_name": _("Gear room"),
        "lang": get_language() or "en",
        "start_url": reverse("scan"),
        "scope": "/",
        "display": "standalone",
        "background_color": "#efece3",
        "theme_color": "#20352e",
        "icons": icons,
    }
    return JsonResponse(facts, content_type="application/manifest+json", headers=_CHECKED)


@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker, at the root so that every page is in its scope. It changes with the
    files that it keeps, so that browsers take the new ones."""
    language = get_language() or ""
    facts = {
        "version": version(language),
        "page": reverse("offline"),
        "files": [static(name) for name in SHELL],
        "queue": static("site/offline/queue.js"),
        "scan": reverse("scan"),
        "static": settings.STATIC_URL,
    }
    return HttpResponse(
        f"const FACTS = {json.dumps(facts)};\n" + _text("site/offline/worker.js"),
        content_type="text/javascript",
        headers=_CHECKED,
    )


@require_safe
@reads_labels
def shell(request: HttpRequest) -> HttpResponse:
    """The scan page without a network: the same for everybody."""
    return HttpResponse(_shell(get_language() or ""), headers=_CHECKED)


@require_safe
def ready(request: HttpRequest) -> HttpResponse:
    """Whose acts may be sent now, with what sending takes; 401 where nobody is signed in."""
    if (user := _signed_in(request)) is None:
        return JsonResponse({}, status=401)
    own = user.person
    return JsonResponse(
        {"person": own.pk, "name": own.name, "csrf": get_token(request), "now": clock.now()},
        headers={"Cache-Control": "no-store"},
    )


@require_safe
def pocket_copy(request: HttpRequest) -> HttpResponse:
    """The pocket book of whoever is signed in; 304 where the phone has it as it is."""
    if (user := _signed_in(request)) is None:
        return JsonResponse({}, status=401)
    actor, language = actor_of(user), get_language() or ""
    signs = handed_over.key_of_session(user, request.session)
    # Named before it is read: what changes meanwhile is sent the next time.
    facts = f"{version(language)} {revision(actor)} {signs}"
    tag = f'"{hashlib.sha256(facts.encode()).hexdigest()[:32]}"'
    headers = {"ETag": tag, "Cache-Control": "private, no-store"}
    if request.headers.get("If-None-Match") == tag:
        return HttpResponse(status=304, headers=headers)
    book = {
        "person": user.person.pk,
        "name": user.person.name,
        "signs": signs,
        **pocket_book(actor),
    }
    body = json.dumps(book, ensure_ascii=False, separators=(",", ":")).encode()
    return HttpResponse(body, content_type="application/json", headers=headers)


def _signed_in(request: HttpRequest) -> User | None:
    """Who signed in on this browser: on a shared device its own entry, whoever stands before it,
    since what is sent later is sent as that."""
    return request.user if request.user.is_authenticated else None


@cache
def version(language: str) -> str:
    """A name for the page and its files as they are now."""
    digest = hashlib.sha256(_shell(language).encode())
    for name in (*SHELL, "site/offline/worker.js"):
        digest.update(_text(name).encode())
    return digest.hexdigest()[:16]


@cache
def _shell(language: str) -> str:
    # Without the request: nothing of whoever asks may stand in it.
    irregular = [
        (code, sentence, _SETTLES.get(code, "sort")) for code, sentence in IRREGULAR.items()
    ]
    return render_to_string(
        "site/overview/phone/copy.html",
        {"organisation": current().organisation, "irregular": irregular},
    )


def _text(name: str) -> str:
    path = finders.find(name)
    assert isinstance(path, str), f"{name} is not among the static files"
    return Path(path).read_text(encoding="utf-8")
