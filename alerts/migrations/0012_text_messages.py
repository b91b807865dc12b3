"""Safe before deploy: two new tables, which older code doesn't know."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity

OWN = "{column} = (SELECT NULLIF(current_setting('app.user_id', true), '')::uuid)"


class Migration(migrations.Migration):
    dependencies = [
        ("alerts", "0011_webhooks"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="TextNumber",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                (
                    "number",
                    models.CharField(
                        help_text="As ITU-T E.164 writes it: + and digits.", max_length=16, verbose_name="number"
                    ),
                ),
                ("asked_at", models.DateTimeField()),
                ("confirmed_at", models.DateTimeField(null=True)),
                (
                    "stopped_at",
                    models.DateTimeField(help_text="When the text message service said it takes none.", null=True),
                ),
                (
                    "user",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="TextMessage",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("occasion", models.CharField(max_length=20)),
                ("time_zone", models.CharField(blank=True, default="", max_length=64)),
                ("queued_at", models.DateTimeField()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("queued", "Queued"),
                            ("sending", "Sending"),
                            ("sent", "Sent"),
                            ("refused", "Refused"),
                            ("late", "Late"),
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
                ("error", models.CharField(blank=True, default="", max_length=60)),
                (
                    "recipient",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "indexes": [
                    models.Index(
                        condition=models.Q(("state__in", ["queued", "sending"])),
                        fields=["next_try_at"],
                        name="text_message_due",
                    )
                ],
                "constraints": [
                    models.UniqueConstraint(fields=("recipient", "occasion"), name="text_message_once_an_occasion")
                ],
            },
        ),
        ForceRowSecurity(
            "textnumber",
            {"app": "SELECT, INSERT, UPDATE (confirmed_at), DELETE", "worker": "SELECT, UPDATE (stopped_at)"},
            column="user_id",
            reads={"app": OWN},
            writes={"app": OWN},
        ),
        ForceRowSecurity(
            "textmessage",
            {"app": "SELECT, INSERT", "worker": "SELECT, INSERT, UPDATE"},
            column="recipient_id",
            reads={"app": OWN},
            writes={"app": OWN},
        ),
    ]
