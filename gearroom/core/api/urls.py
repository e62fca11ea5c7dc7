"""The API's addresses that are no room's business: its schema and pages, people, rooms, tokens."""

from django.urls import path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

urlpatterns = [
    path("schema/", SpectacularAPIView.as_view(permission_classes=[]), name="schema"),
    path("docs/", SpectacularSwaggerSplitView.as_view(permission_classes=[]), name="docs"),
]
