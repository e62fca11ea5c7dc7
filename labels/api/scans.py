"""Scans: a picture or texts in; what was read, what it means, what was done, what next."""

import uuid
from collections.abc import Mapping
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponseBase
from django.utils.translation import gettext as _, gettext_lazy as _lazy
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from gearroom.core.acts import NOT_GIVEN, Act, Invalid, Unacceptable, beyond_form, document
from gearroom.core.api.openapi.description import UUID_SCHEMA, ViewSchema
from gearroom.core.api.openapi.member_rules import any_of, one_of
from gearroom.core.api.problems import MEDIA_TYPE
from gearroom.core.api.requests.parsing import StrictJSONParser, StrictMultiPartParser, read_object
from gearroom.core.api.requests.serializers import (
    UUID_FORM,
    ActBody,
    NoteField,
    ProblemDocument,
    ScannedField,
)
from gearroom.core.api.views import UseCaseView
from gearroom.core.services.idempotency import Answer
from kits.api import bodies
from kits.api.problems import NAMED_KIT, NOT_TO_GO, PUT_IN, SWAPPING
from kits.models import AsFound
from kits.rules.custody.use import Went
from kits.services.custody.use import ITEM_OR_BATCH
from kits.services.lookup import find
from labels.api.outcomes import ScanAnswer, shown
from labels.rules.codes.scans import QUESTIONS, Intent, Readings, typed_texts
from labels.services.scan import scanning
from labels.services.scan.read_picture import read
from labels.services.scan.resolve import code_in
from labels.services.scan.results import ScanRequest, UsedUnits

MOST_CHARACTERS = 8000
"""Of one text; the largest symbols say about 7,000."""
LEAST_BUDGET_MS, MOST_BUDGET_MS = 20, 5000
_FRAME_MS = 250
_MOST_LINES = 100
_YES = {"true", "True"}
_LABEL_TEXT = 200


class UsedBody(bodies.UseLineBody):
    rules = (any_of(("item", "lot", "label"), ITEM_OR_BATCH),)

    lot = serializers.CharField(required=False, max_length=40, help_text="The batch, by id.")
    label = ScannedField(  # type: ignore[assignment]  # so the API names it
        required=False,
        max_length=_LABEL_TEXT,
        help_text="The batch, by its label: the code, or the text as scanned.",
    )


class ScanBody(bodies.HereBody):
    """Fields that can be sent with a scan, as JSON or as a form."""

    intent = serializers.ChoiceField([str(i) for i in Intent], default=str(Intent.IDENTIFY))
    scan_id = serializers.UUIDField(
        required=False, help_text="The key of this act, where no Idempotency-Key is sent."
    )
    trip = serializers.CharField(
        required=False,
        allow_null=True,
        max_length=130,
        help_text="By id or as source:reference; null for no trip. If left out: the kit's"
        " reserved trip that starts by tomorrow, if the person taking the kit is that"
        " trip's guide.",
    )
    holder = ScannedField(
        required=False,
        max_length=_LABEL_TEXT,
        help_text="The person taking it, by id or by tag: its code, or the text as scanned.",
    )
    due_at = serializers.DateTimeField(
        required=False, allow_null=True, help_text="Null for no return time."
    )
    short_reason = serializers.CharField(max_length=300, default="", allow_blank=True)
    cleared_by = serializers.CharField(
        required=False,
        max_length=40,
        help_text="The person who cleared it by telephone, by id or by tag code.",
    )
    line = serializers.IntegerField(
        required=False,
        min_value=1,
        help_text="“add”: the item on the kit list to add to, as named in an offer.",
    )
    through = serializers.DateField(
        required=False,
        help_text="“add”: the day that the added units must last to; default:"
        " the end of the next trip.",
    )
    take_reason = serializers.CharField(
        max_length=300,
        default="",
        allow_blank=True,
        help_text="The reason for taking it although it is reserved for another trip.",
    )
    swap = serializers.BooleanField(
        default=False, help_text="Take this kit instead of the reserved one, and swap the two."
    )
    emergency = serializers.BooleanField(
        default=False,
        help_text="An emergency: it can be taken whatever its state, and this is recorded.",
    )
    already_gone = serializers.BooleanField(
        default=False,
        help_text="A report of something that has already happened: it is always recorded.",
    )
    as_found = serializers.ChoiceField(AsFound.choices, default=AsFound.SORT_LATER)
    seal_seen = serializers.CharField(
        default="",
        allow_blank=True,
        max_length=40,
        help_text="The seal's number, or its last three characters.",
    )
    sharps_or_blood = serializers.BooleanField(default=False)
    wet = serializers.BooleanField(default=False)
    wrong = serializers.CharField(default="", allow_blank=True, max_length=300)
    incident = serializers.CharField(
        default="",
        allow_blank=True,
        max_length=80,
        help_text="A reference; nothing about casualties.",
    )
    place = serializers.CharField(
        required=False,
        max_length=40,
        help_text="The shelf or section to fill or count, by id or by label code.",
    )


