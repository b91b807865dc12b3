"""Safe before deploy: a new table that no older code knows."""

import django.db.models.deletion
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0002_grant_library_tables"),
        ("monitoring", "0001_stations_rounds_and_readings"),
    ]

    operations = [
        migrations.CreateModel(
            name="FarmTemperature",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("day", models.DateField()),
                ("min_c", models.FloatField()),
                ("max_c", models.FloatField()),
                ("recorded_at", models.DateTimeField()),
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
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("farm", "day"), name="farm_temperature_once_a_day"),
                    models.CheckConstraint(
                        condition=models.Q(("min_c__lte", models.F("max_c"))),
                        name="farm_temperature_min_not_above_max",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("max_c__lte", 60), ("min_c__gte", -60)),
                        name="farm_temperature_lies_within_60_degrees_of_zero",
                    ),
                ],
            },
        ),
        ForceRowSecurity(
            "farmtemperature",
            {
                "app": "SELECT, INSERT, UPDATE (min_c, max_c, recorded_at)",
                "worker": "SELECT",
                "eraser": "SELECT, DELETE",
            },
        ),
    ]
