"""/api/v1/packing-lists/: kit lists, their versions and signatures."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from rest_framework import serializers

from gearroom.core.acts import Act, Actor, NotFound
from gearroom.core.api.openapi.description import ViewSchema
from gearroom.core.api.requests.parsing import StrictJSONParser, StrictMultiPartParser
from gearroom.core.api.requests.serializers import ActBody, NoteField, PageQuery, StrictSerializer
from gearroom.core.api.views import ListView, ReadView, UseCaseView, one_of
from kits.api import answers, bodies
from kits.api.fields import hazards_field
from kits.api.lists.not_carried import NotCarriedAnswer, NotCarriedBody, drafts_from
from kits.models import Item, ListLine, ListSection, PackingList, PackingListVersion
from kits.rules.ledger.facts import Criticality
from kits.rules.text.hazards import HAZARDS
from kits.services.lists import drafts, not_carried, packing_lists, publishing, signatures
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.lists.not_carried import MOST_NOT_CARRIED, NotCarriedDraft

CRITICALITIES = [c.value for c in Criticality]
UNITS: dict[str, Any] = {"max_value": 1_000_000}
MOST_SECTIONS = 30


# ------------------------------------------------------------------------------------------ shapes
@answers.Answer.of(ListLine)
class ListLineAnswer(answers.Answer):
    members = ["item", "name", "base_unit", "carry", "never_below", "criticality", "reason"]
    sources = {"item": "item_id", "name": "item.name", "base_unit": "item.base_unit"}
    criticality = serializers.ChoiceField(CRITICALITIES)


@answers.Answer.of(ListSection)
class ListSectionAnswer(answers.Answer):
    members = ["key", "name", "outside", "lines"]
    help_texts = {
        "key": "Stays the same from version to version.",
        "outside": "What is in it is carried beside the bag.",
    }


@answers.Answer.of(PackingListVersion)
class VersionInShort(answers.Answer):
    members = [
        "number", "people", "days", "hazards", "published_at", "signed_by", "signed_on",
        "signed_until",
    ]  # fmt: skip
    help_texts = {"published_at": "Null: a draft."}
    kinds = {datetime: serializers.DateTimeField}
    hazards = serializers.ListField(child=serializers.ChoiceField(list(HAZARDS)))
    signed_by = serializers.CharField(source="signed_by.name", default=None, allow_null=True)


class VersionAnswer(VersionInShort):
    members = [
        "id", "packing_list", "name", "note", "created_at", "created_by", "signature_note",
        "signed_page_type", "sections", "not_carried",
    ]  # fmt: skip
    sources = {"packing_list": "packing_list_id", "name": "packing_list.name"}
    help_texts = {"signed_page_type": "The media type of the signed page; empty if there is none."}
    created_by = serializers.CharField(source="created_by.name", default=None, allow_null=True)
    not_carried = NotCarriedAnswer(many=True)


@answers.Answer.of(PackingList)
class ListAnswer(answers.Answer):
    members = ["id", "name", "note", "retired_on", "versions"]


class ListQuery(PageQuery):
    search = serializers.CharField(required=False, max_length=80, help_text="Part of the name.")


class LineBody(StrictSerializer):
    item = serializers.IntegerField(min_value=1)
    carry = serializers.IntegerField(min_value=1, **UNITS, help_text="The target, in base units.")
    never_below = serializers.IntegerField(min_value=0, default=0, **UNITS)
    criticality = serializers.ChoiceField(CRITICALITIES, default=Criticality.ROUTINE.value)
    reason = serializers.CharField(max_length=300, default="", allow_blank=True)


class SectionBody(StrictSerializer):
    key = serializers.CharField(
        max_length=40, default="", allow_blank=True, help_text="Made from the name if left out."
    )
    name = serializers.CharField(max_length=80)
    outside = serializers.BooleanField(default=False, help_text="Carried beside the bag.")
    lines = bodies.lines(LineBody)


_SECTION_EXAMPLE = {
    "name": "Wounds",
    "lines": [
        {
            "item": 4,
            "carry": 6,
            "never_below": 4,
            "criticality": "must-have",
            "reason": "Two a wound, three wounds.",
        }
    ],
}


class DraftBody(ActBody):
    example = {
        "people": 12, "days": 2, "hazards": ["hill", "winter"], "sections": [_SECTION_EXAMPLE],
    }  # fmt: skip
    people = serializers.IntegerField(min_value=1, max_value=drafts.MOST_PEOPLE)
    days = serializers.IntegerField(min_value=1, max_value=drafts.MOST_DAYS)
    hazards = hazards_field()
    note = NoteField(max_length=500, default="", allow_blank=True)
    sections = bodies.lines(SectionBody, most=MOST_SECTIONS)
    not_carried = bodies.lines(
        NotCarriedBody,
        most=MOST_NOT_CARRIED,
        required=False,
        help_text="What is left out on purpose; if this is left out, it stays as it is.",
    )


class MakeListBody(DraftBody):
    example = {
        "name": "Winter walk", "people": 12, "days": 1, "hazards": ["hill", "winter"],
        "sections": [_SECTION_EXAMPLE],
    }  # fmt: skip
    name = serializers.CharField(max_length=80)
    list_note = serializers.CharField(
        max_length=300,
        default="",
        allow_blank=True,
        help_text="Applies to all versions of the list.",
    )
    sections = bodies.lines(SectionBody, most=MOST_SECTIONS, default=list)


class SignBody(ActBody):
    example = {"until": "2035-12-31", "note": "Looked through with the keeper."}
    until = serializers.DateField(help_text="The last day on which the signature is valid.")
    note = NoteField(max_length=300, default="", allow_blank=True)
    page = serializers.FileField(
        required=False, help_text="The page signed on paper: PDF, PNG or JPEG, in a multipart body."
    )


# ------------------------------------------------------------------------------------------- views
class PackingListView(UseCaseView):
    use_case = "edit_list"
    answers = {200: VersionAnswer}

    def packing_list(self) -> PackingList:
        """The list that the address names."""
        return one_of(packing_lists.all_lists(), "kit list", self.kwargs["id"])

    def version(self, number: int | None = None) -> PackingListVersion:
        """The version that the address names, or another of the list."""
        wanted = self.kwargs["number"] if number is None else number
        return packing_lists.version_of(self.kwargs["id"], wanted)

    def whole(self, row: PackingListVersion) -> PackingListVersion:
        """A version as it is now."""
        return packing_lists.all_versions().get(pk=row.pk)


def draft_from(actor: Actor, data: dict[str, Any], kept: Sequence[NotCarriedDraft] = ()) -> Draft:
    """A draft out of a body; `kept` is left out on purpose where the body does not say. Raises
    NotFound for an item that is not in the catalogue."""
    wanted = {line["item"] for section in data["sections"] for line in section["lines"]}
    items = Item.objects.in_bulk(wanted)
    for pk in sorted(wanted - items.keys()):
        raise NotFound("thing", pk)
    return Draft(
        people=data["people"],
        days=data["days"],
        hazards=data["hazards"],
        note=data["note"],
        sections=[
            SectionDraft(
                section["name"],
                [
                    LineDraft(
                        items[line["item"]],
                        line["carry"],
                        line["never_below"],
                        Criticality(line["criticality"]),
                        line["reason"],
                    )
                    for line in section["lines"]
                ],
                section["key"],
                section["outside"],
            )
            for section in data["sections"]
        ],
        not_carried=drafts_from(actor, data["not_carried"]) if "not_carried" in data else kept,
    )


class Lists(ListView, PackingListView):
    problems = ("name-taken",)
    query = ListQuery
    shows = ListAnswer
    ordering = ("name",)
    filters = {"search": "name__icontains"}
    body = MakeListBody
    answers = {201: VersionAnswer}

    def rows(self, query: dict[str, Any]) -> QuerySet[PackingList]:
        """Kit lists, by name."""
        return packing_lists.all_lists()

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Create a kit list with a first draft."""
        name, note = data.pop("name"), data.pop("list_note")
        return 201, self.whole(
            drafts.make_list(act, name=name, note=note, draft=draft_from(act.actor, data))
        )


