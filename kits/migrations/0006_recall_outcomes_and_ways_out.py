"""How a recall ended, and where units go that are sold or given away.

A recall that was closed before counts as finished: its batches are blocked again, and the kits that
hold some are judged anew.
"""

from django.db import migrations, models



OUTER = {"sold": "sold", "given": "given away"}
MOST_SURE_FIRST = ("number", "all", "not-known")


def make_places(apps, schema_editor):
    place = apps.get_model("kits", "Place")
    for kind, name in OUTER.items():
        place.objects.get_or_create(kind=kind, room=None, kit=None, defaults={"name": name})


def finish(apps, schema_editor):
    apps.get_model("kits", "Recall").objects.filter(closed__isnull=False).update(outcome="finished")


def block_again(apps, schema_editor):
    lots = apps.get_model("kits", "Lot").objects
    kits = apps.get_model("kits", "Kit").objects
    closed = apps.get_model("kits", "Recall").objects.filter(outcome="finished")
    for scope in MOST_SURE_FIRST:
        for recall in closed.filter(scope=scope).order_by("pk"):
            about = lots.filter(item=recall.item_id, recall__isnull=True)
            if scope == "number":
                about = about.filter(number__in=["", recall.number])
            ids = list(about.values_list("pk", flat=True))
            lots.filter(pk__in=ids).update(recall=recall)
            holding = kits.filter(sections__holdings__lot__in=ids, sections__holdings__units__gt=0)
            kits.filter(pk__in=list(holding.values_list("pk", flat=True))).update(judged_by=0)


class Migration(migrations.Migration):

    dependencies = [
        ('core', '0004_people_merged'),
        ('kits', '0005_closed_and_cleared'),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name='place',
            name='place_belongs_where_its_kind_does',
        ),
        migrations.AddField(
            model_name='recall',
            name='outcome',
            field=models.CharField(blank=True, choices=[('finished', 'finished'), ('withdrawn', 'withdrawn')], max_length=10),
        ),
        migrations.AddField(
            model_name='recall',
            name='published_at',
            field=models.CharField(blank=True, max_length=300),
        ),
        migrations.AlterField(
            model_name='entry',
            name='kind',
            field=models.CharField(choices=[('receive', 'Receive'), ('build', 'Build'), ('strip', 'Strip'), ('empty', 'Empty'), ('check-out', 'Check Out'), ('check-in', 'Check In'), ('pass', 'Pass'), ('emergency', 'Emergency'), ('clearance', 'Clearance'), ('use', 'Use'), ('look-inside', 'Look Inside'), ('count', 'Count'), ('restock', 'Restock'), ('reseal', 'Reseal'), ('check', 'Check'), ('withhold', 'Withhold'), ('release', 'Release'), ('lay-up', 'Lay Up'), ('wake', 'Wake'), ('take-out', 'Take Out'), ('dispose', 'Dispose'), ('move', 'Move'), ('arrive', 'Arrive'), ('borrow', 'Borrow'), ('open', 'Open'), ('lost', 'Lost'), ('found', 'Found'), ('recall', 'Recall'), ('recall-answer', 'Recall Answer'), ('recall-close', 'Recall Close'), ('correct-lot', 'Correct Lot'), ('reverse', 'Reverse'), ('reserve', 'Reserve'), ('unreserve', 'Unreserve'), ('trip', 'Trip'), ('follow-list', 'Follow List'), ('kit', 'Kit'), ('label', 'Label')], max_length=16),
        ),
        migrations.AlterField(
            model_name='place',
            name='kind',
            field=models.CharField(choices=[('shelf', 'shelf'), ('section', 'kit section'), ('quarantine', 'quarantine'), ('transit', 'in transit'), ('training', 'training'), ('supplier', 'supplier'), ('used', 'used'), ('bin', 'bin'), ('sharps', 'sharps'), ('clinical', 'clinical waste'), ('pharmacy', 'pharmacy'), ('returned', 'returned to maker'), ('sold', 'sold'), ('given', 'given away'), ('unexplained', 'unexplained'), ('reclassified', 'reclassified')], max_length=12),
        ),
        migrations.AddConstraint(
            model_name='place',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('kind', 'section'), ('kit__isnull', False), ('room__isnull', True), models.Q(('section_key', ''), _negated=True)), models.Q(('kind__in', ['shelf', 'quarantine', 'transit', 'training']), ('kit__isnull', True), ('room__isnull', False), ('section_key', '')), models.Q(('kind__in', ['supplier', 'used', 'bin', 'sharps', 'clinical', 'pharmacy', 'returned', 'sold', 'given', 'unexplained', 'reclassified']), ('kit__isnull', True), ('room__isnull', True), ('section_key', '')), _connector='OR'), name='place_belongs_where_its_kind_does'),
        ),
        migrations.RunPython(make_places, migrations.RunPython.noop),
        migrations.RunPython(finish, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name='recall',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('closed__isnull', True), ('outcome', '')), models.Q(('closed__isnull', False), models.Q(('outcome', ''), _negated=True)), _connector='OR'), name='recall_closed_with_an_outcome'),
        ),
        migrations.AddConstraint(
            model_name='recall',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('outcome', 'withdrawn'), models.Q(('published_at', ''), _negated=True)), models.Q(models.Q(('outcome', 'withdrawn'), _negated=True), ('published_at', '')), _connector='OR'), name='recall_withdrawn_somewhere'),
        ),
        # Last: PostgreSQL alters no table whose rows wait for their foreign keys to be checked.
        migrations.RunPython(block_again, migrations.RunPython.noop),
    ]
