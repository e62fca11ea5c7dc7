"""Kit lists: drafted, published, signed, compared."""

from io import BytesIO
from typing import Any

import pytest
from PIL import Image

from gearroom.core.rules.roles import Role
from kits.models import ListLine, PackingListVersion
from kits.rules.ledger.facts import Criticality
from kits.services.ledger import audit
from kits.services.lists import comparison, drafts, publishing, signatures
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from tests.core.api.made import WRONG, Caller, is_problem
from tests.kits import factories as make
from tests.kits.problems import refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def call() -> Caller:
    """A keeper's program, where there is nothing yet."""
    return make.caller(make.person("Kim", Role.KEEPER, make.room()))


def body(*lines: dict[str, Any], **more: Any) -> dict[str, Any]:
    sections = [{"name": "Main pouch", "lines": list(lines)}]
    return {"name": "Cave day", "people": 10, "days": 1, "sections": sections, **more}


def next_version(w: make.World, *sections: SectionDraft, **more: Any) -> PackingListVersion:
    """A published second version of the school's day list."""
    act = make.act(w.instructor)
    draft = drafts.new_draft(act, w.version.packing_list)
    said = Draft(people=10, days=1, sections=sections, **more)
    return publishing.publish(act, drafts.edit_draft(act, draft, said))


# ------------------------------------------------------------------------------------- drafting
def test_a_list_starts_as_a_draft_with_keys_for_its_sections(call: Caller) -> None:
    gauze = make.item("Gauze")
    line = {"item": gauze.pk, "carry": 6, "never_below": 2, "criticality": "must-have"}
    made = call.post("packing-lists/", body(line, hazards=["rope", "cave"])).json()
    assert (made["number"], made["published_at"], made["hazards"]) == (1, None, ["cave", "rope"])
    (section,) = made["sections"]
    assert section["key"] == "main-pouch"
    assert section["lines"][0]["never_below"] == 2
    assert call.get(f"packing-lists/{made['packing_list']}/versions/1/").json() == made


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"carry": 0}, 400),
        ({"carry": -1}, 400),
        ({"carry": 2.5}, 400),
        ({"carry": "6"}, 400),
        ({"carry": 10**7}, 400),
        ({"carry": 2, "never_below": 3}, 422),
        ({"criticality": "vital"}, 400),
        ({"colour": "green"}, 400),
        ({"item": 10**6}, 404),
    ],
)
def test_a_line_that_cannot_be_is_refused_and_nothing_is_made(
    call: Caller, change: dict[str, Any], status: int
) -> None:
    line = {"item": make.item("Gauze").pk, "carry": 6, **change}
    answer = call.post("packing-lists/", body(line))
    is_problem(answer, status, {**WRONG, 404: "not-found"}[status])
    assert not PackingListVersion.objects.exists()


@pytest.mark.parametrize(
    ("change", "field", "status"),
    [
        ({"people": 0}, "people", 400),
        ({"days": 0}, "days", 400),
        ({"days": 5000}, "days", 400),
        ({"hazards": ["lava"]}, "hazards.0", 400),
        ({"hazards": "cave"}, "hazards", 400),
        ({"name": " "}, "name", 400),
        ({"sections": [{"name": " ", "lines": []}]}, "sections.0.name", 400),
        ({"sections": [{"name": "A", "key": "Not A Key", "lines": []}]}, "sections", 422),
        ({"sections": [{"name": "A", "lines": []}, {"name": "a", "lines": []}]}, "sections", 422),
    ],
)
def test_what_a_list_cannot_say_is_refused_by_field(
    call: Caller, change: dict[str, Any], field: str, status: int
) -> None:
    answer = call.post("packing-lists/", body(**change))
    assert list(is_problem(answer, status, WRONG[status])["errors"]) == [field]


def test_a_thing_is_on_one_line_of_a_section_and_may_be_in_two_sections(call: Caller) -> None:
    line = {"item": make.item("Gauze").pk, "carry": 1}
    is_problem(call.post("packing-lists/", body(line, line)), 422, "cannot-be-right")
    two = [{"name": "Front", "lines": [line]}, {"name": "Back", "lines": [line]}]
    assert call.post("packing-lists/", body(sections=two)).status_code == 201


