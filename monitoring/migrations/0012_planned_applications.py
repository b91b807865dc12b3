"""Safe before deploy: columns that may be empty, of tables that are younger than any release."""

import django.db.models.deletion
from django.db import migrations, models

from farms.tenancy.migrations import TieToFarm


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0016_sprayer_links_in_the_log"),
        ("monitoring", "0011_planned_work"),
    ]

    operations = [
        migrations.AddField(
            model_name="application",
            name="planned",
            field=models.ForeignObject(
                blank=True,
                editable=False,
                from_fields=["farm", "planned_id"],
                null=True,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="+",
                serialize=False,
                to="monitoring.plannedwork",
                to_fields=["farm", "id"],
            ),
        ),
        migrations.AddField(
            model_name="application",
            name="planned_for",
            field=models.DateField(null=True),
        ),
        migrations.AddField(
            model_name="application",
            name="planned_id",
            field=models.UUIDField(null=True),
        ),
        migrations.AddField(
            model_name="plannedwork",
            name="product_id",
            field=models.UUIDField(null=True),
        ),
        migrations.AddField(
            model_name="plannedwork",
            name="use_kind",
            field=models.CharField(
                blank=True,
                choices=[
                    ("residual", "residual spray, on walls and surfaces"),
                    ("space", "space spray or fog"),
                    ("bait", "bait"),
                    ("larvicide", "larvicide, on manure or bedding"),
                    ("feed_through", "feed-through"),
                    ("on_animals", "pour-on or spray on animals"),
                ],
                default="",
                max_length=12,
                verbose_name="what it is for",
            ),
        ),
        migrations.AddConstraint(
            model_name="application",
            constraint=models.UniqueConstraint(
                condition=models.Q(("planned_id__isnull", False), ("replaces_id__isnull", True)),
                fields=("farm", "planned_id", "planned_for"),
                name="planned_day_is_applied_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="application",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("planned_for__isnull", True), ("planned_id__isnull", True)),
                    models.Q(("planned_for__isnull", False), ("planned_id__isnull", False)),
                    _connector="OR",
                ),
                name="application_planned_names_its_day",
            ),
        ),
        migrations.AddConstraint(
            model_name="plannedwork",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("kind", "application"), models.Q(("use_kind", ""), _negated=True)),
                    models.Q(
                        models.Q(("kind", "application"), _negated=True), ("product_id__isnull", True), ("use_kind", "")
                    ),
                    _connector="OR",
                ),
                name="only_a_planned_application_has_a_use",
            ),
        ),
        TieToFarm("application", {"planned_id": "plannedwork"}),
    ]