class OneList(ReadView, PackingListView):
    shows = ListAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """One kit list with a summary of its versions."""
        return self.packing_list()


class NewDraft(PackingListView):
    problems = ("draft-there",)
    answers = {201: VersionAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Create a new draft, copied from the latest version."""
        return 201, self.whole(drafts.new_draft(act, self.packing_list()))


class OneVersion(ReadView, PackingListView):
    shows = VersionAnswer
    method = "put"
    problems = ("published-already",)
    body = DraftBody

    def read(self, query: dict[str, Any]) -> Any:
        """One version with its sections and items."""
        return self.version()

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Replace a whole draft."""
        version = self.version()
        return 200, self.whole(
            drafts.edit_draft(act, version, draft_from(act.actor, data, not_carried.of(version)))
        )


class PublishBody(ActBody):
    example = {"anyway": True}
    anyway = serializers.BooleanField(
        default=False,
        help_text="Publish it although it lacks what one of its hazards asks for.",
    )


class Publish(PackingListView):
    problems = ("hazard-not-served", "list-empty")
    body = PublishBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Publish a draft: it can no longer be changed, and kits can use it."""
        return 200, self.whole(publishing.publish(act, self.version(), **data))


class Sign(PackingListView):
    use_case = "sign_list"
    problems = ("not-published", "signature-in-the-past")
    body = SignBody
    parser_classes = [StrictJSONParser, StrictMultiPartParser]

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Sign a published version as medical adviser, until a given day."""
        page = data.get("page")
        return 200, self.whole(
            signatures.sign(
                act,
                self.version(),
                until=data["until"],
                note=data["note"],
                page=page.read(signatures.MOST_PAGE_BYTES + 1) if page else b"",
            )
        )


class _PageSchema(ViewSchema):
    def get_response_serializers(self) -> Any:
        """The page in the form it came in."""
        answers = super().get_response_serializers()
        answers.pop(200)
        return {
            **{(200, kind): OpenApiTypes.BINARY for kind in signatures.PAGE_KINDS},
            **answers,
        }


class SignedPage(ReadView, PackingListView):
    schema = _PageSchema()

    def read(self, query: dict[str, Any]) -> Any:
        """The page signed on paper."""
        version = self.version()
        if not version.signed_page_type or version.signed_page is None:
            raise NotFound("signed page of that version")
        kind = version.signed_page_type.rpartition("/")[2]
        name = f"kit-list-{version.packing_list_id}-v{version.number}.{kind}"
        return HttpResponse(
            bytes(version.signed_page),
            content_type=version.signed_page_type,
            headers={
                "Content-Disposition": f'attachment; filename="{name}"',
                "X-Content-Type-Options": "nosniff",
            },
        )
