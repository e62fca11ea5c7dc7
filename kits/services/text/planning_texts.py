"""What is said of plans."""

from django.utils.translation import gettext_lazy as _

CAUTION = _(
    "What a kit contains, and who may use it, is decided by your medical adviser, your protocols, "
    "local law and each person’s training. This is arithmetic on your own records; it never says "
    "that anything should be left out."
)
