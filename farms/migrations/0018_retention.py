"""Safe before deploy: a new table and a function."""

from pathlib import Path

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import DefinerFunctions, Grant

FUNCTIONS = Path(__file__).resolve().parent.parent / "tenancy" / "retention.sql"


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0017_erasure"),
    ]

    operations = [
        migrations.CreateModel(
            name="GroupRetention",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("notes", "notes on rounds, matters, calls and work"),
                            ("photos", "pictures taken on rounds"),
                            ("applicators", "names on sprays, pour-ons and baits"),
                            ("mails", "mails as they were sent"),
                            ("log", "lines of who came in"),
                        ],
                        max_length=12,
                    ),
                ),
                ("months", models.PositiveSmallIntegerField(null=True)),
                ("set_at", models.DateTimeField()),
                (
                    "group",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="farms.group"),
                ),
                (
                    "set_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
        ),
        Grant(["farms_groupretention"], {"app": "SELECT, INSERT", "eraser": "SELECT"}),
        DefinerFunctions(FUNCTIONS.read_text(), {"farms_with_groups()": ["eraser"]}),
    ]
