"""Facts of seals, of kits' times with people, of what is kept back, of signatures and of items,
filled in from what is on record. What cannot be known any more is marked: `known` is False.

This text imports nothing of ours: it stays as it landed.
"""

from datetime import UTC, datetime, time

import django.db.models.deletion
from django.db import migrations, models

OPENS_ALL = ("look-inside", "restock", "build", "strip")
TAKES = ("check-out", "emergency")
SAID_OF_ITEMS = (
    "name",
    "kind",
    "needs_date",
    "sterile",
    "by_eye",
    "opened_life_days",
    "check_question",
)


def fill(apps, schema_editor):
    sections = {}
    for place in apps.get_model("kits", "Place").objects.filter(kind="section"):
        sections.setdefault(place.kit_id, {})[place.section_key] = place.pk
    fill_seals(apps, sections)
    fill_checkouts(apps, sections)
    fill_withheld(apps)
    fill_signatures(apps)
    fill_items(apps)


# ------------------------------------------------------------------------------------------ seals
def fill_seals(apps, sections):
    seal_fact = apps.get_model("kits", "SealFact")
    reversed_by = dict(
        apps.get_model("kits", "Entry")
        .objects.filter(reverses__isnull=False)
        .values_list("reverses_id", "pk")
    )
    opened = openings(apps, sections)
    by_kit = {}
    for seal in apps.get_model("kits", "Seal").objects.order_by("id"):
        by_kit.setdefault(seal.kit_id, []).append(seal)
    rows = []
    for kit in {*by_kit, *opened}:
        facts = [
            seal_fact(kit_id=kit, section_id=place, what="broken", entry_id=entry)
            for entry, places in opened.get(kit, {}).items()
            for place in places
        ]
        facts += [
            seal_fact(
                kit_id=kit,
                section_id=seal.section_id,
                what="on",
                number=seal.number,
                entry_id=seal.put_on_id,
            )
            for seal in by_kit.get(kit, ())
        ]
        facts += left_over(seal_fact, kit, facts, by_kit.get(kit, ()), reversed_by)
        rows += sorted(facts, key=lambda fact: fact.entry_id)
    seal_fact.objects.bulk_create(rows, batch_size=500)


def openings(apps, sections):
    """Which sections each entry opened, by kit: those it moved through, and those of a kit that
    was looked into, filled, counted or handed back opened."""
    opened = {}
    movement = apps.get_model("kits", "Movement")
    for end in ("from_place", "to_place"):
        moved = movement.objects.filter(**{f"{end}__kind": "section"}).exclude(
            entry__kind="reverse"
        )
        for entry, kit, place in moved.values_list("entry_id", f"{end}__kit_id", f"{end}_id"):
            opened.setdefault(kit, {}).setdefault(entry, set()).add(place)
    entries = apps.get_model("kits", "Entry").objects.filter(
        kit__isnull=False, kind__in=(*OPENS_ALL, "count", "check-in")
    )
    for entry, kit, kind, detail in entries.values_list("pk", "kit_id", "kind", "detail"):
        of_kit = sections.get(kit, {})
        if kind == "count":
            places = set(detail.get("places", ())) & set(of_kit.values())
        elif kind == "check-in":
            if detail.get("as_found") != "opened":
                continue
            key = detail.get("section")
            places = {of_kit[key]} if key in of_kit else set(of_kit.values())
        elif kind == "look-inside" and not detail.get("looked_inside"):
            continue
        else:
            places = set(of_kit.values())
        opened.setdefault(kit, {}).setdefault(entry, set()).update(places)
    return opened


def left_over(seal_fact, kit, facts, seals, reversed_by):
    """Where the facts so far leave a seal whole that the book has as broken, it is written as
    broken by the entry that the book names, or by the one that took that back: how it came to be
    is not known any more."""
    in_force = sorted(
        (fact for fact in facts if fact.entry_id not in reversed_by), key=lambda f: f.entry_id
    )
    on = {}
    for fact in in_force:
        on.pop(fact.section_id, None)
        if fact.what == "on":
            on[fact.section_id] = fact.entry_id
        else:
            on.pop(None, None)
    for seal in seals:
        if seal.broken_id is not None and on.get(seal.section_id) == seal.put_on_id:
            entry = reversed_by.get(seal.broken_id, seal.broken_id)
            yield seal_fact(
                kit_id=kit,
                section_id=seal.section_id,
                what="broken",
                entry_id=max(entry, seal.put_on_id),
                known=False,
            )


