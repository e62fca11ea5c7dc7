"""The addresses of what is done at the hatch besides scanning."""

from django.urls import URLPattern, URLResolver, path

from gearroom.site.web.custody import clearances, due_times, hand_back, returns, use_requests
from gearroom.site.web.lists import signatures
from gearroom.site.web.restocking import sorting
from gearroom.site.web.scan import photos, recent, use

urlpatterns: list[URLPattern | URLResolver] = [
    path("undo/<int:entry>/", recent.undo, name="undo"),
    path("undo/<int:entry>/really/", recent.really, name="really"),
    path("kits/<str:kit>/hand-back/", hand_back.hand_back, name="hand-back"),
    path("kits/<str:kit>/due/", due_times.set_due, name="set-due"),
    path("kits/<str:kit>/sort/", sorting.sort, name="sort"),
    path("kits/<str:kit>/seal/", sorting.reseal, name="reseal"),
    path("kits/<str:kit>/used/", use.used, name="used-from"),
    path("kits/<str:kit>/ask/", use_requests.ask, name="ask"),
    path("clearances/", clearances.every, name="clearances"),
    path("cleared/<str:said>/", clearances.by_link, name="cleared"),
    path("away/", returns.every, name="away"),
    path("kits/<str:kit>/not-ours/", returns.participants, name="not-ours"),
    path("sign/<str:said>/", signatures.by_link, name="extend-signature"),
    path("ask/", use_requests.ask_all, name="ask-all"),
    path("used/<str:said>/", use_requests.tell, name="used"),
    path("used/<str:said>/<int:time>/", use_requests.tell, name="used-of"),
    path("kits/<str:kit>/photos/<int:number>/", photos.photo, name="photo"),
]
