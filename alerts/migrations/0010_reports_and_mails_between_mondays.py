"""Safe before deploy: new tables, a column that may be empty, a reading right; older code leaves them alone."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, Grant

OWN = "recipient_id = (SELECT NULLIF(current_setting('app.user_id', true), '')::uuid)"


class Migration(migrations.Migration):
    dependencies = [
        ("alerts", "0009_told_on"),
        ("farms", "0006_closures_and_visits"),
        ("monitoring", "0004_clock_of_the_sender"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="checkrun",
            name="looked_to",
            field=models.DateTimeField(null=True),
        ),
        migrations.AlterField(
            model_name="digest",
            name="reason",
            field=models.CharField(
                blank=True,
                choices=[
                    ("no_owner", "its reader was no longer an owner of the farm"),
                    ("no_adviser", "its reader was no longer an adviser of the group"),
                    ("role_ended", "its reader was no longer a coordinator of the group"),
                    ("withdrew", "a farm on this list had withdrawn its consent since it was written"),
                    ("stopped", "mails to this address don't arrive, so none is sent there"),
                    ("address", "the mail server there refused the address"),
                    ("mail", "the mail server refused this mail, not the address"),
                ],
                db_default="",
                default="",
                max_length=10,
            ),
        ),
        migrations.AlterField(
            model_name="mondaylist",
            name="reason",
            field=models.CharField(
                blank=True,
                choices=[
                    ("no_owner", "its reader was no longer an owner of the farm"),
                    ("no_adviser", "its reader was no longer an adviser of the group"),
                    ("role_ended", "its reader was no longer a coordinator of the group"),
                    ("withdrew", "a farm on this list had withdrawn its consent since it was written"),
                    ("stopped", "mails to this address don't arrive, so none is sent there"),
                    ("address", "the mail server there refused the address"),
                    ("mail", "the mail server refused this mail, not the address"),
                ],
                db_default="",
                default="",
                max_length=10,
            ),
        ),
        migrations.CreateModel(
            name="CoordinatorReport",
            fields=[
                ("occasion", models.CharField(max_length=20)),
                ("language", models.CharField(max_length=5)),
                ("subject", models.CharField(max_length=200)),
                ("text", models.TextField()),
                ("html", models.TextField()),
                ("picture", models.BinaryField(null=True)),
                ("picture_text", models.TextField(blank=True, default="")),
                ("needs_a_look", models.BooleanField(db_default=True, default=True)),
                ("queued_at", models.DateTimeField()),
                (
                    "state",
                    models.CharField(
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
                ("lease_until", models.DateTimeField(null=True)),
                ("attempts", models.IntegerField(default=0)),
                ("next_try_at", models.DateTimeField()),
                ("sent_at", models.DateTimeField(null=True)),
                (
                    "reason",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("no_owner", "its reader was no longer an owner of the farm"),
                            ("no_adviser", "its reader was no longer an adviser of the group"),
                            ("role_ended", "its reader was no longer a coordinator of the group"),
                            ("withdrew", "a farm on this list had withdrawn its consent since it was written"),
                            ("stopped", "mails to this address don't arrive, so none is sent there"),
                            ("address", "the mail server there refused the address"),
                            ("mail", "the mail server refused this mail, not the address"),
                        ],
                        db_default="",
                        default="",
                        max_length=10,
                    ),
                ),
                ("error", models.TextField(blank=True, default="")),
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
                "indexes": [
                    models.Index(
                        condition=models.Q(("state__in", ["queued", "sending"])),
                        fields=["next_try_at"],
                        name="coordinator_report_due",
                    )
                ],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("group", "recipient", "occasion"), name="coordinator_report_once_an_occasion"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="CoordinatorReportChoice",
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
                "indexes": [models.Index(fields=["group", "recipient", "chosen_at"], name="report_choice_by_reader")],
            },
        ),
        ForceRowSecurity(
            "coordinatorreport",
            {
                "app": "SELECT",
                "worker": "SELECT, INSERT, UPDATE (state, lease_until, attempts, next_try_at, sent_at, error, reason)",
            },
            reads={"app": OWN},
        ),
        ForceRowSecurity(
            "coordinatorreportchoice",
            {"app": "SELECT, INSERT", "worker": "SELECT"},
            reads={"app": OWN},
            writes={"app": OWN},
        ),
        # Whether a region's report was published, and as what, stands in the coordinator's. Nothing of a farm is in it.
        Grant(["monitoring_regionreport"], {"worker": "SELECT"}),
    ]
