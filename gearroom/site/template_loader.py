"""Templates as they are sent: laid out for people to read, without that layout going to phones."""

import re

from django.template import Origin
from django.template.loaders import app_directories

_INDENTATION = re.compile(r"^[ \t]+", re.MULTILINE)


class Loader(app_directories.Loader):
    """Django's, which leaves out what the pages' lines are indented by: a quarter of the board.
    Lines stay, and with them the numbers that an error names."""

    def get_contents(self, origin: Origin) -> str:
        """The template's text; of pages, without indentation."""
        contents = super().get_contents(origin)
        ours = str(origin.template_name).startswith("site/")
        return _INDENTATION.sub("", contents) if ours else contents
