"""What the school has decided: what its things are for, how often its adviser believes that needs
come up, and the second version of each kit list, with what it leaves out and why."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from gearroom.core import clock
from gearroom.site.scenario.school import PLAN, ZONE, School, by_key
from kits.models import Activity, Need, PackingListVersion, WhyNotCarried
from kits.rules.ledger.facts import Criticality
from kits.services.kits import kits
from kits.services.lists import drafts, publishing, signatures
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.lists.not_carried import CarriedWhen, NotCarriedDraft
from kits.services.planning import priors, vocabulary

ADVISER = "Dr Nell Averis"


def serve_needs(school: School) -> None:
    """What each thing is for, some of it in the school's own words."""
    for row in PLAN["needs"]:
        vocabulary.add_need(school.act(), **row)
    needs = by_key(Need)
    for name, rows in PLAN["serves"].items():
        for key, best, units, *training in rows:
            vocabulary.put_serves(
                school.act(),
                school.items[name],
                needs[key],
                best=best,
                units_per_use=units,
                needs_training=bool(training),
            )


def state_rates(school: School) -> None:
    """How often the adviser believes that needs come up, or a study found."""
    needs, activities = by_key(Need), by_key(Activity)
    for row in PLAN["stated"]:
        priors.state(
            school.act(ADVISER),
            needs[row["need"]],
            activities[row["activity"]] if "activity" in row else None,
            per_1000=Decimal(row["per_1000"]) if "per_1000" in row else None,
            study=row.get("study", ""),
            note=row["note"],
        )


def revise_lists(school: School) -> None:
    """Publish the second version of each list, have it signed, and let all kits follow it."""
    until = clock.today(ZONE) + timedelta(days=730)
    for plan in PLAN["lists"]:
        old = school.versions[plan["name"]]
        draft = drafts.new_draft(school.act(), old.packing_list)
        draft = drafts.edit_draft(school.act(), draft, _revised(school, draft, plan))
        draft = publishing.publish(school.act(), draft)
        signed = signatures.sign(school.act(ADVISER), draft, until=until)
        school.versions[plan["name"]] = signed
        for kit in school.kits.values():
            if kit.list_version.packing_list_id == signed.packing_list_id:
                kits.follow_list(school.act(), kit, signed)


def _revised(school: School, version: PackingListVersion, plan: dict[str, Any]) -> Draft:
    """A version with other quantities, each with its reason, and lines not carried."""
    changes = {row["thing"]: row for row in plan["changes"]}
    draft = drafts.draft_of(version)
    return replace(
        draft,
        sections=[_section(section, changes) for section in draft.sections],
        not_carried=[_not_carried(school, row) for row in plan["not_carried"]],
    )


def _section(section: SectionDraft, changes: dict[str, Any]) -> SectionDraft:
    return replace(section, lines=[_line(line, changes) for line in section.lines])


def _line(line: LineDraft, changes: dict[str, Any]) -> LineDraft:
    change = changes.get(line.item.name)
    if change is None:
        return line
    return replace(
        line,
        carry=change["carry"],
        never_below=change.get("minimum", line.never_below),
        criticality=Criticality(change.get("priority", line.criticality)),
        reason=change["reason"],
    )


def _not_carried(school: School, row: dict[str, Any]) -> NotCarriedDraft:
    today: date = clock.today(ZONE)
    hours = row.get("from_hours_to_care")
    return NotCarriedDraft(
        why=WhyNotCarried(row["why"]),
        item=school.items[row["item"]] if "item" in row else None,
        need=by_key(Need)[row["need"]] if "need" in row else None,
        words=row.get("words", ""),
        instead=row["instead"],
        when=CarriedWhen(
            tuple(row.get("hazards", ())),
            tuple(row.get("activities", ())),
            None if hours is None else Decimal(hours),
        ),
        trained=row.get("trained", ""),
        decided_by=school.people[ADVISER],
        decided_on=today,
        look_again_on=today + timedelta(days=row["again_in"]) if "again_in" in row else None,
        look_again_after=row.get("again_after", ""),
    )
