"""Safe before deploy: new tables, and columns of work that may be empty."""

import django.db.models.deletion
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, TieToFarm


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0016_sprayer_links_in_the_log"),
        ("monitoring", "0010_products_and_applications"),
    ]

    operations = [
        migrations.CreateModel(
            name="PlannedWork",
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
                    "kind",
                    models.CharField(
                        choices=[
                            ("clean_out", "clean-out"),
                            ("drying", "drying and water handling"),
                            ("bedding", "bedding change"),
                            ("fans", "fans"),
                            ("screens", "screens"),
                            ("wasps", "parasitic wasps released"),
                            ("traps", "traps hung, emptied or moved"),
                            ("other", "other"),
                            ("application", "fly spray, pour-on or bait"),
                        ],
                        max_length=12,
                        verbose_name="kind",
                    ),
                ),
                ("first_day", models.DateField(verbose_name="first day")),
                ("every", models.PositiveSmallIntegerField(null=True, verbose_name="every")),
                (
                    "unit",
                    models.CharField(
                        blank=True,
                        choices=[("day", "days"), ("week", "weeks"), ("month", "months")],
                        default="",
                        max_length=5,
                    ),
                ),
                ("last_day", models.DateField(null=True, verbose_name="last day")),
                ("species", models.CharField(blank=True, default="", max_length=100, verbose_name="species")),
                ("number", models.PositiveIntegerField(null=True, verbose_name="how many")),
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
            ],
        ),
        migrations.CreateModel(
            name="PlannedStep",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("planned_id", models.UUIDField()),
                ("kind", models.CharField(choices=[("left_out", "left out"), ("ended", "ended")], max_length=8)),
                ("day", models.DateField()),
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
                    "farm",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="farms.farm",
                    ),
                ),
                (
                    "planned",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "planned_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="steps",
                        serialize=False,
                        to="monitoring.plannedwork",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="WorkTakenBack",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("work_id", models.UUIDField()),
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
            name="WorkWords",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("about_id", models.UUIDField()),
                ("text", models.CharField(max_length=200)),
                ("salt", models.BinaryField(max_length=16)),
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
            ],
        ),
        migrations.AddField(
            model_name="work",
            name="attempt",
            field=models.PositiveSmallIntegerField(null=True),
        ),
        migrations.AddField(
            model_name="work",
            name="batch",
            field=models.CharField(max_length=60, null=True, verbose_name="the supplier's batch"),
        ),
        migrations.AddField(
            model_name="work",
            name="not_reached",
            field=models.CharField(max_length=200, null=True, verbose_name="what could not be reached"),
        ),
        migrations.AddField(
            model_name="work",
            name="number",
            field=models.PositiveIntegerField(null=True, verbose_name="how many"),
        ),
        migrations.AddField(
            model_name="work",
            name="planned_for",
            field=models.DateField(null=True),
        ),
        migrations.AddField(
            model_name="work",
            name="planned_id",
            field=models.UUIDField(null=True),
        ),
        migrations.AddField(
            model_name="work",
            name="species",
            field=models.CharField(max_length=100, null=True, verbose_name="species"),
        ),
        migrations.AlterField(
            model_name="work",
            name="kind",
            field=models.CharField(
                choices=[
                    ("clean_out", "clean-out"),
                    ("drying", "drying and water handling"),
                    ("bedding", "bedding change"),
                    ("fans", "fans"),
                    ("screens", "screens"),
                    ("wasps", "parasitic wasps released"),
                    ("traps", "traps hung, emptied or moved"),
                    ("other", "other"),
                ],
                max_length=10,
                verbose_name="kind",
            ),
        ),
        migrations.AddField(
            model_name="work",
            name="planned",
            field=models.ForeignObject(
                blank=True,
                editable=False,
                from_fields=["farm", "planned_id"],
                null=True,
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="works",
                serialize=False,
                to="monitoring.plannedwork",
                to_fields=["farm", "id"],
            ),
        ),
        migrations.AddConstraint(
            model_name="work",
            constraint=models.UniqueConstraint(
                condition=models.Q(("planned_id__isnull", False)),
                fields=("farm", "planned_id", "planned_for", "attempt"),
                name="planned_day_is_done_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="work",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("attempt__isnull", True), ("planned_for__isnull", True), ("planned_id__isnull", True)),
                    models.Q(("attempt__isnull", False), ("planned_for__isnull", False), ("planned_id__isnull", False)),
                    _connector="OR",
                ),
                name="work_planned_names_its_day",
            ),
        ),
        migrations.AddConstraint(
            model_name="work",
            constraint=models.CheckConstraint(
                condition=models.Q(("not_reached__isnull", True), ("kind", "clean_out"), _connector="OR"),
                name="only_a_clean_out_leaves_something_unreached",
            ),
        ),
        migrations.AddConstraint(
            model_name="work",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("batch__isnull", True), ("number__isnull", True), ("species__isnull", True)),
                    ("kind", "wasps"),
                    _connector="OR",
                ),
                name="only_wasps_have_species_number_and_batch",
            ),
        ),
        migrations.AddIndex(
            model_name="plannedwork",
            index=models.Index(fields=["farm", "first_day"], name="planned_work_by_day"),
        ),
        migrations.AddConstraint(
            model_name="plannedwork",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("every__isnull", True), ("last_day__isnull", True), ("unit", "")),
                    models.Q(
                        ("every__gte", 1),
                        ("every__isnull", False),
                        ("last_day__gte", models.F("first_day")),
                        ("last_day__isnull", False),
                        models.Q(("unit", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="plan_that_repeats_has_an_end",
            ),
        ),
        migrations.AddConstraint(
            model_name="plannedwork",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("number__isnull", True), ("species", "")), ("kind", "wasps"), _connector="OR"
                ),
                name="only_a_plan_of_wasps_has_species_and_number",
            ),
        ),
        migrations.AddConstraint(
            model_name="plannedstep",
            constraint=models.UniqueConstraint(
                condition=models.Q(("kind", "left_out")),
                fields=("farm", "planned_id", "day"),
                name="planned_day_is_left_out_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="plannedstep",
            constraint=models.UniqueConstraint(
                condition=models.Q(("kind", "ended")), fields=("farm", "planned_id"), name="plan_is_ended_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="worktakenback",
            constraint=models.UniqueConstraint(fields=("farm", "work_id"), name="work_is_taken_back_once"),
        ),
        migrations.AddConstraint(
            model_name="workwords",
            constraint=models.UniqueConstraint(fields=("farm", "about_id"), name="words_once_a_row"),
        ),
        TieToFarm("plannedwork", {"facility_id": "farms.facility"}),
        TieToFarm("plannedstep", {"planned_id": "plannedwork"}),
        TieToFarm("work", {"planned_id": "plannedwork"}),
        TieToFarm("worktakenback", {"work_id": "work"}),
        ForceRowSecurity("plannedwork", {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity("plannedstep", {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity("worktakenback", {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity("workwords", {"app": "SELECT, INSERT", "eraser": "SELECT, DELETE"}),
    ]
