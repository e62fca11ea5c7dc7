"""What names people in rows that are kept for ever, where it can be erased; and what was erased."""

from django.db import models

from gearroom.core.models.append_only import InOrder, append_only
from gearroom.core.models.people import Person


class PersonalText(models.Model):
    """A name, a telephone number or an address as it stands in a row that is kept for ever, which
    refers to this row. Without a `person`: of somebody who is not on record."""

    person = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="texts")
    text = models.CharField(max_length=500)

    class Meta:
        indexes = [models.Index(fields=["text"], name="personal_text_by_words")]

    def __str__(self) -> str:
        return self.text


@append_only
class Redaction(InOrder):
    """An administrator's act that took names out of rows that are kept for ever: those of one
    person, who was erased, or (`about` None) of everybody in rows written before names were kept
    apart."""

    key = models.UUIDField()
    person = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    about = models.ForeignKey(
        Person, null=True, on_delete=models.PROTECT, related_name="redactions"
    )
    at = models.DateTimeField()


@append_only
class RedactedRow(InOrder):
    """One column of one row that a redaction changed, and the SHA-256 of what it has since. Of what
    it had before nothing is kept: a hash of a name is a name to whoever guesses it."""

    redaction = models.ForeignKey(Redaction, on_delete=models.PROTECT, related_name="rows")
    table = models.CharField(max_length=60)
    column = models.CharField(max_length=60)
    row = models.CharField(max_length=40)
    sha256 = models.CharField(max_length=64)

    class Meta(InOrder.Meta):
        indexes = [models.Index(fields=["table", "column", "row"], name="redacted_row_by_place")]
