"""Safe before deploy: a new table only."""

import django.db.models.deletion
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, TieToFarm

# Its words may name people: the farm's people and its advisers read them, and no key.
NO_KEY = "NULLIF(current_setting('app.token_id', true), '') IS NULL"
READ = "{column} = ANY((SELECT visible_farms())::uuid[]) AND " + NO_KEY
WRITE = "{column} = ANY((SELECT writable_farms())::uuid[]) AND " + NO_KEY
ADDED = {"app": "SELECT, INSERT", "eraser": "SELECT, DELETE"}


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0016_sprayer_links_in_the_log"),
        ("monitoring", "0012_planned_applications"),
    ]

    operations = [
        migrations.CreateModel(
            name="CardsKept",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("words", models.CharField(max_length=300, verbose_name="where they are kept")),
                ("from_on", models.DateField(verbose_name="from")),
                (
                    "actor_kind",
                    models.CharField(
                        choices=[
                            ("farm_staff", "Farm Staff"),
                            ("adviser", "Adviser"),
                            ("coordinator", "Coordinator"),
                            ("phone", "Phone"),
                            ("program", "Program"),
                            ("service", "Service"),
                        ],
                        max_length=12,
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
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
        ),
        TieToFarm("cardskept", {}),
        ForceRowSecurity("cardskept", ADDED, reads={"app": READ}, writes={"app": WRITE}),
    ]