class ScanTexts(ScanBody):
    example = {"text": "DAY-02", "intent": "check-out", "holder": "7"}
    rules = (
        one_of(
            ("text", "texts"),
            _lazy("Send “text” or “texts”, or a picture as multipart/form-data."),
            "text",
        ),
    )

    text = ScannedField(
        required=False,
        max_length=MOST_CHARACTERS,
        allow_blank=True,
        trim_whitespace=False,
        help_text="The text of a label as typed by a scanner or a person; a kit's name also works.",
    )
    texts = serializers.ListField(
        child=ScannedField(max_length=MOST_CHARACTERS, allow_blank=True, trim_whitespace=False),
        required=False,
        min_length=1,
        max_length=scanning.MOST_LABELS,
        help_text="Several at once, such as a guide's tag and a kit.",
    )
    used = bodies.lines(UsedBody, most=_MOST_LINES, required=False)


class ScanPicture(ScanBody):
    from_text = True

    image = serializers.FileField(
        allow_empty_file=True,
        help_text="JPEG, PNG, WebP, GIF, BMP, TIFF or HEIC; the format is detected from the"
        " content.",
    )
    many = serializers.BooleanField(  # type: ignore[assignment]  # so the API names it
        default=False,
        help_text="True if there are several labels: keep reading after the first one.",
    )
    frame = serializers.BooleanField(
        default=False,
        help_text="One frame from a camera: finding nothing is not a problem, and reading takes"
        " less time.",
    )
    budget_ms = serializers.IntegerField(
        required=False,
        min_value=LEAST_BUDGET_MS,
        max_value=MOST_BUDGET_MS,
        help_text="The time limit for reading, in milliseconds.",
    )
    used = NoteField(
        required=False,
        max_length=20_000,
        help_text="A JSON list, like “used” in a JSON body.",
    )

    def validate_used(self, text: str) -> list[dict[str, Any]]:
        """The lines that the JSON text holds."""
        try:
            rows = read_object(b'{"used": %s}' % text.encode())
        except Invalid as error:
            raise _wrong_lines([error.detail]) from error
        lines = ScanTexts(data={"text": "-", **rows})
        if not lines.is_valid():
            raise _wrong_lines(lines.errors.get("used", [_("This must be a list.")]))
        return list(lines.validated_data["used"])


def _wrong_lines(messages: Any) -> Unacceptable:
    """The refusal of lines in a form: to the schema they are some text, so that it is no 400."""
    return Unacceptable(
        "cannot-be-right",
        _("The list of items used could not be read: see “errors”."),
        errors={"used": messages},
    )


class ScanSchema(ViewSchema):
    """Two kinds of body, and a key that may come in either of two ways."""

    def get_request_serializer(self) -> Any:
        """JSON with texts, or a form with a picture."""
        return {"application/json": ScanTexts, "multipart/form-data": ScanPicture}

    def get_response_serializers(self) -> Any:
        """As any view, and 503 when all readers are at work."""
        return {
            **super().get_response_serializers(),
            (503, MEDIA_TYPE): OpenApiResponse(ProblemDocument, "Try again in a moment."),
        }

    def get_override_parameters(self) -> list[Any]:
        """The key as a header, which “scan_id” may stand for."""
        return [
            OpenApiParameter(
                "Idempotency-Key",
                UUID_SCHEMA,
                OpenApiParameter.HEADER,
                description="A new UUID for this request, unless “scan_id” is sent. Only"
                " “identify” needs neither.",
            ),
        ]


