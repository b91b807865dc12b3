"""Safe before deploy: new tables only."""

import django.db.models.deletion
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity

NO_KEY = "NULLIF(current_setting('app.token_id', true), '') IS NULL"
# A file that waits is read by whoever chose it, and by nobody else of the farm.
OWN = f"{NO_KEY} AND user_id = NULLIF(current_setting('app.user_id', true), '')::uuid"
VISIBLE = "{column} = ANY((SELECT visible_farms())::uuid[]) AND "
WRITABLE = "{column} = ANY((SELECT writable_farms())::uuid[]) AND "


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0013_invitations"),
        ("monitoring", "0006_farm_plan"),
    ]

    operations = [
        migrations.CreateModel(
            name="OwnTable",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("user_id", models.UUIDField()),
                ("name", models.CharField(max_length=120)),
                ("content", models.BinaryField()),
                ("made_at", models.DateTimeField()),
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
                "constraints": [models.UniqueConstraint(fields=("farm", "user_id"), name="own_table_once_a_person")],
            },
        ),
        migrations.CreateModel(
            name="OwnTableReading",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("choices", models.JSONField()),
                ("kept_at", models.DateTimeField()),
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
                "constraints": [models.UniqueConstraint(fields=("farm",), name="own_table_reading_once_a_farm")],
            },
        ),
        ForceRowSecurity(
            "owntable",
            {"app": "SELECT, INSERT, DELETE", "eraser": "SELECT, DELETE"},
            reads={"app": VISIBLE + OWN},
            writes={"app": WRITABLE + OWN},
        ),
        ForceRowSecurity(
            "owntablereading",
            {"app": "SELECT, INSERT, UPDATE (choices, kept_at)", "eraser": "SELECT, DELETE"},
            reads={"app": VISIBLE + NO_KEY},
            writes={"app": WRITABLE + NO_KEY},
        ),
    ]
