"""Tables out to a file and in from one. They are here since a spreadsheet that somebody sends is
read by the readers of `labels`."""

from typing import Any

from django.http import StreamingHttpResponse
from django.utils.translation import gettext_lazy as _lazy
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.openapi.description import ViewSchema
from gearroom.core.api.openapi.member_rules import one_of
from gearroom.core.api.requests.parsing import StrictJSONParser, StrictMultiPartParser
from gearroom.core.api.requests.serializers import ActBody, QuerySerializer, ScannedField
from gearroom.core.api.views import ReadView, UseCaseView
from kits.api.answers import Answer
from kits.rules.exchange.values import Type
from kits.services.exchange import exporting, importing, registry
from kits.services.exchange.table import Filters
from kits.services.lookup import find
from kits.services.text.wording import in_words
from labels.api.paper import PaperSchema
from labels.services import table_files

_MOST_TEXT = 1_000_000


class ColumnAnswer(serializers.Serializer[Any]):
    name = serializers.CharField(help_text="The heading in the file.")
    title = serializers.SerializerMethodField(help_text="What the column is called on pages.")
    meaning = serializers.SerializerMethodField(help_text="What the column means.")
    type = serializers.ChoiceField(
        [str(each) for each in Type],
        help_text="How it is written: yes-or-no as “yes” or “no”, dates as ISO 8601, several with"
        " semicolons between them.",
    )
    choices = serializers.ListField(
        child=serializers.CharField(), help_text="The values that it may have; empty: any."
    )
    needed = serializers.BooleanField(help_text="Never empty in a file that is imported.")
    only_read = serializers.BooleanField(
        help_text="It is exported, but a file that changes it is refused."
    )

    def get_title(self, column: Any) -> str:
        """What it is called."""
        return in_words(column.title)

    def get_meaning(self, column: Any) -> str:
        """What it means."""
        return in_words(column.meaning)


class TableAnswer(serializers.Serializer[Any]):
    name = serializers.CharField(help_text="Its name in addresses.")
    title = serializers.SerializerMethodField(help_text="What the table is called on pages.")
    meaning = serializers.SerializerMethodField(help_text="What the table holds.")
    narrowed_by = serializers.ListField(
        child=serializers.CharField(), help_text="The parameters that its export takes."
    )
    may_import = serializers.SerializerMethodField(help_text="Whether you may import it.")
    columns = ColumnAnswer(many=True, help_text="Its columns, as they are in a file.")

    def get_title(self, table: Any) -> str:
        """What it is called."""
        return in_words(table.title)

    def get_meaning(self, table: Any) -> str:
        """What it holds."""
        return in_words(table.meaning)

    def get_may_import(self, table: Any) -> bool:
        """Whether whoever asks may import it."""
        return registry.may_import(self.context["actor"], table)


class TablesAnswer(serializers.Serializer[Any]):
    tables = TableAnswer(many=True, help_text="The tables.")


class Tables(ReadView):
    reads_as = "export_tables"
    shows = TablesAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """The tables that you may export, with what each column means."""
        return {"tables": registry.offered(self.actor)}


class ExportQuery(QuerySerializer):
    format = serializers.ChoiceField(
        sorted(exporting.FORMATS), default="csv", help_text="The format of the file."
    )
    room = serializers.CharField(
        required=False, max_length=80, help_text="Only what is of this gear room."
    )
    since = serializers.DateField(
        required=False, help_text="Trips and the record: from this day on."
    )
    until = serializers.DateField(
        required=False, help_text="Trips and the record: up to and including this day."
    )


class Export(ReadView):
    reads_as = "export_tables"
    read_problems = ("too-many-rows",)
    schema = PaperSchema()
    media = tuple(media.partition(";")[0] for media in exporting.FORMATS.values())
    query = ExportQuery

    def read(self, query: dict[str, Any]) -> Any:
        """A table as a file, row by row: items, kit-lists, kits, contents, lots, trips, people or
        record.

        Dates are ISO 8601, texts UTF-8. A text that a spreadsheet would take for a formula has an
        apostrophe before it, which an import takes off again. A workbook has at most 50,000 rows;
        CSV has as many as there are.
        """
        table = registry.table(self.actor, self.kwargs["table"])
        room = find.room(self.actor, query["room"]) if "room" in query else None
        filters = Filters(room, query.get("since"), query.get("until"))
        file = exporting.export(self.actor, table, filters, query["format"])
        return StreamingHttpResponse(
            file.content,
            content_type=file.media,
            headers={"Content-Disposition": f'attachment; filename="{file.name}"'},
        )