class Scans(UseCaseView):
    use_case = "identify"  # the service asks for more, by intent
    token_needs = (
        "the scope `read`; `custody` to take out and hand back, `stock` to check, add, receive and"
        " count"
    )
    problems = (
        "another-kit-is-reserved", "code-wrong", "due-in-the-past", "keep-as-it-came-back",
        "label-not-bound", "makers-code-wrong", "not-enough", "not-ours", "not-wanted-here",
        "nothing-read", "nothing-to-add", "picture-broken", "reserved-for-another", "which-person",
        "who-takes-it", "wrong-label", *NAMED_KIT, *SWAPPING, *PUT_IN, *NOT_TO_GO,
    )  # fmt: skip
    schema = ScanSchema()
    parser_classes = [StrictJSONParser, StrictMultiPartParser]
    key_header = False
    answers = {200: ScanAnswer, 201: ScanAnswer}
    _look = Readings(())
    _kept = True

    def _write(self, request: Request, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Look at the picture first: it takes long, and nothing is written yet."""
        self.require(self.use_case)
        content: Any = request.data
        image = content.get("image")
        if isinstance(image, UploadedFile):
            frame = content.get("frame") in _YES
            budget = _milliseconds(content.get("budget_ms"), _FRAME_MS if frame else None)
            self._look = read(
                image.read(),
                seconds=budget / 1000 if budget else None,
                many=content.get("many") in _YES,
                own=content.get("intent") != str(Intent.RECEIVE),
            )
            image.seek(0)
            if frame and not self._look.seen:
                return Response(self._empty_answer(content))
        if self._without_key(content):
            self._kept = False
            self.read_query(None)
            return self._respond(Answer(*self._perform(uuid.uuid4(), dict(content))))
        return super()._write(request, *args, **kwargs)

    @property
    def body(self) -> type[ActBody]:  # type: ignore[override]  # by the body that came
        """The serializer of the kind of body that was sent."""
        kind = self.request.content_type or ""
        return ScanPicture if kind.startswith("multipart/") else ScanTexts

    def key(self, content: dict[str, Any]) -> uuid.UUID:
        """The header Idempotency-Key, or “scan_id”; one frame of a camera may go without."""
        header = "HTTP_IDEMPOTENCY_KEY" in self.request.META
        scan_id = content.get("scan_id")
        if isinstance(scan_id, str) and not UUID_FORM.fullmatch(scan_id):
            raise Invalid(_("This must be a UUID."), field="scan_id")
        if not header and isinstance(scan_id, str):
            return uuid.UUID(scan_id)
        if self._without_key(content):
            return uuid.uuid4()
        key = super().key(content)
        if isinstance(scan_id, str) and scan_id.lower() != str(key):
            raise beyond_form(
                Invalid(
                    _("“scan_id” and Idempotency-Key are different keys. Send only one of them."),
                    field="scan_id",
                )
            )
        return key

    def _without_key(self, content: Mapping[str, Any]) -> bool:
        """Whether it only asks what something is, and names no act: then nothing is stored."""
        named = "HTTP_IDEMPOTENCY_KEY" in self.request.META or "scan_id" in content
        return not named and content.get("intent", "identify") == "identify"

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Read labels and carry out the requested action for each.

        Send a picture, or a text typed by a scanner or a person. If only one label was read and
        there is a problem with it, the answer is that problem with its status. If several were
        read, each has its own outcome, and the status is 201 if anything was recorded, else 200.
        Identifying, receiving and counting record only the scan itself; identifying without a key
        records nothing.
        """
        act = bodies.here(act, data)
        texts = data["texts"] if "texts" in data else [data.get("text", "")]
        reading = self._look if "image" in data else typed_texts(texts)
        ask = self._ask(act, data)
        answer = scanning.scan(act, reading, ask) if self._kept else scanning.identify(act, reading)
        if answer.stop is not None:
            raise answer.stop
        refusal = answer.refusal
        if refusal is None or refusal.problem is None:
            return 201 if answer.wrote else 200, answer
        problem = document(refusal.problem, self.request.path)
        return refusal.problem.status, {**problem, **shown(answer)}

    def kept(self, body: Any) -> Any:
        """Nothing of a scan that only asks."""
        return None if dict(self.request.data).get("intent", Intent.IDENTIFY) in QUESTIONS else body

    def _ask(self, act: Act, data: dict[str, Any]) -> ScanRequest:
        return ScanRequest(
            intent=Intent(data["intent"]),
            trip=bodies.trip_of(act, data),
            holder=find.person(act.actor, code_in(data["holder"])) if "holder" in data else None,
            due_at=data.get("due_at", NOT_GIVEN),
            short_reason=data["short_reason"],
            cleared_by=find.person(act.actor, data["cleared_by"]) if "cleared_by" in data else None,
            line=data.get("line"),
            through=data.get("through"),
            take_reason=data["take_reason"],
            swap=data["swap"],
            emergency=data["emergency"],
            already_gone=data["already_gone"],
            as_found=AsFound(data["as_found"]),
            seal_seen=data["seal_seen"],
            sharps_or_blood=data["sharps_or_blood"],
            wet=data["wet"],
            wrong=data["wrong"],
            incident=data["incident"],
            used=[_used(row) for row in data.get("used", [])],
            place=find.place(act.actor, data["place"]) if "place" in data else None,
        )

    def _empty_answer(self, content: dict[str, Any]) -> dict[str, Any]:
        intent = content.get("intent")
        return {
            "scan_id": str(self.key({**content, "intent": "identify"})),
            "intent": intent if intent in set(Intent) else str(Intent.IDENTIFY),
            "rung": self._look.rung,
            "outcomes": [],
        }


def _milliseconds(text: Any, otherwise: int | None) -> int | None:
    """The budget as far as it can be believed; a wrong one is refused with the rest of the form."""
    if not isinstance(text, str) or not (text.isascii() and text.isdigit() and len(text) < 5):
        return otherwise
    return min(max(int(text), LEAST_BUDGET_MS), MOST_BUDGET_MS)


def _used(row: dict[str, Any]) -> UsedUnits:
    lot = find.lot(row["lot"]) if "lot" in row else None
    if "label" in row:
        lot = find.lot(code_in(row["label"]))
    item = find.item(row["item"]) if "item" in row else None
    return UsedUnits(row["units"], item, lot, row.get("section", ""), Went(row["went"]))
