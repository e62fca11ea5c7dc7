"""The addresses of this app below /api/v1/."""

from django.urls import URLPattern, URLResolver, path

from kits.api import custody, looking, places, turnaround

urlpatterns: list[URLPattern | URLResolver] = [
    path("kits/<str:kit>/readiness/", looking.Readiness.as_view()),
    path("kits/<str:kit>/contents/", looking.Contents.as_view()),
    path("kits/<str:kit>/history/", looking.History.as_view()),
    path("kits/<str:kit>/check-out/", custody.CheckOut.as_view()),
    path("kits/<str:kit>/check-in/", custody.CheckIn.as_view()),
    path("kits/<str:kit>/pass/", custody.Pass.as_view()),
    path("kits/<str:kit>/use/", custody.Use.as_view()),
    path("kits/<str:kit>/withhold/", custody.Withhold.as_view()),
    path("kits/<str:kit>/release/", custody.Release.as_view()),
    path("kits/<str:kit>/lay-up/", custody.LayUp.as_view()),
    path("kits/<str:kit>/lost/", custody.Lost.as_view()),
    path("kits/<str:kit>/look-inside/", turnaround.LookInside.as_view()),
    path("kits/<str:kit>/restock/", turnaround.RestockDoor.as_view()),
    path("kits/<str:kit>/take-out/", turnaround.TakeOut.as_view()),
    path("kits/<str:kit>/borrow/", turnaround.Borrow.as_view()),
    path("kits/<str:kit>/reseal/", turnaround.Reseal.as_view()),
    path("kits/<str:kit>/count/", turnaround.CountKit.as_view()),
    path("places/", places.Places.as_view()),
    path("places/<int:id>/", places.OneShelf.as_view()),
    path("stock/count/", turnaround.CountShelf.as_view()),
    path("entries/<int:id>/reverse/", turnaround.Reverse.as_view()),
]
