"""Safe before deploy: new tables only."""

import django.db.models.deletion
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, TieToFarm

# A picture is erased by the farm's owners and its advisers: no key, no farm phone, nobody who only counts there.
ERASES = """farm_id = ANY((SELECT writable_farms())::uuid[])
    AND NULLIF(current_setting('app.token_id', true), '') IS NULL
    AND NOT EXISTS (
        SELECT 1 FROM farms_membership m WHERE m.farm_id = monitoring_photopicture.farm_id AND m.role = 'recorder'
           AND m.user_id = NULLIF(current_setting('app.user_id', true), '')::uuid AND m.ended_at IS NULL)"""
MAY_ERASE = f"""GRANT DELETE ON monitoring_photopicture TO flyround_app;
CREATE POLICY app_delete ON monitoring_photopicture FOR DELETE TO flyround_app USING ({ERASES});"""
NO_MORE = """DROP POLICY app_delete ON monitoring_photopicture;
REVOKE DELETE ON monitoring_photopicture FROM flyround_app;"""


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0014_photo_erased_in_the_log"),
        ("monitoring", "0007_own_tables"),
    ]

    operations = [
        migrations.CreateModel(
            name="Photo",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("round_id", models.UUIDField()),
                ("station_id", models.UUIDField(null=True)),
                ("facility_id", models.UUIDField(null=True)),
                (
                    "kind",
                    models.CharField(
                        choices=[("card", "a card or trap"), ("hatching", "a place where flies hatch")],
                        max_length=8,
                        verbose_name="what it shows",
                    ),
                ),
                ("taken_at", models.DateTimeField()),
                ("x", models.FloatField(null=True)),
                ("y", models.FloatField(null=True)),
                ("width", models.PositiveSmallIntegerField()),
                ("height", models.PositiveSmallIntegerField()),
                ("picture_hash", models.CharField(max_length=64)),
                ("sent_by", models.UUIDField(null=True)),
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
                ("received_at", models.DateTimeField()),
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
                    "round",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "round_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="photos",
                        serialize=False,
                        to="monitoring.round",
                        to_fields=["farm", "id"],
                    ),
                ),
                (
                    "station",
                    models.ForeignObject(
                        blank=True,
                        editable=False,
                        from_fields=["farm", "station_id"],
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="monitoring.station",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="PhotoPicture",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("photo_id", models.UUIDField()),
                ("picture", models.BinaryField()),
                ("small", models.BinaryField()),
                ("sent_hash", models.CharField(max_length=64)),
                ("salt", models.BinaryField(max_length=16)),
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
                    "photo",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "photo_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="monitoring.photo",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Reentry",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("facility_id", models.UUIDField(null=True)),
                ("begins_at", models.DateTimeField(verbose_name="from")),
                ("until", models.DateTimeField(verbose_name="until")),
                ("label_says", models.CharField(max_length=200, verbose_name="what the label says")),
                ("typed_by", models.UUIDField(null=True)),
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
                ("replaces_id", models.UUIDField(null=True)),
                ("reason", models.CharField(blank=True, default="", max_length=200, verbose_name="why it is changed")),
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
                    "replaces",
                    models.ForeignObject(
                        blank=True,
                        editable=False,
                        from_fields=["farm", "replaces_id"],
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="monitoring.reentry",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.AddIndex(
            model_name="photo",
            index=models.Index(fields=["farm", "round_id"], name="photo_by_round"),
        ),
        migrations.AddIndex(
            model_name="photo",
            index=models.Index(fields=["farm", "kind", "taken_at"], name="photo_by_kind"),
        ),
        migrations.AddConstraint(
            model_name="photo",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("x__isnull", True), ("y__isnull", True)),
                    models.Q(("x__range", (0, 1)), ("y__range", (0, 1))),
                    _connector="OR",
                ),
                name="photo_lies_on_the_plan",
            ),
        ),
        migrations.AddConstraint(
            model_name="photopicture",
            constraint=models.UniqueConstraint(fields=("farm", "photo_id"), name="picture_once_a_photo"),
        ),
        migrations.AddIndex(
            model_name="reentry",
            index=models.Index(fields=["farm", "until"], name="reentry_by_end"),
        ),
        migrations.AddConstraint(
            model_name="reentry",
            constraint=models.UniqueConstraint(
                condition=models.Q(("replaces_id__isnull", False)),
                fields=("farm", "replaces_id"),
                name="reentry_is_replaced_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="reentry",
            constraint=models.CheckConstraint(
                condition=models.Q(("until__gt", models.F("begins_at"))), name="reentry_ends_after_it_begins"
            ),
        ),
        migrations.AddConstraint(
            model_name="reentry",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("reason", ""), ("replaces_id__isnull", True)),
                    models.Q(("replaces_id__isnull", False), models.Q(("reason", ""), _negated=True)),
                    _connector="OR",
                ),
                name="reentry_replaced_says_why",
            ),
        ),
        TieToFarm(
            "photo",
            {"round_id": "round", "station_id": "station", "facility_id": "farms.facility"},
        ),
        TieToFarm("photopicture", {"photo_id": "photo"}),
        TieToFarm("reentry", {"facility_id": "farms.facility", "replaces_id": "reentry"}),
        ForceRowSecurity("photo", {"app": "SELECT, INSERT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity("photopicture", {"app": "SELECT, INSERT", "eraser": "SELECT, DELETE"}),
        migrations.RunSQL(MAY_ERASE, NO_MORE),
        ForceRowSecurity("reentry", {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"}),
    ]
