"""What is printed: label sheets and pictures, kit tags, lid cards, sign-out sheets."""

from typing import Any, ClassVar

from django.http import HttpResponse, HttpResponseBase
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from rest_framework import serializers
from rest_framework.request import Request

from gearroom.core.acts import Act, Actor, Invalid
from gearroom.core.api.any_view import View
from gearroom.core.api.derived_serializer import DerivedSerializer
from gearroom.core.api.openapi.description import ViewSchema
from gearroom.core.api.problems import in_form
from gearroom.core.api.requests.serializers import ActBody, QuerySerializer, StrictSerializer
from gearroom.core.api.views import ReadView, UseCaseView
from kits.api.problems import NAMED_KIT, PRINTING
from kits.services.kits import inspection
from kits.services.labelling import labelling
from kits.services.lookup import find
from kits.services.stock.tables import wall_calendar
from labels import printing
from labels.api.labels import wanted_codes
from labels.rules.layout import Offset, Sheet, SheetError, marks
from labels.rules.layout.wall_calendar import PAPERS
from labels.services.paper import calendars, kit_record, paper, printer, sheets

_PDF = "application/pdf"
_MEASURES = ("left_mm", "top_mm", "across_mm", "down_mm")
_ORDERS = ("as-given", "name", "room", "code")


class PaperSchema(ViewSchema):
    """A view that answers with a file of one of the kinds in its `media`."""

    def get_response_serializers(self) -> Any:
        """The file, and every problem there may be instead."""
        result = super().get_response_serializers()
        result.pop(200, None)
        return {
            **{(200, media): OpenApiTypes.BINARY for media in self.view.media},
            **result,
            **({} if self._writes() else self._problems(result)),
        }

    def _problems(self, found: Any) -> Any:
        any_problem = next(iter(found.values()))
        more = {
            409: "Not possible at the moment",
            422: "A value cannot be right, or the content does not fit",
        }
        media = next(iter(found))[1]
        return {
            (status, media): type(any_problem)(any_problem.response, text)
            for status, text in more.items()
        }


class _PaperView(ReadView):
    """Something to print: a PDF, unless it says otherwise."""

    schema = PaperSchema()
    media: ClassVar[tuple[str, ...]] = (_PDF,)
    reads_as = "print_labels"


def _file(content: bytes, media: str, name: str) -> HttpResponse:
    return HttpResponse(
        content,
        content_type=media,
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )


# ------------------------------------------------------------------------------------------ sheets
class OffsetBody(StrictSerializer):
    dx_mm = serializers.FloatField(default=0.0, min_value=-10, max_value=10)
    dy_mm = serializers.FloatField(default=0.0, min_value=-10, max_value=10)
    scale_x = serializers.FloatField(default=1.0, min_value=0.95, max_value=1.05)
    scale_y = serializers.FloatField(default=1.0, min_value=0.95, max_value=1.05)


class SheetBody(ActBody):
    example = {"labels": ["9C5G-K64D"], "sheet": "a4-3x7", "preview": True}
    labels = serializers.ListField(
        child=serializers.CharField(max_length=20),
        min_length=1,
        max_length=paper.MOST_PRINTED,
        help_text="The labels' codes.",
    )
    sheet = serializers.CharField(default=sheets.DEFAULT_SHEET, max_length=60)
    start_cell = serializers.IntegerField(
        default=1,
        min_value=1,
        max_value=2500,
        help_text="The label to start at on a partly used sheet; 1 is top left.",
    )
    copies = serializers.IntegerField(default=1, min_value=1, max_value=100)
    order = serializers.ChoiceField(_ORDERS, default="as-given")
    offset = OffsetBody(required=False, help_text="The printer's correction, from the test page.")
    preview = serializers.BooleanField(
        default=False, help_text="Print a preview, marked as such; its codes lead nowhere."
    )


