"""Safe before deploy: new tables that no older code knows."""

import django.db.models.deletion
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, TieToFarm


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0004_answers_log_feeds_and_guests"),
        ("monitoring", "0002_farm_temperatures"),
    ]

    operations = [
        migrations.CreateModel(
            name="Import",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("user_id", models.UUIDField(null=True)),
                ("token_id", models.UUIDField(null=True)),
                ("language", models.CharField(max_length=5)),
                ("form", models.CharField(choices=[("csv", "CSV"), ("json", "JSON")], max_length=4)),
                ("order", models.CharField(blank=True, default="", max_length=11)),
                (
                    "source",
                    models.CharField(
                        choices=[
                            ("form", "form"),
                            ("phone", "farm phone"),
                            ("paper", "typed from paper"),
                            ("program", "program"),
                            ("file", "file"),
                        ],
                        max_length=8,
                    ),
                ),
                ("dry_run", models.BooleanField(default=False)),
                ("atomic", models.BooleanField(default=False)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("waiting", "Waiting"),
                            ("running", "Running"),
                            ("done", "Done"),
                            ("refused", "Refused"),
                            ("failed", "Failed"),
                        ],
                        default="waiting",
                        max_length=7,
                    ),
                ),
                ("due_at", models.DateTimeField()),
                ("attempts", models.IntegerField(default=0)),
                ("since", models.BigIntegerField(null=True)),
                ("rows", models.IntegerField(null=True)),
                ("rows_done", models.IntegerField(default=0)),
                ("stored", models.IntegerField(default=0)),
                ("known", models.IntegerField(default=0)),
                ("refused", models.IntegerField(default=0)),
                ("rounds", models.IntegerField(default=0)),
                ("problem", models.JSONField(null=True)),
                ("made_at", models.DateTimeField()),
                ("ended_at", models.DateTimeField(null=True)),
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
            name="ImportContent",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("content", models.BinaryField()),
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
                    "of_import",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="contents",
                        serialize=False,
                        to="monitoring.import",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="ImportPart",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("import_id", models.UUIDField()),
                ("first", models.IntegerField()),
                ("rows", models.IntegerField()),
                ("results", models.TextField()),
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
                    "of_import",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "import_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="parts",
                        serialize=False,
                        to="monitoring.import",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        TieToFarm("importcontent", {"id": "import"}),
        TieToFarm("importpart", {"import_id": "import"}),
        migrations.AddIndex(
            model_name="import",
            index=models.Index(
                condition=models.Q(("state__in", ("waiting", "running"))), fields=["due_at"], name="import_due"
            ),
        ),
        migrations.AddIndex(
            model_name="import",
            index=models.Index(fields=["farm", "made_at"], name="import_by_time"),
        ),
        migrations.AddConstraint(
            model_name="import",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("token_id__isnull", False), ("user_id__isnull", True)),
                    models.Q(("token_id__isnull", True), ("user_id__isnull", False)),
                    _connector="OR",
                ),
                name="import_is_of_a_person_or_a_token",
            ),
        ),
        migrations.AddConstraint(
            model_name="import",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("ended_at__isnull", True), ("state__in", ("waiting", "running"))),
                    models.Q(
                        models.Q(("state__in", ("waiting", "running")), _negated=True), ("ended_at__isnull", False)
                    ),
                    _connector="OR",
                ),
                name="import_that_ended_says_when",
            ),
        ),
        migrations.AddConstraint(
            model_name="importpart",
            constraint=models.UniqueConstraint(fields=("farm", "import_id", "first"), name="import_part_once"),
        ),
        # The worker rings for what waits, and ends what nobody may take up any more; of what is in it, it learns nothing.
        ForceRowSecurity(
            "import",
            {
                "app": "SELECT, INSERT, UPDATE (state, due_at, attempts, since, rows, rows_done, stored, known, refused,"
                " rounds, problem, ended_at)",
                "worker": "SELECT (farm_id, id, state, due_at, user_id, token_id, language),"
                " UPDATE (state, due_at, problem, ended_at)",
                "eraser": "SELECT, DELETE",
            },
        ),
        ForceRowSecurity(
            "importcontent",
            {
                "app": "SELECT, INSERT, DELETE",
                "worker": "SELECT (farm_id, id), DELETE",
                "eraser": "SELECT, DELETE",
            },
        ),
        ForceRowSecurity("importpart", {"app": "SELECT, INSERT, DELETE", "eraser": "SELECT, DELETE"}),
    ]
