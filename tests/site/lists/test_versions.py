"""Versions of a kit list on the pages: compared, published, signed by the adviser, followed."""

import io
import re
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from kits.models import Kit, ListLine, PackingListVersion
from kits.services.lists import drafts
from tests.kits import factories as make
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of
from tests.site.lists.draft_forms import edited, form_of, send

pytestmark = PAGES_ON_SQLITE


def at(version: PackingListVersion, rest: str = "") -> str:
    return f"/lists/{version.packing_list_id}/{version.number}/{rest}"


# ------------------------------------------------------------------ comparing, publishing, signing
def test_two_versions_are_held_against_each_other(
    world: make.World, draft: PackingListVersion
) -> None:
    client = browser(world.instructor)
    fields = form_of(edited(client, draft, do="row main"))
    changes = {f"carry-main.{world.dressing.pk}": "9", "item-+1": "Pressure gauge"}
    send(client, draft, fields, people="14", gone=f"main.{world.shears.pk}", **changes)

    page = text_of(client.get(at(draft, "compare/")))

    assert "version 2 compared with 1" in page
    assert "Pressure gauge Main new" in page
    assert "Shears Main removed" in page
    assert "6 → 9" in page
    assert "10 → 14" in page
    assert "14 → 10" in text_of(client.get(at(world.version, "compare/") + "?with=2"))


def test_only_one_version_has_nothing_to_be_compared_with(world: make.World) -> None:
    assert browser(world.guide).get(at(world.version, "compare/")).status_code == 404


def test_another_reason_is_shown_where_two_versions_are_compared(
    world: make.World, draft: PackingListVersion
) -> None:
    line = ListLine.objects.get(section__version=draft, item=world.shears)
    ListLine.objects.filter(pk=line.pk).update(reason="Straps and cloth.")

    page = text_of(browser(world.adviser).get(at(draft, "compare/")))

    assert re.search(r"Shears\s+\S.* → Straps and cloth\.", page)


def test_an_empty_list_is_not_published(world: make.World) -> None:
    made = drafts.make_list(make.act(world.instructor), name="Bare", draft=drafts.Draft(4, 1))

    answer = post(browser(world.instructor), at(made, "publish/"))

    assert answer.status_code == 409
    assert "Add an item first" in text_of(answer)


def test_a_draft_is_published_then_signed_with_the_page_attached(
    world: make.World, draft: PackingListVersion
) -> None:
    post(browser(world.instructor), at(draft, "publish/"))
    client = browser(world.adviser)
    assert '<a class="button go" href="#sign">' in client.get(at(draft)).content.decode()
    picture = io.BytesIO()
    Image.new("L", (40, 60), 255).save(picture, "PNG")
    page = SimpleUploadedFile("scan.png", picture.getvalue())

    post(client, at(draft, "sign/"), until=make.days(200).isoformat(), note="Reviewed", page=page)

    draft.refresh_from_db()
    assert (draft.signed_by, draft.signed_until) == (world.adviser, make.days(200))
    assert draft.signed_page_type == "image/png"
    link = present(
        re.search(r'href="(/api/[^"]*signed-page/)"', client.get(at(draft)).content.decode())
    )[1]
    answer = client.get(link)
    assert (answer.status_code, answer["Content-Type"]) == (200, "image/png")


@pytest.mark.parametrize(
    ("said", "status", "says"),
    [
        ({"page": b"MZ not a page"}, 400, "must be a complete PDF, PNG or JPEG"),
        ({"page": b"%PDF-" + b"x" * (5 * 2**20)}, 413, "at most 5 MiB"),
        ({"until": "2020-01-01"}, 422, "The last day of the signature is in the past"),
        ({"until": ""}, 400, "Enter the last day"),
        ({"until": "soon"}, 400, "such as 2026-05-31"),
    ],
)
def test_a_signature_that_will_not_do_is_refused_with_the_form_still_there(
    world: make.World,
    draft: PackingListVersion,
    said: dict[str, Any],
    status: int,
    says: str,
) -> None:
    post(browser(world.instructor), at(draft, "publish/"))
    fields = {"until": make.days(9).isoformat(), "note": "kept", **said}
    if "page" in said:
        fields["page"] = SimpleUploadedFile("page.pdf", said["page"])

    answer = post(browser(world.adviser), at(draft, "sign/"), **fields)

    assert answer.status_code == status
    assert says in text_of(answer)
    assert 'value="kept"' in answer.content.decode()
    draft.refresh_from_db()
    assert draft.signed_by is None


def test_only_the_medical_adviser_signs(world: make.World) -> None:
    client = browser(world.keeper)

    assert "Sign as medical adviser" not in text_of(client.get(at(world.version)))
    answer = post(client, at(world.version, "sign/"), until=make.days(9).isoformat())
    assert answer.status_code == 403


@pytest.mark.parametrize("rest", ["edit/", "instead/"])
def test_a_guide_edits_no_list(world: make.World, draft: PackingListVersion, rest: str) -> None:
    assert browser(world.guide).get(at(draft, rest)).status_code == 403
    assert post(browser(world.guide), at(draft, "publish/")).status_code == 403


# --------------------------------------------------------------------------- what it would change
def test_the_lists_say_how_many_kits_follow_an_earlier_version_than_the_newest(
    world: make.World, draft: PackingListVersion
) -> None:
    client = browser(world.instructor)
    assert "an earlier version" not in text_of(client.get("/lists/"))

    post(client, at(draft, "publish/"))

    page = client.get("/lists/")
    assert "2 of your kits use it, 2 of them an earlier version" in text_of(page)
    assert f'href="{at(draft, "effect/")}"' in page.content.decode()


def test_it_says_which_kits_would_change_what_that_takes_and_lets_them_follow(
    world: make.World, draft: PackingListVersion
) -> None:
    client = browser(world.instructor)
    changes = {f"carry-main.{world.dressing.pk}": "40", "gone": f"main.{world.shears.pk}"}
    edited(client, draft, **changes)
    effect = at(draft, "effect/")

    page = text_of(client.get(effect))
    assert "34 × Wound dressing" in page
    assert "Left over in the kit: 1 × Shears" in page
    assert re.search(r"Wound dressing 10 × 12 Main store 68 22 46", page)
    assert "Switch the selected kits" not in page
    post(client, at(draft, "publish/"))
    assert "Switch the selected kits to version 2" in text_of(client.get(effect))
    post(client, at(draft, "follow/"), kit=["DAY-01", "DAY-02"])

    assert set(Kit.objects.values_list("list_version__number", flat=True)) == {2}
    assert "nothing would change" in text_of(client.get(effect))


def test_following_without_a_tick_says_what_to_do(
    world: make.World, draft: PackingListVersion
) -> None:
    post(browser(world.instructor), at(draft, "publish/"))

    answer = post(browser(world.instructor), at(draft, "follow/"))

    assert answer.status_code == 400
    assert "Select the kits" in text_of(answer)
