"""The pages that problem types point to."""

from django.urls import path

from gearroom.core.web import problems

urlpatterns = [
    path("", problems.index, name="problems"),
    path("<slug:code>/", problems.detail, name="problem"),
]
