"""What a list leaves out on purpose, and hazards that it does not serve, on the pages."""

from django.utils import translation

from gearroom.site.templatetags.gear import options
from kits.models import ItemNeed, Need, NotCarried, PackingListVersion
from kits.services.lists import drafts, publishing
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.text.planning import rate_texts
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of
from tests.site.lists.draft_forms import edited, form_of, left_out, send

pytestmark = PAGES_ON_SQLITE


def draft(world: make.World) -> PackingListVersion:
    """A draft for sharp tools with dressings only, where shears serve severe bleeding."""
    bleeding = Need.objects.get(key="severe-bleeding")
    ItemNeed.objects.create(item=world.shears, need=bleeding)
    said = Draft(
        people=8,
        days=1,
        hazards=["sharp-tools"],
        sections=[SectionDraft("Main", [LineDraft(world.dressing, 4)])],
    )
    return drafts.make_list(make.act(world.keeper), name="Work party", draft=said)


def address(of: PackingListVersion, page: str = "") -> str:
    return f"/lists/{of.packing_list_id}/{of.number}/{page}"


def test_a_list_that_lacks_what_its_hazard_asks_for_is_published_only_when_confirmed(
    world: make.World,
) -> None:
    of, client = draft(world), browser(world.keeper)
    says = (
        "This list is made for “saws, axes and other sharp tools” and carries nothing for "
        "“severe bleeding from a limb”."
    )
    assert says in text_of(client.get(address(of, "edit/")))
    assert says in text_of(client.get(address(of)))
    refused = post(client, address(of, "publish/"))
    assert refused.status_code == 409
    assert says in text_of(refused)
    post(client, address(of, "publish/"), anyway="1")
    of.refresh_from_db()
    assert of.published_at is not None


def test_a_line_that_says_why_is_added_changed_printed_and_lets_it_be_published(
    world: make.World,
) -> None:
    of, client = draft(world), browser(world.keeper)
    added = {
        "need": "severe-bleeding",
        "why": "no-training",
        "words": "Nobody has done the course",
        "instead": "Pressure and a bandage",
        "hazard": "sharp-tools",
        "hours": "4",
        "decided_by": str(world.adviser.pk),
        "decided_on": "2026-03-01",
        "look_again_after": "the spring course",
    }
    left_out(client, of, **added)
    row = f"out.need-{NotCarried.objects.get().need_id}"
    edited(client, of, **{f"hours-{row}": "6,5"})
    said = text_of(client.get(address(of)))
    for words in (
        "nobody is trained to use it: Nobody has done the course",
        "Pressure and a bandage",
        "saws, axes and other sharp tools; when a hospital or doctor is 6.5 hours away or more",
        "Ada, 1 March 2026",
        "after the spring course",
        "The reason is under “Not carried”.",
    ):
        assert words in said
    fields = form_of(client.get(address(of, "edit/")))
    assert fields[f"hours-{row}"] == ["6.5"]
    post(client, address(of, "publish/"))
    of.refresh_from_db()
    assert of.published_at is not None
    assert send(client, of, fields, gone=row).status_code == 409
    assert "This version is published" in text_of(client.get(address(of, "edit/")))


def test_what_cannot_be_is_refused_with_what_was_typed_kept(world: make.World) -> None:
    of, client = draft(world), browser(world.keeper)
    nothing = left_out(client, of, why="other", words="x", instead="Go home")
    assert nothing.status_code == 400
    assert "Choose an item or a need that is not carried." in text_of(nothing)
    assert "Go home" in nothing.text
    carried = left_out(client, of, thing=world.dressing.name, why="expires")
    assert "is both on this list and among what the list leaves out" in text_of(carried)


def test_a_line_is_removed(world: make.World) -> None:
    of, client = draft(world), browser(world.keeper)
    left_out(client, of, thing=world.gauge.name, why="expires")
    edited(client, of, gone=f"out.item-{world.gauge.pk}")
    assert not NotCarried.objects.exists()


def test_two_versions_are_compared_by_what_they_leave_out(world: make.World) -> None:
    of, client = draft(world), browser(world.keeper)
    left_out(client, of, thing=world.gauge.name, why="expires")
    left_out(client, of, thing=world.tablets.name, why="not-allowed")
    post(client, address(of, "publish/"), anyway="1")
    after = drafts.new_draft(make.act(world.keeper), of.packing_list)
    assert "Not carried" not in text_of(client.get(address(after, "compare/")))
    changes = {f"why-out.item-{world.tablets.pk}": "too-big"}
    edited(client, after, gone=f"out.item-{world.gauge.pk}", **changes)
    said = text_of(client.get(address(after, "compare/")))
    assert f"{world.gauge.name} No longer left out." in said
    assert "not allowed by law, protocol or adviser" in said
    assert "too heavy or too big" in said


def test_a_replaced_version_says_so_and_no_more_how_long_it_is_valid(world: make.World) -> None:
    act, first = make.act(world.keeper), world.version
    assert "Replaced" not in text_of(browser(world.keeper).get(address(first)))
    publishing.publish(act, drafts.new_draft(act, first.packing_list))
    page = text_of(browser(world.keeper).get(address(first)))
    assert "Version 2 has replaced this version," in page
    assert "Version 1 Replaced" in page
    assert page.count("valid until") == 1  # among its facts, for kits that still use it


def test_the_comparison_says_what_is_due_and_of_a_replaced_version_nothing(
    world: make.World,
) -> None:
    PackingListVersion.objects.update(signed_on=make.days(-30))
    NotCarried.objects.create(
        version=world.version, item=world.gauge, why="too-big", look_again_on=make.days(-9)
    )
    second = drafts.new_draft(make.act(world.keeper), world.version.packing_list)
    second.not_carried.update(look_again_on=make.days(-2), why="expires")
    page = browser(world.keeper).get(address(second, "compare/")).content.decode()
    assert page.count("was due") == 2
    publishing.publish(make.act(world.keeper), second)
    page = browser(world.keeper).get(address(second, "compare/")).content.decode()
    assert "was due" not in page
    assert page.count("reviewed since") == 1


def test_the_printable_page_of_a_kit_says_what_is_not_carried(world: make.World) -> None:
    NotCarried.objects.create(
        version=world.version,
        need=Need.objects.get(key="severe-bleeding"),
        why="no-training",
        instead="Pressure and a bandage.",
        hazards=["sharp-tools"],
        trained="Ada",
    )
    page = text_of(browser(world.keeper).get("/kits/DAY-01/as-of/"))
    for words in (
        "Severe bleeding from a limb (need)",
        "nobody is trained to use it",
        "What we do instead Pressure and a bandage.",
        "Carried when saws, axes and other sharp tools",
        "Who is trained Ada",
    ):
        assert words in page


def test_selects_of_needs_send_keys_and_show_names_in_the_readers_language(
    world: make.World,
) -> None:
    bleeding = Need.objects.get(key="severe-bleeding")
    with translation.override("de"):
        (option,) = options([bleeding], "severe-bleeding").splitlines()
        assert option == (
            f'<option value="severe-bleeding" selected>{rate_texts.word(bleeding.name)}</option>'
        )
        assert bleeding.name not in option
    assert "selected" not in options([bleeding], None)
    assert "selected" in options([bleeding], bleeding)
