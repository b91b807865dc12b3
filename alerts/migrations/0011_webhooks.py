"""Safe before deploy: new tables, and columns with a default in the database, which older code leaves alone."""

import django.contrib.postgres.fields
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, TieToFarm

# The farm's people and its advisers, no key: a key that leaked must not lead everything that happens elsewhere.
NO_KEY = " AND NULLIF(current_setting('app.token_id', true), '') IS NULL"
SEEN_BY_PEOPLE = "{column} = ANY((SELECT visible_farms())::uuid[])" + NO_KEY
WRITTEN_BY_PEOPLE = "{column} = ANY((SELECT writable_farms())::uuid[])" + NO_KEY
SET_BY_OWNER = "ended_at, since, mark, off_at, off_because, failures, failing_since, quiet_until"
NOTED_BY_WORKER = "mark, off_at, off_because, failures, failing_since, quiet_until, problem, status, sent_at"


class Migration(migrations.Migration):
    dependencies = [
        ("alerts", "0010_reports_and_mails_between_mondays"),
        ("farms", "0008_webhooks_in_the_log"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Webhook",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("address", models.CharField(max_length=500, verbose_name="address")),
                (
                    "kinds",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(
                            choices=[
                                ("alert.opened", "an open matter came, or came again"),
                                ("alert.closed", "an open matter ended"),
                                ("week.judged", "a week was judged"),
                                ("round.stored", "a round was stored"),
                            ],
                            max_length=20,
                        ),
                        size=None,
                    ),
                ),
                ("made_at", models.DateTimeField()),
                ("ended_at", models.DateTimeField(null=True)),
                ("since", models.DateTimeField()),
                ("mark", models.BigIntegerField()),
                ("off_at", models.DateTimeField(null=True)),
                (
                    "off_because",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("chosen", "switched off by an owner"),
                            ("gone", "it said that it wants nothing any more (410)"),
                            ("failing", "nothing got through for three days"),
                        ],
                        default="",
                        max_length=8,
                    ),
                ),
                ("failures", models.IntegerField(default=0, help_text="In a row.")),
                ("failing_since", models.DateTimeField(null=True)),
                ("quiet_until", models.DateTimeField(null=True)),
                (
                    "problem",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("forbidden", "the address leads into a private network, where nothing is sent"),
                            ("no_name", "the name of the address can't be found"),
                            ("no_connection", "no connection"),
                            ("certificate", "the certificate there doesn't hold"),
                            ("slow", "no answer within ten seconds"),
                            ("no_answer", "the connection broke off"),
                            ("moved", "it sends on to another address, which is not followed"),
                            ("status", "it answered with an error"),
                        ],
                        default="",
                        max_length=13,
                    ),
                ),
                ("status", models.SmallIntegerField(null=True)),
                ("sent_at", models.DateTimeField(null=True)),
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
            ],
        ),
        migrations.CreateModel(
            name="WebhookDelivery",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("webhook_id", models.UUIDField()),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("alert.opened", "an open matter came, or came again"),
                            ("alert.closed", "an open matter ended"),
                            ("week.judged", "a week was judged"),
                            ("round.stored", "a round was stored"),
                        ],
                        max_length=20,
                    ),
                ),
                ("happening", models.UUIDField()),
                (
                    "subject",
                    models.UUIDField(help_text="The alert or the round; none for a week or a file.", null=True),
                ),
                ("week", models.DateField(null=True)),
                ("happened_at", models.DateTimeField()),
                ("queued_at", models.DateTimeField()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("waiting", "waiting"),
                            ("sending", "being sent"),
                            ("taken", "taken"),
                            ("given_up", "given up"),
                        ],
                        default="waiting",
                        max_length=8,
                    ),
                ),
                ("lease_until", models.DateTimeField(null=True)),
                ("attempts", models.IntegerField(default=0)),
                ("next_try_at", models.DateTimeField()),
                ("ended_at", models.DateTimeField(null=True)),
                (
                    "problem",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("forbidden", "the address leads into a private network, where nothing is sent"),
                            ("no_name", "the name of the address can't be found"),
                            ("no_connection", "no connection"),
                            ("certificate", "the certificate there doesn't hold"),
                            ("slow", "no answer within ten seconds"),
                            ("no_answer", "the connection broke off"),
                            ("moved", "it sends on to another address, which is not followed"),
                            ("status", "it answered with an error"),
                        ],
                        default="",
                        max_length=13,
                    ),
                ),
                ("status", models.SmallIntegerField(null=True)),
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
                    "webhook",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "webhook_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="alerts.webhook",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="WebhookSecret",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("webhook_id", models.UUIDField()),
                ("key", models.BinaryField(max_length=32)),
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
                    "webhook",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "webhook_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="alerts.webhook",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.AddIndex(
            model_name="webhook",
            index=models.Index(
                condition=models.Q(("ended_at__isnull", True), ("off_at__isnull", True)),
                fields=["farm"],
                name="webhook_on",
            ),
        ),
        migrations.AddIndex(
            model_name="webhookdelivery",
            index=models.Index(
                condition=models.Q(("state__in", ["waiting", "sending"])),
                fields=["next_try_at"],
                name="webhook_delivery_due",
            ),
        ),
        migrations.AddConstraint(
            model_name="webhookdelivery",
            constraint=models.UniqueConstraint(
                fields=("farm", "webhook_id", "happening"), name="webhook_told_once_of_a_happening"
            ),
        ),
        migrations.AddConstraint(
            model_name="webhooksecret",
            constraint=models.UniqueConstraint(fields=("farm", "webhook_id"), name="webhook_has_one_secret"),
        ),
        migrations.AddField(
            model_name="running",
            name="hooks",
            field=models.IntegerField(
                db_default=0, default=0, help_text="Messages that wait for webhooks switched on."
            ),
        ),
        migrations.AddField(
            model_name="running",
            name="oldest_hook_at",
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name="running",
            name="hooks_failing",
            field=models.IntegerField(db_default=0, default=0, help_text="Webhooks that last took nothing."),
        ),
        TieToFarm("webhooksecret", {"webhook_id": "webhook"}),
        TieToFarm("webhookdelivery", {"webhook_id": "webhook"}),
        ForceRowSecurity(
            "webhook",
            {
                "app": f"SELECT, INSERT, UPDATE ({SET_BY_OWNER})",
                "worker": f"SELECT, UPDATE ({NOTED_BY_WORKER})",
                "eraser": "SELECT, DELETE",
            },
            reads={"app": SEEN_BY_PEOPLE},
            writes={"app": WRITTEN_BY_PEOPLE},
        ),
        # Who writes a secret can't read it, so that no fault of a page can show one.
        ForceRowSecurity(
            "webhooksecret",
            {"app": "INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"},
            writes={"app": WRITTEN_BY_PEOPLE},
        ),
        ForceRowSecurity(
            "webhookdelivery",
            {
                "app": "SELECT",
                "worker": "SELECT, INSERT,"
                " UPDATE (state, lease_until, attempts, next_try_at, ended_at, problem, status)",
                "eraser": "SELECT, DELETE",
            },
            reads={"app": SEEN_BY_PEOPLE},
        ),
    ]
