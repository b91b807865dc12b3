"""Safe before deploy: new tables only."""

import django.db.models.deletion
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, TieToFarm

NO_KEY = "NULLIF(current_setting('app.token_id', true), '') IS NULL"
VISIBLE = "{column} = ANY((SELECT visible_farms())::uuid[])"
WRITABLE = "{column} = ANY((SELECT writable_farms())::uuid[])"
# Who only counts on the farm reads no complaint and erases no picture.
NOT_RECORDER = """NOT EXISTS (
        SELECT 1 FROM farms_membership m WHERE m.farm_id = monitoring_%s.farm_id AND m.role = 'recorder'
           AND m.user_id = NULLIF(current_setting('app.user_id', true), '')::uuid AND m.ended_at IS NULL)"""
ERASES = f"""farm_id = ANY((SELECT writable_farms())::uuid[]) AND {NO_KEY}
    AND {NOT_RECORDER % "findingpicture"}"""
MAY_ERASE = f"""GRANT DELETE ON monitoring_findingpicture TO flyround_app;
CREATE POLICY app_delete ON monitoring_findingpicture FOR DELETE TO flyround_app USING ({ERASES});"""
NO_MORE = """DROP POLICY app_delete ON monitoring_findingpicture;
REVOKE DELETE ON monitoring_findingpicture FROM flyround_app;"""
RIGHTS = {"app": "SELECT, INSERT", "eraser": "SELECT, DELETE"}


def for_people(model: str) -> ForceRowSecurity:
    """Free words: the farm's people and its advisers read them; a key may write them and never reads them again."""
    return ForceRowSecurity(model, RIGHTS, reads={"app": f"{VISIBLE} AND {NO_KEY}"})