def test_a_draft_is_put_whole_and_only_as_it_was_read(call: Caller) -> None:
    gauze, tape = make.item("Gauze"), make.item("Tape")
    made = call.post("packing-lists/", body({"item": gauze.pk, "carry": 6})).json()
    path = f"packing-lists/{made['packing_list']}/versions/1/"
    read = call.get(path)
    said = {
        "people": 12,
        "days": 2,
        "sections": [
            {"key": "main-pouch", "name": "Main", "lines": [{"item": tape.pk, "carry": 1}]}
        ],
    }
    done = call("PUT", path, said, if_match=read["ETag"])
    assert done.status_code == 200
    assert [line["name"] for s in done.json()["sections"] for line in s["lines"]] == ["Tape"]
    assert done.json()["sections"][0]["key"] == "main-pouch"
    is_problem(call("PUT", path, said, if_match=read["ETag"]), 412, "changed-since")


def test_a_new_draft_copies_the_latest_version_with_its_keys(w: make.World) -> None:
    act = make.act(w.instructor)
    draft = drafts.new_draft(act, w.version.packing_list)
    assert (draft.number, draft.published_at, draft.signed_by) == (2, None, None)
    assert drafts.draft_of(draft).sections == drafts.draft_of(w.version).sections
    with refused("draft-there"):
        drafts.new_draft(act, w.version.packing_list)


def test_a_published_version_never_changes(w: make.World) -> None:
    with refused("published-already"):
        drafts.edit_draft(make.act(w.keeper), w.version, Draft(people=1, days=1))
    assert ListLine.objects.filter(section__version=w.version).count() == 4


def test_a_list_without_a_line_is_not_published(call: Caller) -> None:
    made = call.post("packing-lists/", body()).json()
    path = f"packing-lists/{made['packing_list']}/versions/1/publish/"
    is_problem(call.post(path), 409, "list-empty")


def test_guides_neither_draft_nor_sign(w: make.World) -> None:
    guide, keeper = make.caller(w.guide), make.caller(w.keeper)
    path = f"packing-lists/{w.version.packing_list_id}/versions/"
    is_problem(guide.post(path), 403, "role-missing")
    sign = {"until": make.days(100).isoformat()}
    is_problem(keeper.post(f"{path}1/sign/", sign), 403, "role-missing")


# -------------------------------------------------------------------------------------- signing
def test_signing_until_a_day_makes_kits_fit_no_longer_than_that(w: make.World) -> None:
    assert make.fresh(w.day_01).fit_until == make.days(300)
    signatures.sign(make.act(w.adviser), w.version, until=make.days(40))
    assert make.fresh(w.day_01).fit_until == make.days(40)
    assert not list(audit.findings())


def test_a_draft_is_not_signed_nor_anything_until_a_day_past(w: make.World) -> None:
    act = make.act(w.adviser)
    draft = drafts.new_draft(act, w.version.packing_list)
    with refused("not-published"):
        signatures.sign(act, draft, until=make.days(10))
    with refused("signature-in-the-past", 422):
        signatures.sign(act, w.version, until=make.days(-2))


def png() -> bytes:
    out = BytesIO()
    Image.new("L", (40, 20)).save(out, "PNG")
    return out.getvalue()


def test_the_signed_page_is_kept_and_handed_out_as_it_came(w: make.World) -> None:
    call = make.caller(w.adviser)
    path = f"packing-lists/{w.version.packing_list_id}/versions/1/"
    page, boundary = png(), "seam"
    sent = (
        (
            f'--{boundary}\r\nContent-Disposition: form-data; name="until"\r\n\r\n'
            f"{make.days(90).isoformat()}\r\n"
            f'--{boundary}\r\nContent-Disposition: form-data; name="page"; filename="page.txt"\r\n'
            "Content-Type: text/plain\r\n\r\n"
        ).encode()
        + page
        + f"\r\n--{boundary}--\r\n".encode()
    )
    done = call(
        "POST", f"{path}sign/", sent, content_type=f"multipart/form-data; boundary={boundary}"
    )
    assert done.json()["signed_page_type"] == "image/png"
    back = call.get(f"{path}signed-page/")
    assert back["Content-Type"] == "image/png"
    assert back["X-Content-Type-Options"] == "nosniff"
    assert back.content == page


@pytest.mark.parametrize(
    "page", [b"", b"hello", b"%PDF-1.7\nno end", b"\x89PNG\r\n\x1a\nrubbish", b"GIF89a"]
)
def test_only_a_whole_pdf_png_or_jpeg_is_a_signed_page(page: bytes) -> None:
    with refused("invalid-request", 400):
        signatures.page_kind(page)
    assert signatures.page_kind(b"%PDF-1.7\n...\n%%EOF\n") == "application/pdf"


def test_a_page_that_is_too_large_is_refused() -> None:
    with refused("too-large", 413):
        signatures.page_kind(b"%PDF-" + bytes(signatures.MOST_PAGE_BYTES))