# -------------------------------------------------------------------------------------- checkouts
def fill_checkouts(apps, sections):
    """From handovers and hand-backs. Who had it when a hand-back that was taken back was written
    is not known where it was passed on; the rest is on record."""
    fact = apps.get_model("kits", "CheckoutFact")
    entry_kind = dict(
        apps.get_model("kits", "Entry")
        .objects.filter(kind__in=(*TAKES, "check-in", "pass", "reverse"))
        .values_list("pk", "kind")
    )
    checkouts = {row.pk: row for row in apps.get_model("kits", "Checkout").objects.all()}
    rows, opened = [], set()
    for hand in apps.get_model("kits", "Handover").objects.order_by("id"):
        out = checkouts[hand.checkout_id]
        if hand.entry_id == out.opened_by_id:
            what, at = "opened", out.out_at
            opened.add(out.pk)
        elif entry_kind.get(hand.entry_id) == "pass":
            what, at = "passed", hand.since
        else:
            continue  # the undo of passing on: what it took back is not in force
        rows.append(of(fact, out, what, hand.person_id, at, hand.entry_id))
    for out in checkouts.values():
        if out.pk not in opened:
            rows.append(
                of(fact, out, "opened", out.person_id, out.out_at, out.opened_by_id, known=False)
            )
        if out.closed_by_id and entry_kind.get(out.closed_by_id) in TAKES:
            row = of(fact, out, "closed", out.person_id, out.in_at, out.closed_by_id)
            rows.append(row)
        if out.undone_id:
            rows.append(of(fact, out, "undone", out.person_id, out.in_at, out.undone_id))
    backs = apps.get_model("kits", "Entry").objects.filter(kind="check-in", kit__isnull=False)
    for back in backs.select_related("reversed_by"):
        out = checkouts.get(back.checkout_id)
        taken_back = hasattr(back, "reversed_by")
        rows.append(
            fact(
                kit_id=back.kit_id,
                section_id=sections.get(back.kit_id, {}).get(back.detail.get("section")),
                checkout=out,
                what="closed",
                person_id=out.person_id if out else None,
                at=max(back.occurred_at, out.out_at) if out else back.occurred_at,
                as_found=back.detail.get("as_found", ""),
                entry=back,
                known=not taken_back,
            )
        )
        if taken_back and out is not None:
            undo = back.reversed_by
            rows.append(
                of(fact, out, "reopened", out.person_id, undo.recorded_at, undo.pk, known=False)
            )
    order = {"closed": 0, "opened": 1}
    rows.sort(key=lambda row: (row.entry_id, order.get(row.what, 2)))
    fact.objects.bulk_create(rows, batch_size=500)


def of(fact, out, what, person, at, entry, known=True):
    return fact(
        kit_id=out.kit_id,
        section_id=out.section_id,
        checkout=out,
        what=what,
        person_id=person,
        at=at,
        entry_id=entry,
        known=known,
    )


# ---------------------------------------------------------------------- withheld, signatures, items
def fill_withheld(apps):
    """From the rows of what was kept back, and what was said again of it. A release that was taken
    back left no trace in those rows, so it is read from its entry."""
    fact = apps.get_model("kits", "WithheldFact")
    entry = apps.get_model("kits", "Entry")
    undone = set(entry.objects.filter(reverses__isnull=False).values_list("reverses_id", flat=True))
    undoing = set(entry.objects.filter(kind="reverse").values_list("pk", flat=True))
    rows, kept, let_go = [], set(), set()
    for row in apps.get_model("kits", "Withholding").objects.order_by("id"):
        of_it = {"kit_id": row.kit_id, "lot_id": row.lot_id, "kind": row.kind}
        rows.append(fact(**of_it, what="kept", entry_id=row.since_id))
        kept.add(row.since_id)
        if row.released_id and not (row.released_id in undoing and row.since_id in undone):
            rows.append(fact(**of_it, what="let-go", entry_id=row.released_id))
            let_go.add(row.released_id)
    said = entry.objects.filter(kind__in=("withhold", "release"), kit__isnull=False)
    for pk, kit, kind, detail in said.values_list("pk", "kit_id", "kind", "detail"):
        if pk in kept or pk in let_go or "kind" not in detail:
            continue
        what = "kept" if kind == "withhold" else "let-go"
        rows.append(fact(kit_id=kit, kind=detail["kind"], what=what, entry_id=pk))
    rows.sort(key=lambda row: row.entry_id)
    fact.objects.bulk_create(rows, batch_size=500)


def fill_signatures(apps):
    """The signature that each version carries. When it was written, and what others it had before,
    is not known: it counts from the day it names."""
    fact = apps.get_model("kits", "SignatureFact")
    versions = apps.get_model("kits", "PackingListVersion").objects.filter(signed_by__isnull=False)
    fact.objects.bulk_create(
        fact(
            version=row,
            signed_by_id=row.signed_by_id,
            signed_on=row.signed_on,
            signed_until=row.signed_until,
            recorded_at=min(datetime.combine(row.signed_on, time(), UTC), datetime.now(UTC)),
            known=False,
        )
        for row in versions.defer("signed_page")
    )


