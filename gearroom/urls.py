"""Every address of the program: the API below /api/v1/, pages beside it."""

from django.urls import URLPattern, URLResolver, include, path

from gearroom.core.web import problems
from gearroom.site.web.page.health import health

urlpatterns: list[URLPattern | URLResolver] = [
    path("api/v1/", include("gearroom.core.api.urls")),
    path("api/v1/", include("kits.api.urls")),
    path("api/v1/", include("labels.api.urls")),
    path("problems/", problems.index, name="problems"),
    path("problems/<slug:code>/", problems.detail, name="problem"),
    path("health/", health, name="health"),
    path("", include("gearroom.site.web.urls")),
]

handler400 = "gearroom.site.http.errors.bad_request"
handler403 = "gearroom.site.http.errors.permission_denied"
handler404 = "gearroom.site.http.errors.page_not_found"
handler500 = "gearroom.site.http.errors.server_error"
