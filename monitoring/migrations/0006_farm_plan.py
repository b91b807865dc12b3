"""Safe before deploy: new tables, a column with a value of its own for older code, and a rule that lets more in."""

import django.db.models.deletion
import django.db.models.lookups
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, TieToFarm


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0011_regions_split_by_housing"),
        ("monitoring", "0005_frozen_contributions"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="PlanPicture",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("kind", models.CharField(choices=[("jpeg", "JPEG"), ("png", "PNG")], max_length=4)),
                ("width", models.PositiveIntegerField()),
                ("height", models.PositiveIntegerField()),
                ("content", models.BinaryField()),
                ("salt", models.BinaryField(max_length=16)),
                ("entry", models.BigIntegerField()),
                (
                    "farm",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="farms.farm",
                    ),
                ),
            ],
            options={"abstract": False},
        ),
        migrations.CreateModel(
            name="Plan",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("picture_id", models.UUIDField(null=True)),
                ("width", models.PositiveIntegerField()),
                ("height", models.PositiveIntegerField()),
                ("outlines", models.JSONField(default=list)),
                ("since", models.DateField()),
                ("made_at", models.DateTimeField()),
                ("entry", models.BigIntegerField()),
                (
                    "farm",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="farms.farm",
                    ),
                ),
                (
                    "made_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "picture",
                    models.ForeignObject(
                        blank=True,
                        editable=False,
                        from_fields=["farm", "picture_id"],
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="monitoring.planpicture",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.AddConstraint(
            model_name="plan",
            constraint=models.UniqueConstraint(fields=("farm", "entry"), name="plan_once_an_entry"),
        ),
        migrations.AddConstraint(
            model_name="plan",
            constraint=models.CheckConstraint(
                condition=models.Q(("height__gte", 1), ("width__gte", 1)), name="plan_has_a_shape"
            ),
        ),
        migrations.AddConstraint(
            model_name="plan",
            constraint=models.CheckConstraint(
                condition=django.db.models.lookups.LessThanOrEqual(
                    models.Func(
                        models.F("outlines"), function="jsonb_array_length", output_field=models.IntegerField()
                    ),
                    60,
                ),
                name="plan_outlines_are_a_short_list",
            ),
        ),
        TieToFarm("plan", {"picture_id": "planpicture"}),
        ForceRowSecurity("planpicture", {"app": "SELECT, INSERT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity("plan", {"app": "SELECT, INSERT", "eraser": "SELECT, DELETE"}),
        migrations.RemoveConstraint(model_name="siting", name="siting_once_a_day"),
        migrations.AddField(
            model_name="siting",
            name="only_place",
            field=models.BooleanField(db_default=False, default=False),
        ),
        migrations.AddConstraint(
            model_name="siting",
            constraint=models.UniqueConstraint(
                condition=models.Q(("only_place", False)),
                fields=("farm", "station_id", "since"),
                name="siting_once_a_day",
            ),
        ),
        migrations.AddIndex(
            model_name="siting",
            index=models.Index(fields=["farm", "station_id", "since"], name="siting_by_station"),
        ),
    ]