def test_a_version_without_a_page_has_none_to_show(w: make.World) -> None:
    path = f"packing-lists/{w.version.packing_list_id}/versions/1/signed-page/"
    is_problem(make.caller(w.guide).get(path), 404, "not-found")


# ------------------------------------------------------------------------- comparing, what changes
def test_two_versions_are_compared_line_by_line(w: make.World) -> None:
    tape = make.item("Tape")
    next_version(
        w,
        SectionDraft("Main", [LineDraft(w.dressing, 8, 4, Criticality.MUST_HAVE)], "main"),
        SectionDraft("Lid", [LineDraft(tape, 1)], "lid"),
        hazards=["cave"],
    )
    path = f"packing-lists/{w.version.packing_list_id}/versions/2/compare/1/"
    found = make.caller(w.guide).get(path).json()
    assert [line["name"] for line in found["added"]] == ["Tape"]
    assert {line["name"] for line in found["removed"]} == {"Shears", "Plasters", "Pain tablets"}
    (change,) = found["changed"]
    assert (change["what"], change["before"]["carry"], change["after"]["carry"]) == (
        ["carry"],
        6,
        8,
    )
    assert found["said"] == [{"what": "hazards", "before": [], "after": ["cave"]}]
    assert found["reasons"] == []


def test_another_reason_for_a_line_is_part_of_the_comparison(w: make.World) -> None:
    line = LineDraft(w.dressing, 6, 4, Criticality.MUST_HAVE, reason="Sharp rock.")
    next_version(w, SectionDraft("Main", [line], "main"))
    path = f"packing-lists/{w.version.packing_list_id}/versions/2/compare/1/"
    (found,) = make.caller(w.guide).get(path).json()["reasons"]
    assert (found["section"], found["name"]) == ("main", w.dressing.name)
    assert found["after"] == "Sharp rock." != found["before"]


def test_it_says_what_following_a_version_takes_from_stock(w: make.World) -> None:
    version = next_version(
        w, SectionDraft("Main", [LineDraft(w.dressing, 20), LineDraft(w.shears, 1)], "main")
    )
    path = f"packing-lists/{w.version.packing_list_id}/versions/2/effect/"
    found = make.caller(w.keeper).get(path).json()
    kits = {row["kit"]: row for row in found["kits"]}
    # DAY-01 holds 6 dressings and DAY-02 none: 14 each over what either wants now.
    assert kits["DAY-01"]["more"] == [{"item": w.dressing.pk, "name": w.dressing.name, "units": 14}]
    assert kits["DAY-01"]["spare"] == [{"item": w.tablets.pk, "name": w.tablets.name, "units": 8}]
    assert {row["name"]: row["units"] for row in kits["DAY-02"]["fewer"]} == {"Pain tablets": 8}
    (stock,) = found["stock"]
    assert (stock["wanted"], stock["in_stock"], stock["missing"]) == (28, 22, 6)
    assert comparison.effect(make.actor(w.stranger), version).kits == []


def test_asking_what_would_change_takes_no_more_queries_for_more_kits(
    w: make.World, django_assert_max_num_queries: Any
) -> None:
    version = next_version(w, SectionDraft("Main", [LineDraft(w.dressing, 20)], "main"))
    for number in range(8):
        make.kit(f"MORE-{number}", w.version, w.store)
    with django_assert_max_num_queries(22):
        assert len(comparison.effect(make.actor(w.keeper), version).kits) == 10


def test_lists_are_shown_with_their_versions_in_few_queries(
    w: make.World, django_assert_max_num_queries: Any
) -> None:
    for number in range(6):
        make.kit_list(f"List {number}", {"main": [(w.shears, 1, 1, Criticality.ROUTINE)]})
    call = make.caller(w.guide)
    with django_assert_max_num_queries(5):
        rows = call.get("packing-lists/").json()["results"]
    assert len(rows) == 7
    (day,) = [row for row in rows if row["name"] == "Day walk"]
    assert day["versions"][0]["signed_by"] == "Ada"


def test_a_signature_that_has_lapsed_is_given_again(w: make.World) -> None:
    PackingListVersion.objects.filter(pk=w.version.pk).update(
        signed_on=make.days(-9), signed_until=make.days(-1)
    )
    signatures.sign(make.act(w.adviser), w.version, until=make.days(5), note="Seen again.")
    again = PackingListVersion.objects.get(pk=w.version.pk)
    assert (again.signed_until, again.signature_note) == (make.days(5), "Seen again.")
