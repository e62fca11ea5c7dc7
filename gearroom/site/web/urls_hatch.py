"""The addresses of what is done at the hatch besides scanning."""

from django.urls import URLPattern, URLResolver, path

from gearroom.site.web import (
    asking,
    clearing,
    due,
    extending,
    hand_back,
    photos,
    recent,
    returns,
    sorting,
    using,
)

urlpatterns: list[URLPattern | URLResolver] = [
    path("undo/<int:entry>/", recent.undo, name="undo"),
    path("undo/<int:entry>/really/", recent.really, name="really"),
    path("kits/<str:kit>/hand-back/", hand_back.hand_back, name="hand-back"),
    path("kits/<str:kit>/due/", due.set_due, name="set-due"),
    path("kits/<str:kit>/sort/", sorting.sort, name="sort"),
    path("kits/<str:kit>/seal/", sorting.reseal, name="reseal"),
    path("kits/<str:kit>/used/", using.used, name="used-from"),
    path("kits/<str:kit>/ask/", asking.ask, name="ask"),
    path("clearances/", clearing.every, name="clearances"),
    path("cleared/<str:said>/", clearing.by_link, name="cleared"),
    path("away/", returns.every, name="away"),
    path("kits/<str:kit>/not-ours/", returns.participants, name="not-ours"),
    path("sign/<str:said>/", extending.by_link, name="extend-signature"),
    path("ask/", asking.ask_all, name="ask-all"),
    path("used/<str:said>/", asking.tell, name="used"),
    path("used/<str:said>/<int:time>/", asking.tell, name="used-of"),
    path("kits/<str:kit>/photos/<int:number>/", photos.photo, name="photo"),
]
