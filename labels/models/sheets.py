"""Label sheets that an organisation added to the built-in ones."""

from django.db import models


class SheetLayout(models.Model):
    """A user-defined sheet in millimetres; `layout` is checked for fit before it is kept."""

    name = models.CharField(max_length=60, unique=True)
    layout = models.JSONField()
    offset_x_mm = models.DecimalField(max_digits=5, decimal_places=2, default=0)
    offset_y_mm = models.DecimalField(max_digits=5, decimal_places=2, default=0)
    created_at = models.DateTimeField()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name
