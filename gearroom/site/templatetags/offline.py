"""Tags of the pages that read labels and work without a network."""

from functools import cache

from django import template
from django.contrib.staticfiles import finders
from django.templatetags.static import static

register = template.Library()


@register.simple_tag
@cache
def reader() -> str:
    """The address of the folder with what reads labels in browsers that cannot by themselves, or
    nothing where it is not installed."""
    return static("reading/") if finders.find("reading/ponyfill.js") else ""
