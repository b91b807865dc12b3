"""Safe before deploy: new tables that no older code knows."""

import django.db.models.deletion
from django.db import migrations, models

from farms.tenancy.migrations import Grant


class Migration(migrations.Migration):
    dependencies = [
        ("alerts", "0005_rules_life_and_settings"),
        ("farms", "0005_only_guests_end_by_themselves"),
    ]

    operations = [
        migrations.CreateModel(
            name="Ring",
            fields=[
                ("name", models.CharField(max_length=20, primary_key=True, serialize=False)),
                ("rung_at", models.DateTimeField()),
            ],
        ),
        migrations.CreateModel(
            name="Running",
            fields=[
                (
                    "group",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="+",
                        serialize=False,
                        to="farms.group",
                    ),
                ),
                (
                    "due_week",
                    models.DateField(
                        help_text="The first week that is not judged, also one that is to come.", null=True
                    ),
                ),
                ("due_at", models.DateTimeField(help_text="The moment from which it is due.", null=True)),
                ("week", models.DateField(help_text="The newest week that was judged.", null=True)),
                ("to_judge", models.IntegerField(default=0, help_text="Farms in season, or with something open.")),
                ("judged", models.IntegerField(default=0)),
                (
                    "failed",
                    models.IntegerField(default=0, help_text="Set aside with an error while the week was judged."),
                ),
                ("owed", models.IntegerField(default=0, help_text="Farms judged, whose owners get a mail.")),
                ("written", models.IntegerField(default=0, help_text="Of those, farms with a mail of the week.")),
                ("settled_at", models.DateTimeField(null=True)),
                ("waiting", models.IntegerField(default=0)),
                ("sending", models.IntegerField(default=0)),
                ("sent", models.IntegerField(default=0, help_text="Mails of the newest week.")),
                ("refused", models.IntegerField(default=0, help_text="Mails of the newest week.")),
                ("mails_counted_at", models.DateTimeField(null=True)),
                ("oldest_mail_at", models.DateTimeField(null=True)),
                ("set_aside", models.IntegerField(default=0, help_text="Farms and weeks not solved yet.")),
                ("retry_at", models.DateTimeField(help_text="When the first of them is tried again.", null=True)),
                ("retry_asked_at", models.DateTimeField(null=True)),
                ("imports", models.IntegerField(default=0)),
                ("oldest_import_at", models.DateTimeField(null=True)),
            ],
        ),
        # No farm's data: the worker counts, the pages read. They may ask for the farms set aside, and change no count.
        Grant(
            ["alerts_running"],
            {"app": "SELECT, UPDATE (retry_asked_at)", "worker": "SELECT, INSERT, UPDATE"},
        ),
        Grant(["alerts_ring"], {"app": "SELECT", "worker": "SELECT, INSERT, UPDATE"}),
    ]