class Sheets(View):
    """Print labels on a sheet, as PDF.

    Every symbol is read back from the rendered page before it is handed over. Refused while no
    public address is set, except for a preview. It changes nothing but when labels were printed,
    so it takes no key.
    """

    use_case = "print_labels"
    problems = ("label-cancelled", *PRINTING)
    schema = PaperSchema()
    media: ClassVar = (_PDF,)
    body = SheetBody
    key_header = False
    answers: ClassVar[dict[int, Any]] = {}

    def post(self, request: Request, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """The PDF."""
        self.require(self.use_case)
        self.read_query(None)
        serializer = self.body(data=dict(request.data))
        serializer.is_valid(raise_exception=True)
        with in_form():
            pdf = self.printed(self.actor, serializer.validated_data)
        return _file(pdf, _PDF, "labels.pdf")

    def printed(self, actor: Actor, data: dict[str, Any]) -> bytes:
        """The labels that a body names, on the sheet that it names."""
        return paper.print_sheet(
            Act(actor),
            paper.labels_of_codes(actor, wanted_codes(data["labels"])),
            sheets.sheet(data["sheet"]),
            start_cell=data["start_cell"],
            copies=data["copies"],
            order=data["order"],
            offset=Offset(**data["offset"]) if "offset" in data else None,
            preview=data["preview"],
        )


class HoleBody(StrictSerializer):
    diameter_mm = serializers.FloatField(min_value=1, max_value=20)
    centre_from_top_mm = serializers.FloatField(min_value=1, max_value=100)
    clear_mm = serializers.FloatField(default=2.0, min_value=0, max_value=20)


class LayoutBody(ActBody):
    example = {
        "name": "Our sheet", "page_width_mm": 210, "page_height_mm": 297, "columns": 2,
        "rows": 5, "cell_width_mm": 95, "cell_height_mm": 50, "left_mm": 10, "top_mm": 20,
    }  # fmt: skip
    name = serializers.CharField(max_length=60)
    page_width_mm = serializers.FloatField(min_value=5, max_value=1000)
    page_height_mm = serializers.FloatField(min_value=5, max_value=1000)
    columns = serializers.IntegerField(min_value=1, max_value=50)
    rows = serializers.IntegerField(min_value=1, max_value=50)
    cell_width_mm = serializers.FloatField(min_value=5, max_value=1000)
    cell_height_mm = serializers.FloatField(min_value=5, max_value=1000)
    left_mm = serializers.FloatField(default=0.0, min_value=0, max_value=1000)
    top_mm = serializers.FloatField(default=0.0, min_value=0, max_value=1000)
    pitch_x_mm = serializers.FloatField(
        default=0.0,
        min_value=0,
        max_value=1000,
        help_text="From one label’s left edge to the next one’s, in mm; 0 if they touch.",
    )
    pitch_y_mm = serializers.FloatField(default=0.0, min_value=0, max_value=1000)
    roll = serializers.BooleanField(default=False, help_text="Each label is on its own page.")
    cut = serializers.BooleanField(default=False, help_text="Print cutting marks in the margin.")
    hole = HoleBody(required=False, allow_null=True)
    dx_mm = serializers.FloatField(
        default=0.0,
        min_value=-10,
        max_value=10,
        help_text="How far to move everything to the right.",
    )
    dy_mm = serializers.FloatField(default=0.0, min_value=-10, max_value=10)


class LayoutAnswer(DerivedSerializer):
    shown = Sheet
    members = [
        "key", "name", "page_width_mm", "page_height_mm", "columns", "rows", "cell_width_mm",
        "cell_height_mm", "left_mm", "top_mm", "pitch_x_mm", "pitch_y_mm", "roll", "cut",
    ]  # fmt: skip
    help_texts = {"key": "The value for “sheet”."}
    own = serializers.BooleanField(help_text="True if it was added here; false if it is built in.")
    cells = serializers.IntegerField()
    dx_mm = serializers.FloatField()
    dy_mm = serializers.FloatField()

    def to_representation(self, kept: sheets.StoredSheet) -> Any:
        """The sheet and its printer's correction."""
        own = {"own": kept.own, "cells": kept.sheet.cells}
        return super().to_representation({**vars(kept.sheet), **vars(kept.offset), **own})


class LayoutsAnswer(serializers.Serializer[Any]):
    layouts = LayoutAnswer(many=True)


class Layouts(ReadView, UseCaseView):
    use_case = "print_labels"
    problems = ("name-taken", *PRINTING)
    shows = LayoutsAnswer
    body = LayoutBody
    answers = {201: LayoutAnswer}

    def read(self, query: dict[str, Any]) -> Any:
        """The sheets and rolls that labels can be printed on: built-in ones and your own."""
        return {"layouts": sheets.sheets()}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Add a sheet of your own by its measurements, which are checked."""
        name, dx_mm, dy_mm = (data.pop(field) for field in ("name", "dx_mm", "dy_mm"))
        return 201, sheets.add_sheet(act, name, data, dx_mm=dx_mm, dy_mm=dy_mm)


class CalibrationQuery(QuerySerializer):
    sheet = serializers.CharField(default=sheets.DEFAULT_SHEET, max_length=60)
    left_mm = serializers.FloatField(required=False, min_value=0, max_value=50)
    top_mm = serializers.FloatField(required=False, min_value=0, max_value=50)
    across_mm = serializers.FloatField(required=False, min_value=1, max_value=200)
    down_mm = serializers.FloatField(required=False, min_value=1, max_value=200)


def _measured(kept: sheets.StoredSheet, data: dict[str, Any]) -> Offset | None:
    if not (measures := [data[name] for name in _MEASURES if name in data]):
        return None
    if len(measures) < len(_MEASURES):
        raise Invalid(_("Send all four measurements, or none."))
    try:
        return marks(kept.sheet).offset(*measures)
    except SheetError as error:
        raise printer.as_problem(error) from error


class TestPage(_PaperView):
    read_problems = PRINTING
    query = CalibrationQuery
    __test__ = False

    def read(self, query: dict[str, Any]) -> Any:
        """The test page, which shows how far out of place a printer prints.

        It is corrected if measurements are sent.
        """
        kept = sheets.sheet(query["sheet"])
        return _file(paper.test_page(kept, _measured(kept, query)), _PDF, "test-page.pdf")


@DerivedSerializer.of(Offset)
class OffsetAnswer(DerivedSerializer):
    pass


class Calibration(ReadView):
    reads_as = "print_labels"
    read_problems = ("card-too-long", "label-too-small", "read-back-failed")
    query = CalibrationQuery
    shows = OffsetAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """The correction calculated from measurements of the test page."""
        return _measured(sheets.sheet(query["sheet"]), query) or Offset()


# --------------------------------------------------------------------------- one label, kits, rooms
class PreviewQuery(QuerySerializer):
    preview = serializers.BooleanField(default=False)


class PictureQuery(PreviewQuery):
    form = serializers.ChoiceField(["png", "svg"], default="png")
    dpi = serializers.ChoiceField(["203", "300", "600"], default="300")
    sheet = serializers.CharField(default=sheets.PICTURE_SHEET, max_length=60)


class Picture(_PaperView):
    read_problems = ("label-cancelled", *PRINTING)
    media = ("image/png", "image/svg+xml")
    query = PictureQuery

    def read(self, query: dict[str, Any]) -> Any:
        """One label as a picture: PNG at the printer's dots per inch, or SVG."""
        wanted = labelling.one_of(self.actor, self.kwargs["code"])
        (label,) = paper.labels_of_codes(self.actor, [wanted.code])
        on, form = sheets.sheet(query["sheet"]).sheet, query["form"]
        content = paper.picture(
            label, form=form, dpi=int(query["dpi"]), on=on, preview=query["preview"]
        )
        return _file(
            content, "image/png" if form == "png" else "image/svg+xml", f"{label.code}.{form}"
        )


class TagQuery(PreviewQuery):
    sheet = serializers.CharField(default=sheets.TAG_SHEET, max_length=60)


class Tag(_PaperView):
    read_problems = ("no-label", "not-sealed", *NAMED_KIT, *PRINTING)
    query = TagQuery

    def read(self, query: dict[str, Any]) -> Any:
        """The tag of a sealed kit: first expiry, seal, who sealed it and the code."""
        kit = find.kit(self.actor, self.kwargs["kit"])
        return _file(
            paper.kit_tag(kit, sheets.sheet(query["sheet"]).sheet, preview=query["preview"]),
            _PDF,
            "tag.pdf",
        )


class CardQuery(PreviewQuery):
    size = serializers.ChoiceField(["a5", "a4-folded"], default="a5")


class Card(_PaperView):
    read_problems = ("no-label", *NAMED_KIT, *PRINTING)
    query = CardQuery

    def read(self, query: dict[str, Any]) -> Any:
        """The card for a kit's lid: items by pouch, person responsible, cautions and code."""
        kit = find.kit(self.actor, self.kwargs["kit"])
        size: printing.CardFormat = query["size"]
        return _file(
            paper.lid_card(self.actor, kit, size, preview=query["preview"]),
            _PDF,
            "card.pdf",
        )


class KitRecordQuery(QuerySerializer):
    on = serializers.DateField(required=False, help_text="As of the end of this day; default: now.")
    known_by = serializers.DateTimeField(
        required=False, help_text="As known at that time; default: as known today."
    )
    since = serializers.DateField(
        required=False, help_text="Acts from this day on; default: a year before."
    )


class KitRecord(_PaperView):
    reads_as = "read_history"
    read_problems = (*NAMED_KIT, *PRINTING)
    query = KitRecordQuery

    def read(self, query: dict[str, Any]) -> Any:
        """A kit's record as of a day, for an inspector: status and reasons, kit list and signature,
        contents by pouch, checks, seals, who had it, recalls and corrections.

        With the same “known_by” it says the same whenever it is asked for.
        """
        kit = find.kit(self.actor, self.kwargs["kit"])
        of = inspection.inspection(self.actor, kit, **query)
        return _file(kit_record.kit_record(of), _PDF, "record.pdf")


class SignOutSheet(_PaperView):
    read_problems = PRINTING
    query = PreviewQuery

    def read(self, query: dict[str, Any]) -> Any:
        """The paper sheet for signing kits out when phones are not working."""
        room = find.room(self.actor, self.kwargs["room"])
        return _file(
            paper.sign_out_sheet(room, preview=query["preview"]), _PDF, "sign-out-sheet.pdf"
        )


class CalendarQuery(QuerySerializer):
    paper = serializers.ChoiceField(sorted(PAPERS), default="a4")


class WallCalendar(_PaperView):
    reads_as = "look"
    read_problems = PRINTING
    query = CalendarQuery

    def read(self, query: dict[str, Any]) -> Any:
        """What goes out of date in a gear room's kits in the next twelve months, for the wall."""
        calendar = wall_calendar.of_room(self.actor, find.room(self.actor, self.kwargs["room"]))
        return _file(calendars.wall_calendar(calendar, query["paper"]), _PDF, "wall-calendar.pdf")