def fill_items(apps):
    """What is said of each item now counts from the beginning: what was said before is gone."""
    fact = apps.get_model("kits", "ItemFact")
    instead = {}
    for row in apps.get_model("kits", "Substitute").objects.order_by("instead_id"):
        instead.setdefault(row.item_id, []).append(row.instead_id)
    fact.objects.bulk_create(
        fact(
            item=item,
            said={
                **{name: getattr(item, name) for name in SAID_OF_ITEMS},
                "instead": instead.get(item.pk, []),
            },
            recorded_at=datetime(1970, 1, 1, tzinfo=UTC),
            known=False,
        )
        for item in apps.get_model("kits", "Item").objects.all()
    )


class Migration(migrations.Migration):
    dependencies = [
        ("core", "0003_room_rules"),
        ("kits", "0003_verdicts_by_word"),
    ]

    operations = [
        migrations.CreateModel(
            name="CheckoutFact",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "what",
                    models.CharField(
                        choices=[
                            ("opened", "Opened"),
                            ("passed", "Passed"),
                            ("closed", "Closed"),
                            ("reopened", "Reopened"),
                            ("undone", "Undone"),
                        ],
                        max_length=8,
                    ),
                ),
                ("at", models.DateTimeField()),
                (
                    "as_found",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("sealed-and-dry", "sealed and dry"),
                            ("sort-later", "sort later"),
                            ("opened", "opened"),
                        ],
                        max_length=16,
                    ),
                ),
                ("known", models.BooleanField(default=True)),
                (
                    "checkout",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="facts",
                        to="kits.checkout",
                    ),
                ),
                (
                    "entry",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="checkout_facts",
                        to="kits.entry",
                    ),
                ),
                (
                    "kit",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="checkout_facts",
                        to="kits.kit",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="core.person",
                    ),
                ),
                (
                    "section",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="kits.place",
                    ),
                ),
            ],
            options={
                "ordering": ["entry_id", "id"],
            },
        ),
        migrations.CreateModel(
            name="ItemFact",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("said", models.JSONField()),
                ("recorded_at", models.DateTimeField()),
                ("known", models.BooleanField(default=True)),
                (
                    "item",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="facts",
                        to="kits.item",
                    ),
                ),
            ],
            options={
                "ordering": ["id"],
            },
        ),
        migrations.CreateModel(
            name="SignatureFact",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("signed_on", models.DateField()),
                ("signed_until", models.DateField()),
                ("recorded_at", models.DateTimeField()),
                ("known", models.BooleanField(default=True)),
                (
                    "signed_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="core.person",
                    ),
                ),
                (
                    "version",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="signature_facts",
                        to="kits.packinglistversion",
                    ),
                ),
            ],
            options={
                "ordering": ["id"],
            },
        ),
        migrations.CreateModel(
            name="SealFact",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "what",
                    models.CharField(choices=[("on", "On"), ("broken", "Broken")], max_length=6),
                ),
                ("number", models.CharField(blank=True, max_length=40)),
                ("known", models.BooleanField(default=True)),
                (
                    "entry",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="seal_facts",
                        to="kits.entry",
                    ),
                ),
                (
                    "kit",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="seal_facts",
                        to="kits.kit",
                    ),
                ),
                (
                    "section",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="kits.place",
                    ),
                ),
            ],
            options={
                "ordering": ["entry_id", "id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("what", "on"), models.Q(("number", ""), _negated=True)),
                            models.Q(("number", ""), ("what", "broken")),
                            _connector="OR",
                        ),
                        name="seal_fact_number_of_what_is_on",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="WithheldFact",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("recall", "recall"),
                            ("failed-check", "failed check"),
                            ("drying", "drying"),
                            ("something-wrong", "something wrong"),
                            ("keep-as-it-came-back", "keep as it came back"),
                        ],
                        max_length=24,
                    ),
                ),
                (
                    "what",
                    models.CharField(
                        choices=[("kept", "Kept"), ("let-go", "Let Go")], max_length=6
                    ),
                ),
                ("known", models.BooleanField(default=True)),
                (
                    "entry",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="withheld_facts",
                        to="kits.entry",
                    ),
                ),
                (
                    "kit",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="withheld_facts",
                        to="kits.kit",
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="withheld_facts",
                        to="kits.lot",
                    ),
                ),
            ],
            options={
                "ordering": ["entry_id", "id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("kit__isnull", False), ("lot__isnull", True)),
                            models.Q(("kit__isnull", True), ("lot__isnull", False)),
                            _connector="OR",
                        ),
                        name="withheld_fact_of_one_thing",
                    )
                ],
            },
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
