"""Safe before deploy: new tables, wider words, and columns that older code leaves alone."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, Grant, TieToFarm


class Migration(migrations.Migration):
    dependencies = [
        ("alerts", "0004_results_by_farm_and_week"),
        ("farms", "0005_only_guests_end_by_themselves"),
        ("monitoring", "0004_clock_of_the_sender"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="AlertNote",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("event_id", models.UUIDField()),
                ("text", models.TextField(max_length=2000)),
                ("salt", models.BinaryField(max_length=16)),
                ("entry", models.BigIntegerField()),
                (
                    "event",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "event_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="notes",
                        serialize=False,
                        to="alerts.alertevent",
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
            name="AlertWork",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("alert_id", models.UUIDField()),
                ("work_id", models.UUIDField()),
                ("event_id", models.UUIDField()),
                (
                    "alert",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "alert_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="works",
                        serialize=False,
                        to="alerts.alert",
                        to_fields=["farm", "id"],
                    ),
                ),
                (
                    "event",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "event_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="alerts.alertevent",
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
                    "work",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "work_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="monitoring.work",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="GroupRule",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                (
                    "rule",
                    models.CharField(
                        choices=[
                            ("over", "over the action level"),
                            ("soon", "likely over soon"),
                            ("rising", "rising"),
                            ("hot_station", "one far above the rest"),
                            ("jump", "a jump against the farm's own past"),
                            ("overdue", "round overdue"),
                            ("missing_twice", "without a count twice running"),
                            ("siting", "how they hang"),
                            ("few_animals", "too few animals looked at"),
                        ],
                        max_length=16,
                        verbose_name="rule",
                    ),
                ),
                ("is_on", models.BooleanField(verbose_name="on")),
                ("numbers", models.JSONField(default=dict)),
                ("valid_from", models.DateField(verbose_name="from")),
                ("reason", models.CharField(max_length=300, verbose_name="reason")),
                ("set_at", models.DateTimeField()),
                (
                    "group",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="rules", to="farms.group"
                    ),
                ),
                (
                    "set_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.AddField(
            model_name="farmlevel",
            name="taken_back",
            field=models.BooleanField(null=True),
        ),
        migrations.AddField(
            model_name="grouplevel",
            name="taken_back",
            field=models.BooleanField(null=True),
        ),
        migrations.AddField(
            model_name="alert",
            name="escalated_at",
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name="alert",
            name="reopened_at",
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name="alert",
            name="reopened_week",
            field=models.DateField(null=True),
        ),
        migrations.AddField(
            model_name="checkrun",
            name="rise_bars",
            field=models.JSONField(null=True),
        ),
        migrations.AlterField(
            model_name="alert",
            name="closed_because",
            field=models.CharField(
                blank=True,
                choices=[
                    ("back_below", "back below the action level"),
                    ("no_longer_rising", "no longer rising"),
                    ("over_now", "it is over the action level now"),
                    ("no_longer_likely", "no longer likely over soon"),
                    ("no_longer_apart", "no longer far above the rest"),
                    ("like_its_past", "like the farm's own past again"),
                    ("counted_again", "counted again"),
                    ("skipped_ahead", "a round was skipped ahead"),
                    ("put_right", "put right"),
                    ("enough_animals", "enough animals looked at"),
                    ("corrected", "a count was corrected"),
                    ("switched_off", "the group no longer asks for this"),
                    ("season_closed", "season closed"),
                ],
                default="",
                max_length=16,
            ),
        ),
        migrations.AlterField(
            model_name="alert",
            name="rule",
            field=models.CharField(
                choices=[
                    ("over", "over the action level"),
                    ("soon", "likely over soon"),
                    ("rising", "rising"),
                    ("hot_station", "one far above the rest"),
                    ("jump", "a jump against the farm's own past"),
                    ("overdue", "round overdue"),
                    ("missing_twice", "without a count twice running"),
                    ("siting", "how they hang"),
                    ("few_animals", "too few animals looked at"),
                ],
                max_length=16,
            ),
        ),
        migrations.AlterField(
            model_name="alertevent",
            name="kind",
            field=models.CharField(
                choices=[
                    ("opened", "opened"),
                    ("reopened", "opened again"),
                    ("stayed", "stayed"),
                    ("seen", "seen"),
                    ("acknowledged", "acknowledged"),
                    ("snoozed", "later"),
                    ("work_linked", "work noted"),
                    ("escalated", "adviser told"),
                    ("closed", "closed"),
                ],
                max_length=12,
            ),
        ),
        migrations.AddIndex(
            model_name="alert",
            index=models.Index(
                condition=models.Q(("closed_at__isnull", True), ("escalated_at__isnull", True)),
                fields=["opened_at"],
                name="alert_to_escalate",
            ),
        ),
        TieToFarm("alertnote", {"event_id": "alertevent"}),
        TieToFarm("alertwork", {"alert_id": "alert", "work_id": "monitoring.work", "event_id": "alertevent"}),
        migrations.AddConstraint(
            model_name="alertnote",
            constraint=models.UniqueConstraint(fields=("farm", "event_id"), name="alert_note_once_an_event"),
        ),
        migrations.AddConstraint(
            model_name="alertwork",
            constraint=models.UniqueConstraint(fields=("farm", "alert_id", "work_id"), name="alert_work_once"),
        ),
        migrations.AddIndex(
            model_name="grouprule",
            index=models.Index(fields=["group", "rule", "valid_from"], name="group_rule_by_day"),
        ),
        ForceRowSecurity("alertnote", {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity("alertwork", {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"}),
        Grant(["alerts_grouprule"], {"app": "SELECT, INSERT", "worker": "SELECT"}),
        Grant(["alerts_alert"], {"worker": "UPDATE (escalated_at, reopened_at, reopened_week)"}),
    ]