class _ImportBody(ActBody):
    dry_run = serializers.BooleanField(
        default=False, help_text="Only say what would be done; nothing is changed or kept."
    )
    whole = serializers.BooleanField(
        default=False,
        help_text="Contents: the file has all that is in each kit and on each shelf that it names;"
        " what it leaves out there is counted as none.",
    )
    plan = serializers.CharField(
        default="",
        allow_blank=True,
        max_length=64,
        help_text="What a dry run gave as “plan”: the file is imported only if that would still do"
        " the same.",
    )


class ImportText(_ImportBody):
    example = {"text": "name,kind,base_unit\nfinger splint,tool,piece\n", "dry_run": True}
    rules = (
        one_of(
            ("text", "file"),
            _lazy("Send the file as multipart/form-data, or its text as “text”."),
            "text",
        ),
    )

    text = ScannedField(
        required=False,
        max_length=_MOST_TEXT,
        trim_whitespace=False,
        help_text="The table as CSV text, the headings first.",
    )
    file = serializers.FileField(
        required=False,
        allow_empty_file=True,
        help_text="The table as CSV or .xlsx, the headings first; the format is detected from the"
        " content.",
    )


class ImportFile(ImportText):
    from_text = True


@Answer.of(importing.CellShown)
class CellChangeAnswer(Answer):
    help_texts = {
        "column": "Its column.",
        "old": "What is on record; empty in a new row.",
        "new": "What the file has.",
    }


@Answer.of(importing.ChangeShown)
class RowChangeAnswer(Answer):
    help_texts = {
        "row": "Its row in the file; null where the file no longer has it.",
        "name": "What the row is about.",
        "cells": "What changes in it.",
        "what": "new, changed, removed, or moved: it is in another place among others.",
    }


@Answer.of(importing.FaultShown)
class RefusedRowAnswer(Answer):
    help_texts = {
        "row": "Its row in the file; 0: the file itself.",
        "column": "The column that is wrong; empty: the row as a whole.",
        "says": "What is wrong, and what to do about it.",
    }


@Answer.of(importing.Imported)
class ImportedAnswer(Answer):
    help_texts = {
        "table": "The table.",
        "done": "False after a dry run.",
        "changes": "What is done: every row that is not as on record.",
        "refused": "The rows that cannot be imported; with any of them nothing is.",
        "unchanged": "How many rows are as on record.",
        "plan": "Send this with the same file to have exactly this done.",
    }


class _ImportSchema(ViewSchema):
    def get_request_serializer(self) -> Any:
        """JSON with a text, or a form with a file."""
        return {"application/json": ImportText, "multipart/form-data": ImportFile}


class Import(UseCaseView):
    use_case = "import_tables"
    problems = ("export-only", "import-changed", "import-refused", "picture-broken")
    schema = _ImportSchema()
    parser_classes = [StrictJSONParser, StrictMultiPartParser]
    answers = {200: ImportedAnswer}

    @property
    def body(self) -> type[ActBody]:  # type: ignore[override]  # by the body that came
        """The serializer of the kind of body that was sent."""
        kind = self.request.content_type or ""
        return ImportFile if kind.startswith("multipart/") else ImportText

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Import a table: all of it or nothing.

        Send it with “dry_run” first: the answer lists every change and every row that is refused.
        Columns that the file does not have are left as they are. Kit lists become drafts; contents
        are a count. Batches and the record are only exported.
        """
        table = registry.table(act.actor, self.kwargs["table"])
        text, file = data.pop("text", None), data.pop("file", None)
        content = text.encode() if text is not None else file.read(importing.MOST_BYTES + 1)
        return 200, importing.import_file(act, table, table_files.cells_of(content, table), **data)

    def kept(self, body: Any) -> Any:
        """Nothing of a dry run, which changes nothing."""
        return body if body.get("done", True) else None
