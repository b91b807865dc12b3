"""Safe before deploy: new tables, and a column with a default in the database, which older code leaves alone."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import VISIBLE, ForceRowSecurity, Grant

OWN = "recipient_id = (SELECT NULLIF(current_setting('app.user_id', true), '')::uuid)"
OWN_ON_FARM = f"{VISIBLE} AND {OWN}"


class Migration(migrations.Migration):
    dependencies = [
        ("alerts", "0007_mail_day_and_parts_of_a_mail"),
        ("farms", "0005_only_guests_end_by_themselves"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="ChoiceKey",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("key", models.BinaryField(max_length=32)),
                ("made_at", models.DateTimeField()),
                ("ended_at", models.DateTimeField(null=True)),
            ],
        ),
        migrations.AddField(
            model_name="digest",
            name="needs_a_look",
            field=models.BooleanField(db_default=True, default=True),
        ),
        migrations.AddField(
            model_name="mondaylist",
            name="needs_a_look",
            field=models.BooleanField(db_default=True, default=True),
        ),
        migrations.AlterField(
            model_name="digest",
            name="state",
            field=models.CharField(
                choices=[
                    ("queued", "Queued"),
                    ("sending", "Sending"),
                    ("sent", "Sent"),
                    ("refused", "Refused"),
                    ("unwanted", "Unwanted"),
                ],
                default="queued",
                max_length=8,
            ),
        ),
        migrations.AlterField(
            model_name="mondaylist",
            name="state",
            field=models.CharField(
                choices=[
                    ("queued", "Queued"),
                    ("sending", "Sending"),
                    ("sent", "Sent"),
                    ("refused", "Refused"),
                    ("unwanted", "Unwanted"),
                ],
                default="queued",
                max_length=8,
            ),
        ),
        migrations.CreateModel(
            name="DigestChoice",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                (
                    "how_often",
                    models.CharField(
                        choices=[
                            ("every_week", "every week"),
                            ("when_needed", "only when something needs a look"),
                            ("none", "no mail"),
                        ],
                        max_length=11,
                    ),
                ),
                ("chosen_at", models.DateTimeField()),
                (
                    "way",
                    models.CharField(
                        choices=[("mail", "by the address in a mail"), ("page", "on a page"), ("api", "by a program")],
                        max_length=4,
                    ),
                ),
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
                    "recipient",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["farm", "recipient", "chosen_at"], name="digest_choice_by_reader")],
            },
        ),
        migrations.CreateModel(
            name="MondayListChoice",
            fields=[
                (
                    "how_often",
                    models.CharField(
                        choices=[
                            ("every_week", "every week"),
                            ("when_needed", "only when something needs a look"),
                            ("none", "no mail"),
                        ],
                        max_length=11,
                    ),
                ),
                ("chosen_at", models.DateTimeField()),
                (
                    "way",
                    models.CharField(
                        choices=[("mail", "by the address in a mail"), ("page", "on a page"), ("api", "by a program")],
                        max_length=4,
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                (
                    "group",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="farms.group"),
                ),
                (
                    "recipient",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["group", "recipient", "chosen_at"], name="list_choice_by_reader")],
            },
        ),
        ForceRowSecurity(
            "digestchoice",
            {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"},
            reads={"app": OWN_ON_FARM},
            writes={"app": OWN_ON_FARM},
        ),
        ForceRowSecurity(
            "mondaylistchoice",
            {"app": "SELECT, INSERT", "worker": "SELECT"},
            reads={"app": OWN},
            writes={"app": OWN},
        ),
        Grant(["alerts_choicekey"], {"app": "SELECT, INSERT", "worker": "SELECT, INSERT"}),
    ]