def for_owners_and_advisers(model: str) -> ForceRowSecurity:
    more = f"{NO_KEY} AND {NOT_RECORDER % model}"
    return ForceRowSecurity(
        model, RIGHTS, reads={"app": f"{VISIBLE} AND {more}"}, writes={"app": f"{WRITABLE} AND {more}"}
    )


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0014_photo_erased_in_the_log"),
        ("monitoring", "0008_photos_and_kept_out"),
    ]

    operations = [
        migrations.CreateModel(
            name="Complaint",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("noted_by", models.UUIDField(null=True)),
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
                ("words_hash", models.CharField(blank=True, default="", max_length=64)),
                ("entry", models.BigIntegerField()),
                ("heard_on", models.DateField(verbose_name="when")),
                (
                    "came",
                    models.CharField(
                        choices=[
                            ("call", "a call"),
                            ("letter", "a letter or mail"),
                            ("visit", "a visit"),
                            ("other", "another way"),
                        ],
                        max_length=6,
                        verbose_name="how it came",
                    ),
                ),
                (
                    "said_by",
                    models.CharField(
                        choices=[
                            ("neighbour", "a neighbor"),
                            ("inspector", "an inspector"),
                            ("other", "somebody else"),
                        ],
                        max_length=9,
                        verbose_name="who said it",
                    ),
                ),
                ("origin_id", models.UUIDField(null=True)),
                ("replaces_id", models.UUIDField(null=True)),
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
                    "origin",
                    models.ForeignObject(
                        blank=True,
                        editable=False,
                        from_fields=["farm", "origin_id"],
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="monitoring.complaint",
                        to_fields=["farm", "id"],
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
                        to="monitoring.complaint",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="ComplaintAnswer",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("noted_by", models.UUIDField(null=True)),
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
                ("words_hash", models.CharField(blank=True, default="", max_length=64)),
                ("entry", models.BigIntegerField()),
                ("complaint_id", models.UUIDField()),
                ("answered_on", models.DateField(verbose_name="when")),
                (
                    "went",
                    models.CharField(
                        choices=[
                            ("call", "a call"),
                            ("letter", "a letter or mail"),
                            ("visit", "a visit"),
                            ("other", "another way"),
                        ],
                        max_length=6,
                        verbose_name="how it went out",
                    ),
                ),
                ("replaces_id", models.UUIDField(null=True)),
                (
                    "complaint",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "complaint_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="answers",
                        serialize=False,
                        to="monitoring.complaint",
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
                        to="monitoring.complaintanswer",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="ComplaintAnswerWords",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("words", models.JSONField()),
                ("salt", models.BinaryField(max_length=16)),
                ("answer_id", models.UUIDField()),
                (
                    "answer",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "answer_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="monitoring.complaintanswer",
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
            name="ComplaintWords",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("words", models.JSONField()),
                ("salt", models.BinaryField(max_length=16)),
                ("complaint_id", models.UUIDField()),
                (
                    "complaint",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "complaint_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="monitoring.complaint",
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
            name="Finding",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("noted_by", models.UUIDField(null=True)),
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
                ("words_hash", models.CharField(blank=True, default="", max_length=64)),
                ("entry", models.BigIntegerField()),
                ("walk_id", models.UUIDField()),
                ("facility_id", models.UUIDField(null=True)),
                ("station_id", models.UUIDField(null=True)),
                (
                    "place",
                    models.CharField(
                        choices=[
                            ("pen_corners", "corners and edges of pens"),
                            ("hutch_edges", "around and under hutches"),
                            ("bedding", "wet bedding"),
                            ("waterers", "under waterers"),
                            ("feed_bunks", "along feed bunks"),
                            ("spilled_feed", "spilled feed"),
                            ("mangers", "mangers"),
                            ("spilled_milk", "where milk is mixed or spilled"),
                            ("gutters", "gutters"),
                            ("drains", "drains and their edges"),
                            ("out_of_reach", "manure that a scraper cannot reach"),
                            ("alley_ends", "ends of alleys"),
                            ("fence_lines", "under fences and gates"),
                            ("manure_pile", "manure pile and its edges"),
                            ("lagoon_edges", "edges and crust of the lagoon or pit"),
                            ("silo_edges", "around silos"),
                            ("silage_edges", "edges of silage and what seeps from it"),
                            ("hay_rings", "old hay rings"),
                            ("winter_pack", "the winter's bedded pack"),
                            ("hutch_ground", "where hutches stood"),
                            ("other", "another place"),
                        ],
                        max_length=16,
                        verbose_name="place",
                    ),
                ),
                ("seen_on", models.DateField(verbose_name="looked at on")),
                ("nothing", models.BooleanField(default=False, verbose_name="nothing found")),
                (
                    "material",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("manure", "manure"),
                            ("bedding", "bedding"),
                            ("feed", "feed"),
                            ("silage", "silage"),
                            ("hay", "hay or straw"),
                            ("soil", "soil or mud"),
                            ("other", "something else"),
                        ],
                        default="",
                        max_length=8,
                        verbose_name="material",
                    ),
                ),
                (
                    "moisture",
                    models.CharField(
                        blank=True,
                        choices=[("wet", "wet"), ("dry", "dry")],
                        default="",
                        max_length=3,
                        verbose_name="wet or dry",
                    ),
                ),
                (
                    "larvae",
                    models.CharField(
                        blank=True,
                        choices=[("none", "none"), ("some", "some"), ("many", "many")],
                        default="",
                        max_length=4,
                        verbose_name="maggots",
                    ),
                ),
                (
                    "pupae",
                    models.CharField(
                        blank=True,
                        choices=[("none", "none"), ("some", "some"), ("many", "many")],
                        default="",
                        max_length=4,
                        verbose_name="pupae",
                    ),
                ),
                ("due_on", models.DateField(null=True, verbose_name="by when")),
                ("x", models.FloatField(null=True)),
                ("y", models.FloatField(null=True)),
                ("origin_id", models.UUIDField(null=True)),
                ("replaces_id", models.UUIDField(null=True)),
                ("withdrawn", models.BooleanField(default=False)),
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
                    "origin",
                    models.ForeignObject(
                        blank=True,
                        editable=False,
                        from_fields=["farm", "origin_id"],
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="monitoring.finding",
                        to_fields=["farm", "id"],
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
                        to="monitoring.finding",
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
            name="FindingPhoto",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("finding_id", models.UUIDField()),
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
                    "farm",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="farms.farm",
                    ),
                ),
                (
                    "finding",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "finding_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="photos",
                        serialize=False,
                        to="monitoring.finding",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="FindingPicture",
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
                        to="monitoring.findingphoto",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="FindingStep",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("noted_by", models.UUIDField(null=True)),
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
                ("words_hash", models.CharField(blank=True, default="", max_length=64)),
                ("entry", models.BigIntegerField()),
                ("finding_id", models.UUIDField()),
                ("number", models.PositiveSmallIntegerField()),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("done", "done"),
                            ("still_there", "looked again: still there"),
                            ("gone", "looked again: gone"),
                            ("withdrawn", "noted by mistake"),
                        ],
                        max_length=11,
                    ),
                ),
                ("on", models.DateField(verbose_name="on")),
                ("due_on", models.DateField(null=True)),
                ("replaces_id", models.UUIDField(null=True)),
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
                    "finding",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "finding_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="steps",
                        serialize=False,
                        to="monitoring.finding",
                        to_fields=["farm", "id"],
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
                        to="monitoring.findingstep",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="FindingStepWords",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("words", models.JSONField()),
                ("salt", models.BinaryField(max_length=16)),
                ("step_id", models.UUIDField()),
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
                    "step",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "step_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="monitoring.findingstep",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="FindingWords",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("words", models.JSONField()),
                ("salt", models.BinaryField(max_length=16)),
                ("finding_id", models.UUIDField()),
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
                    "finding",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "finding_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="monitoring.finding",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Walk",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("walked_on", models.DateField(verbose_name="walked on")),
                ("facility_id", models.UUIDField(null=True)),
                ("station_id", models.UUIDField(null=True)),
                ("alert_id", models.UUIDField(null=True)),
                ("noted_by", models.UUIDField(null=True)),
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
        migrations.AddField(
            model_name="finding",
            name="walk",
            field=models.ForeignObject(
                editable=False,
                from_fields=["farm", "walk_id"],
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="findings",
                serialize=False,
                to="monitoring.walk",
                to_fields=["farm", "id"],
            ),
        ),
        migrations.AddIndex(
            model_name="complaint",
            index=models.Index(fields=["farm", "heard_on"], name="complaint_by_day"),
        ),
        migrations.AddConstraint(
            model_name="complaint",
            constraint=models.UniqueConstraint(
                condition=models.Q(("replaces_id__isnull", False)),
                fields=("farm", "replaces_id"),
                name="complaint_is_replaced_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="complaint",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("origin_id__isnull", True), ("replaces_id__isnull", True)),
                    models.Q(("origin_id__isnull", False), ("replaces_id__isnull", False)),
                    _connector="OR",
                ),
                name="complaint_replaced_names_its_first",
            ),
        ),
        migrations.AddIndex(
            model_name="complaintanswer",
            index=models.Index(fields=["farm", "complaint_id"], name="answer_by_complaint"),
        ),
        migrations.AddConstraint(
            model_name="complaintanswer",
            constraint=models.UniqueConstraint(
                condition=models.Q(("replaces_id__isnull", False)),
                fields=("farm", "replaces_id"),
                name="complaint_answer_is_replaced_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="complaintanswerwords",
            constraint=models.UniqueConstraint(fields=("farm", "answer_id"), name="words_once_a_complaint_answer"),
        ),
        migrations.AddConstraint(
            model_name="complaintwords",
            constraint=models.UniqueConstraint(fields=("farm", "complaint_id"), name="words_once_a_complaint"),
        ),
        migrations.AddIndex(
            model_name="findingphoto",
            index=models.Index(fields=["farm", "finding_id"], name="finding_photo_by_finding"),
        ),
        migrations.AddConstraint(
            model_name="findingpicture",
            constraint=models.UniqueConstraint(fields=("farm", "photo_id"), name="picture_once_a_finding_photo"),
        ),
        migrations.AddIndex(
            model_name="findingstep",
            index=models.Index(fields=["farm", "finding_id"], name="finding_step_by_finding"),
        ),
        migrations.AddConstraint(
            model_name="findingstep",
            constraint=models.UniqueConstraint(
                condition=models.Q(("replaces_id__isnull", False)),
                fields=("farm", "replaces_id"),
                name="finding_step_is_replaced_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="findingstep",
            constraint=models.UniqueConstraint(
                condition=models.Q(("replaces_id__isnull", True)),
                fields=("farm", "finding_id", "number"),
                name="finding_step_number_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="findingstep",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("kind", "withdrawn"), _negated=True), ("replaces_id__isnull", False), _connector="OR"
                ),
                name="finding_step_withdrawn_replaces_one",
            ),
        ),
        migrations.AddConstraint(
            model_name="findingstepwords",
            constraint=models.UniqueConstraint(fields=("farm", "step_id"), name="words_once_a_finding_step"),
        ),
        migrations.AddConstraint(
            model_name="findingwords",
            constraint=models.UniqueConstraint(fields=("farm", "finding_id"), name="words_once_a_finding"),
        ),
        migrations.AddIndex(
            model_name="walk",
            index=models.Index(fields=["farm", "walked_on"], name="walk_by_day"),
        ),
        migrations.AddIndex(
            model_name="finding",
            index=models.Index(fields=["farm", "walk_id"], name="finding_by_walk"),
        ),
        migrations.AddIndex(
            model_name="finding",
            index=models.Index(fields=["farm", "origin_id"], name="finding_by_origin"),
        ),
        migrations.AddConstraint(
            model_name="finding",
            constraint=models.UniqueConstraint(
                condition=models.Q(("replaces_id__isnull", False)),
                fields=("farm", "replaces_id"),
                name="finding_is_replaced_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="finding",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("x__isnull", True), ("y__isnull", True)),
                    models.Q(("x__isnull", False), ("x__range", (0, 1)), ("y__isnull", False), ("y__range", (0, 1))),
                    _connector="OR",
                ),
                name="finding_lies_on_the_plan",
            ),
        ),
        migrations.AddConstraint(
            model_name="finding",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("nothing", False),
                    models.Q(("due_on__isnull", True), ("larvae__in", ("", "none")), ("pupae__in", ("", "none"))),
                    _connector="OR",
                ),
                name="finding_of_nothing_has_no_maggots_and_no_day",
            ),
        ),
        migrations.AddConstraint(
            model_name="finding",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("origin_id__isnull", True), ("replaces_id__isnull", True), ("withdrawn", False)),
                    models.Q(("origin_id__isnull", False), ("replaces_id__isnull", False)),
                    _connector="OR",
                ),
                name="finding_replaced_names_its_first",
            ),
        ),
        TieToFarm("walk", {"facility_id": "farms.facility", "station_id": "station"}),
        TieToFarm(
            "finding",
            {
                "walk_id": "walk",
                "facility_id": "farms.facility",
                "station_id": "station",
                "origin_id": "finding",
                "replaces_id": "finding",
            },
        ),
        TieToFarm("findingwords", {"finding_id": "finding"}),
        TieToFarm("findingstep", {"finding_id": "finding", "replaces_id": "findingstep"}),
        TieToFarm("findingstepwords", {"step_id": "findingstep"}),
        TieToFarm("findingphoto", {"finding_id": "finding"}),
        TieToFarm("findingpicture", {"photo_id": "findingphoto"}),
        TieToFarm("complaint", {"origin_id": "complaint", "replaces_id": "complaint"}),
        TieToFarm("complaintwords", {"complaint_id": "complaint"}),
        TieToFarm("complaintanswer", {"complaint_id": "complaint", "replaces_id": "complaintanswer"}),
        TieToFarm("complaintanswerwords", {"answer_id": "complaintanswer"}),
        ForceRowSecurity("walk", RIGHTS),
        ForceRowSecurity("finding", RIGHTS),
        for_people("findingwords"),
        ForceRowSecurity("findingstep", RIGHTS),
        for_people("findingstepwords"),
        ForceRowSecurity("findingphoto", RIGHTS),
        ForceRowSecurity("findingpicture", RIGHTS),
        migrations.RunSQL(MAY_ERASE, NO_MORE),
        for_owners_and_advisers("complaint"),
        for_owners_and_advisers("complaintwords"),
        for_owners_and_advisers("complaintanswer"),
        for_owners_and_advisers("complaintanswerwords"),
    ]
