"""Safe on an empty database only: it is the first."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, Grant, TieToFarm


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("farms", "0001_farms_people_and_access"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Alert",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("facility_id", models.UUIDField(null=True)),
                ("method", models.CharField(blank=True, default="", max_length=8)),
                (
                    "rule",
                    models.CharField(
                        choices=[("over", "over the action level"), ("rising", "rising"), ("overdue", "round overdue")],
                        max_length=8,
                    ),
                ),
                ("episode", models.PositiveSmallIntegerField(default=1)),
                ("opened_week", models.DateField()),
                ("opened_at", models.DateTimeField()),
                ("closed_week", models.DateField(null=True)),
                ("closed_at", models.DateTimeField(null=True)),
                (
                    "closed_because",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("back_below", "back below the action level"),
                            ("no_longer_rising", "no longer rising"),
                            ("counted_again", "counted again"),
                            ("skipped_ahead", "a round was skipped ahead"),
                            ("corrected", "a count was corrected"),
                            ("season_closed", "season closed"),
                        ],
                        default="",
                        max_length=16,
                    ),
                ),
                (
                    "facility",
                    models.ForeignObject(
                        blank=True,
                        editable=False,
                        from_fields=["farm", "facility_id"],
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="farms.facility",
                        to_fields=["farm", "id"],
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
            ],
        ),
        migrations.CreateModel(
            name="AlertEvent",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("alert_id", models.UUIDField()),
                (
                    "kind",
                    models.CharField(
                        choices=[("opened", "opened"), ("stayed", "stayed"), ("seen", "seen"), ("closed", "closed")],
                        max_length=8,
                    ),
                ),
                ("week", models.DateField()),
                ("at", models.DateTimeField()),
                ("evidence", models.JSONField(default=dict)),
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
                ("entry", models.BigIntegerField()),
                (
                    "alert",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "alert_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="events",
                        serialize=False,
                        to="alerts.alert",
                        to_fields=["farm", "id"],
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
            ],
        ),
        migrations.CreateModel(
            name="Assessment",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("facility_id", models.UUIDField(null=True)),
                (
                    "method",
                    models.CharField(
                        choices=[("card", "spot cards"), ("trap", "jug traps"), ("leg", "leg counts")], max_length=8
                    ),
                ),
                ("week", models.DateField()),
                ("revision", models.PositiveSmallIntegerField(default=1)),
                ("judged_at", models.DateTimeField()),
                ("mean", models.FloatField(null=True)),
                ("low", models.FloatField(null=True)),
                ("high", models.FloatField(null=True)),
                ("at_least", models.BooleanField(default=False)),
                ("devices", models.IntegerField(default=0)),
                ("missing", models.IntegerField(default=0)),
                ("few_devices", models.BooleanField(default=False)),
                ("level", models.FloatField(null=True)),
                ("level_of", models.CharField(default="default", max_length=8)),
                (
                    "result",
                    models.CharField(
                        choices=[("below", "below"), ("near", "near"), ("over", "at or over"), ("none", "not counted")],
                        max_length=6,
                    ),
                ),
                (
                    "trend",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("rising", "rising"),
                            ("falling", "falling"),
                            ("level", "level"),
                            ("too_early", "too early to tell"),
                        ],
                        default="",
                        max_length=10,
                    ),
                ),
                ("growth", models.FloatField(help_text="Log growth a week.", null=True)),
                ("growth_low", models.FloatField(null=True)),
                ("growth_high", models.FloatField(null=True)),
                ("p_value", models.FloatField(null=True)),
                ("weeks_observed", models.PositiveSmallIntegerField(default=0)),
                ("evidence", models.JSONField(default=dict)),
                ("code_version", models.CharField(max_length=40)),
                (
                    "facility",
                    models.ForeignObject(
                        blank=True,
                        editable=False,
                        from_fields=["farm", "facility_id"],
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="farms.facility",
                        to_fields=["farm", "id"],
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
            ],
        ),
        migrations.CreateModel(
            name="CheckFailure",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("week", models.DateField()),
                ("error", models.TextField()),
                ("failed_at", models.DateTimeField()),
                ("retry_at", models.DateTimeField()),
                ("solved_at", models.DateTimeField(null=True)),
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
        migrations.CreateModel(
            name="CheckRun",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("week", models.DateField(help_text="The Monday of the ISO week that is judged.")),
                (
                    "state",
                    models.CharField(
                        choices=[("due", "Due"), ("running", "Running"), ("done", "Done")], default="due", max_length=8
                    ),
                ),
                ("lease_until", models.DateTimeField(null=True)),
                ("attempts", models.IntegerField(default=0)),
                ("started_at", models.DateTimeField(null=True)),
                ("finished_at", models.DateTimeField(null=True)),
                ("judged_to", models.DateTimeField(null=True)),
                ("farms", models.IntegerField(default=0)),
                ("failures", models.IntegerField(default=0)),
                ("error", models.TextField(blank=True, default="")),
                ("code_version", models.CharField(blank=True, default="", max_length=40)),
                (
                    "group",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="check_runs", to="farms.group"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Digest",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("occasion", models.CharField(max_length=20)),
                ("language", models.CharField(max_length=5)),
                ("subject", models.CharField(max_length=200)),
                ("text", models.TextField()),
                ("html", models.TextField()),
                ("picture", models.BinaryField(null=True)),
                ("picture_text", models.TextField(blank=True, default="")),
                ("queued_at", models.DateTimeField()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("queued", "Queued"),
                            ("sending", "Sending"),
                            ("sent", "Sent"),
                            ("refused", "Refused"),
                        ],
                        default="queued",
                        max_length=8,
                    ),
                ),
                ("lease_until", models.DateTimeField(null=True)),
                ("attempts", models.IntegerField(default=0)),
                ("next_try_at", models.DateTimeField()),
                ("sent_at", models.DateTimeField(null=True)),
                ("error", models.TextField(blank=True, default="")),
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
        ),
        migrations.CreateModel(
            name="FarmLevel",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                (
                    "method",
                    models.CharField(
                        choices=[("card", "spot cards"), ("trap", "jug traps"), ("leg", "leg counts")],
                        max_length=8,
                        verbose_name="method",
                    ),
                ),
                ("value", models.FloatField(verbose_name="action level")),
                ("unit", models.CharField(max_length=40)),
                ("valid_from", models.DateField(verbose_name="from")),
                ("reason", models.CharField(max_length=300, verbose_name="reason")),
                ("set_at", models.DateTimeField()),
                ("facility_id", models.UUIDField(null=True)),
                ("entry", models.BigIntegerField()),
                (
                    "facility",
                    models.ForeignObject(
                        blank=True,
                        editable=False,
                        from_fields=["farm", "facility_id"],
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="farms.facility",
                        to_fields=["farm", "id"],
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
                    "set_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="GroupLevel",
            fields=[
                (
                    "method",
                    models.CharField(
                        choices=[("card", "spot cards"), ("trap", "jug traps"), ("leg", "leg counts")],
                        max_length=8,
                        verbose_name="method",
                    ),
                ),
                ("value", models.FloatField(verbose_name="action level")),
                ("unit", models.CharField(max_length=40)),
                ("valid_from", models.DateField(verbose_name="from")),
                ("reason", models.CharField(max_length=300, verbose_name="reason")),
                ("set_at", models.DateTimeField()),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                (
                    "group",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="levels", to="farms.group"
                    ),
                ),
                (
                    "set_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="MondayList",
            fields=[
                ("occasion", models.CharField(max_length=20)),
                ("language", models.CharField(max_length=5)),
                ("subject", models.CharField(max_length=200)),
                ("text", models.TextField()),
                ("html", models.TextField()),
                ("picture", models.BinaryField(null=True)),
                ("picture_text", models.TextField(blank=True, default="")),
                ("queued_at", models.DateTimeField()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("queued", "Queued"),
                            ("sending", "Sending"),
                            ("sent", "Sent"),
                            ("refused", "Refused"),
                        ],
                        default="queued",
                        max_length=8,
                    ),
                ),
                ("lease_until", models.DateTimeField(null=True)),
                ("attempts", models.IntegerField(default=0)),
                ("next_try_at", models.DateTimeField()),
                ("sent_at", models.DateTimeField(null=True)),
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
        ),
        TieToFarm("farmlevel", {"facility_id": "farms.facility"}),
        TieToFarm("assessment", {"facility_id": "farms.facility"}),
        TieToFarm("alert", {"facility_id": "farms.facility"}),
        TieToFarm("alertevent", {"alert_id": "alert"}),
        migrations.AddConstraint(
            model_name="alert",
            constraint=models.UniqueConstraint(
                fields=("farm", "facility_id", "method", "rule", "episode"),
                name="alert_once_an_episode",
                nulls_distinct=False,
            ),
        ),
        migrations.AddConstraint(
            model_name="alert",
            constraint=models.UniqueConstraint(
                condition=models.Q(("closed_at__isnull", True)),
                fields=("farm", "facility_id", "method", "rule"),
                name="alert_open_once",
                nulls_distinct=False,
            ),
        ),
        migrations.AddIndex(
            model_name="alertevent",
            index=models.Index(fields=["farm", "alert_id", "at"], name="event_by_alert"),
        ),
        migrations.AddIndex(
            model_name="assessment",
            index=models.Index(fields=["week"], name="assessment_by_week"),
        ),
        migrations.AddConstraint(
            model_name="assessment",
            constraint=models.UniqueConstraint(
                fields=("farm", "facility_id", "method", "week", "revision"),
                name="assessment_once_a_revision",
                nulls_distinct=False,
            ),
        ),
        migrations.AddConstraint(
            model_name="checkfailure",
            constraint=models.UniqueConstraint(fields=("farm", "week"), name="check_failure_once_a_week"),
        ),
        migrations.AddConstraint(
            model_name="checkrun",
            constraint=models.UniqueConstraint(fields=("group", "week"), name="check_run_once_a_week"),
        ),
        migrations.AddIndex(
            model_name="digest",
            index=models.Index(
                condition=models.Q(("state__in", ["queued", "sending"])), fields=["next_try_at"], name="digest_due"
            ),
        ),
        migrations.AddConstraint(
            model_name="digest",
            constraint=models.UniqueConstraint(
                fields=("farm", "recipient", "occasion"), name="digest_once_an_occasion"
            ),
        ),
        migrations.AddConstraint(
            model_name="farmlevel",
            constraint=models.CheckConstraint(condition=models.Q(("value__gt", 0)), name="farm_level_above_zero"),
        ),
        migrations.AddConstraint(
            model_name="grouplevel",
            constraint=models.CheckConstraint(condition=models.Q(("value__gt", 0)), name="group_level_above_zero"),
        ),
        migrations.AddIndex(
            model_name="mondaylist",
            index=models.Index(
                condition=models.Q(("state__in", ["queued", "sending"])), fields=["next_try_at"], name="monday_list_due"
            ),
        ),
        migrations.AddConstraint(
            model_name="mondaylist",
            constraint=models.UniqueConstraint(
                fields=("group", "recipient", "occasion"), name="monday_list_once_an_occasion"
            ),
        ),
        ForceRowSecurity("farmlevel", {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity(
            "checkfailure", {"app": "SELECT", "worker": "SELECT, INSERT, UPDATE", "eraser": "SELECT, DELETE"}
        ),
        ForceRowSecurity("assessment", {"app": "SELECT", "worker": "SELECT, INSERT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity(
            "alert",
            {
                "app": "SELECT",
                "worker": "SELECT, INSERT, UPDATE (closed_week, closed_at, closed_because)",
                "eraser": "SELECT, DELETE",
            },
        ),
        ForceRowSecurity(
            "alertevent", {"app": "SELECT, INSERT", "worker": "SELECT, INSERT", "eraser": "SELECT, DELETE"}
        ),
        ForceRowSecurity(
            "digest",
            {
                "app": "SELECT",
                "worker": "SELECT, INSERT, UPDATE (state, lease_until, attempts, next_try_at, sent_at, error)",
                "eraser": "SELECT, DELETE",
            },
        ),
        ForceRowSecurity(
            "mondaylist",
            {
                "app": "SELECT",
                "worker": "SELECT, INSERT, UPDATE (state, lease_until, attempts, next_try_at, sent_at, error)",
            },
            reads={"app": "recipient_id = (SELECT NULLIF(current_setting('app.user_id', true), '')::uuid)"},
        ),
        Grant(["alerts_grouplevel"], {"app": "SELECT, INSERT", "worker": "SELECT"}),
        Grant(["alerts_checkrun"], {"app": "SELECT", "worker": "SELECT, INSERT, UPDATE"}),
    ]
