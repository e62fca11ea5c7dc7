"""The pages that problem types point to."""

from django.urls import path

from gearroom.core.web import problems

urlpatterns = [
    path("", problems.every, name="problems"),
    path("<slug:code>/", problems.one, name="problem"),
]
