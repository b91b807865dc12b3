"""Safe on an empty database only: it is the first."""

import django.contrib.postgres.fields
import django.db.models.deletion
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, Grant, TieToFarm


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("farms", "0001_farms_people_and_access"),
    ]

    operations = [
        migrations.CreateModel(
            name="Placement",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("station_id", models.UUIDField()),
                ("hung_on", models.DateField(verbose_name="hung on")),
                ("zone", models.CharField(max_length=64)),
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
        migrations.CreateModel(
            name="Round",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("walked_on", models.DateField(verbose_name="walked on")),
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
                ("counted_by", models.UUIDField(null=True)),
                ("typed_by", models.UUIDField(null=True)),
                ("typed_on", models.DateField(null=True)),
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
                ("observed_at", models.DateTimeField(null=True)),
                ("submitted_at", models.DateTimeField(null=True)),
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
            ],
        ),
        migrations.CreateModel(
            name="Reading",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("round_id", models.UUIDField()),
                ("station_id", models.UUIDField()),
                ("placement_id", models.UUIDField(null=True)),
                (
                    "method",
                    models.CharField(
                        choices=[("card", "spot cards"), ("trap", "jug traps"), ("leg", "leg counts")], max_length=8
                    ),
                ),
                (
                    "how",
                    models.CharField(
                        choices=[
                            ("counted", "counted"),
                            ("part", "a part was counted"),
                            ("cup", "measured by the cup"),
                        ],
                        default="counted",
                        max_length=8,
                    ),
                ),
                ("count", models.IntegerField(null=True)),
                ("fraction", models.DecimalField(decimal_places=4, default=1, max_digits=5)),
                ("at_least", models.BooleanField(default=False)),
                (
                    "reason",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("lost", "lost"),
                            ("wet", "wet"),
                            ("chewed", "chewed"),
                            ("spun", "spun in the wind"),
                            ("kept_out", "kept out"),
                            ("not_visited", "not visited"),
                        ],
                        default="",
                        max_length=12,
                    ),
                ),
                ("hung_on", models.DateField(null=True)),
                ("taken_on", models.DateField()),
                ("zone", models.CharField(max_length=64)),
                ("sides", models.PositiveSmallIntegerField(default=1)),
                (
                    "animals",
                    django.contrib.postgres.fields.ArrayField(base_field=models.IntegerField(), null=True, size=None),
                ),
                ("pen", models.CharField(blank=True, default="", max_length=60)),
                ("time_of_day", models.TimeField(null=True)),
                ("weather", models.CharField(blank=True, default="", max_length=60)),
                ("bunching", models.BooleanField(null=True)),
                ("sprayed", models.BooleanField(null=True)),
                ("corrects_id", models.UUIDField(null=True)),
                (
                    "correction_kind",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("miscounted", "counted wrongly"),
                            ("mistyped", "typed wrongly"),
                            ("wrong_station", "belongs to another station"),
                            ("wrong_date", "wrong date"),
                            ("withdrawn", "should not have been sent"),
                            ("other", "other"),
                        ],
                        default="",
                        max_length=16,
                    ),
                ),
                ("received_at", models.DateTimeField()),
                ("entry", models.BigIntegerField()),
                (
                    "corrects",
                    models.ForeignObject(
                        blank=True,
                        editable=False,
                        from_fields=["farm", "corrects_id"],
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="corrected_by",
                        serialize=False,
                        to="monitoring.reading",
                        to_fields=["farm", "id"],
                    ),
                ),
                (
                    "farm",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="farms.farm",
                    ),
                ),
                (
                    "placement",
                    models.ForeignObject(
                        blank=True,
                        editable=False,
                        from_fields=["farm", "placement_id"],
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="readings",
                        serialize=False,
                        to="monitoring.placement",
                        to_fields=["farm", "id"],
                    ),
                ),
                (
                    "round",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "round_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="readings",
                        serialize=False,
                        to="monitoring.round",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Note",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("round_id", models.UUIDField()),
                ("reading_id", models.UUIDField(null=True)),
                ("text", models.TextField(max_length=2000)),
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
                (
                    "reading",
                    models.ForeignObject(
                        blank=True,
                        editable=False,
                        from_fields=["farm", "reading_id"],
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="notes",
                        serialize=False,
                        to="monitoring.reading",
                        to_fields=["farm", "id"],
                    ),
                ),
                (
                    "round",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "round_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="notes",
                        serialize=False,
                        to="monitoring.round",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Skip",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("skipped_on", models.DateField()),
                ("next_round_on", models.DateField(verbose_name="next round on")),
                ("made_at", models.DateTimeField()),
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
            name="Station",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("facility_id", models.UUIDField()),
                (
                    "method",
                    models.CharField(
                        choices=[("card", "spot cards"), ("trap", "jug traps"), ("leg", "leg counts")],
                        max_length=8,
                        verbose_name="method",
                    ),
                ),
                ("number", models.PositiveSmallIntegerField(verbose_name="number")),
                ("position", models.PositiveSmallIntegerField(default=0, verbose_name="walking order")),
                ("since", models.DateField(verbose_name="in use since")),
                ("until", models.DateField(blank=True, null=True, verbose_name="in use until")),
                (
                    "facility",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "facility_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="stations",
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
            name="Siting",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("station_id", models.UUIDField()),
                ("since", models.DateField()),
                ("windy", models.BooleanField(default=False, verbose_name="in wind or draught")),
                (
                    "near",
                    models.CharField(
                        choices=[
                            ("nothing", "nothing that draws flies"),
                            ("milk", "milk"),
                            ("feed", "feed"),
                            ("water", "water"),
                        ],
                        default="nothing",
                        max_length=8,
                        verbose_name="near",
                    ),
                ),
                ("out_of_reach", models.BooleanField(null=True, verbose_name="out of reach of animals and children")),
                ("x", models.FloatField(blank=True, null=True)),
                ("y", models.FloatField(blank=True, null=True)),
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
                        editable=False,
                        from_fields=["farm", "station_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="sitings",
                        serialize=False,
                        to="monitoring.station",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.AddField(
            model_name="reading",
            name="station",
            field=models.ForeignObject(
                editable=False,
                from_fields=["farm", "station_id"],
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="readings",
                serialize=False,
                to="monitoring.station",
                to_fields=["farm", "id"],
            ),
        ),
        migrations.AddField(
            model_name="placement",
            name="station",
            field=models.ForeignObject(
                editable=False,
                from_fields=["farm", "station_id"],
                on_delete=django.db.models.deletion.DO_NOTHING,
                related_name="placements",
                serialize=False,
                to="monitoring.station",
                to_fields=["farm", "id"],
            ),
        ),
        migrations.CreateModel(
            name="WeeklySummary",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "method", "week", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                (
                    "method",
                    models.CharField(
                        choices=[("card", "spot cards"), ("trap", "jug traps"), ("leg", "leg counts")], max_length=8
                    ),
                ),
                ("week", models.DateField(help_text="The Monday of the ISO week.")),
                ("stations", models.IntegerField()),
                ("devices", models.IntegerField()),
                ("missing", models.IntegerField()),
                ("counted", models.BigIntegerField(null=True)),
                ("days", models.IntegerField()),
                ("animals", models.IntegerField()),
                ("mean", models.FloatField(null=True)),
                ("at_least", models.BooleanField()),
                ("last_received_at", models.DateTimeField()),
                (
                    "farm",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="farms.farm",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Work",
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
                            ("other", "other"),
                        ],
                        max_length=10,
                        verbose_name="kind",
                    ),
                ),
                ("done_on", models.DateField(verbose_name="done on")),
                ("thorough", models.BooleanField(null=True, verbose_name="thorough")),
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
                        related_name="works",
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
            name="Cohort",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("quarter", models.DateField(help_text="The first day of the quarter.")),
                ("holdings", django.contrib.postgres.fields.ArrayField(base_field=models.UUIDField(), size=None)),
                ("farms", django.contrib.postgres.fields.ArrayField(base_field=models.UUIDField(), size=None)),
                ("hash", models.BinaryField(max_length=32)),
                ("made_at", models.DateTimeField()),
                (
                    "region",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="cohorts", to="farms.region"
                    ),
                ),
            ],
            options={
                "constraints": [models.UniqueConstraint(fields=("region", "quarter"), name="cohort_once_a_quarter")],
            },
        ),
        migrations.CreateModel(
            name="DailyTemperature",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("day", models.DateField()),
                ("min_c", models.FloatField()),
                ("max_c", models.FloatField()),
                (
                    "region",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="temperatures", to="farms.region"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("region", "day"), name="temperature_once_a_day"),
                    models.CheckConstraint(
                        condition=models.Q(("min_c__lte", models.F("max_c"))), name="temperature_min_not_above_max"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="RegionReport",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                (
                    "method",
                    models.CharField(
                        choices=[("card", "spot cards"), ("trap", "jug traps"), ("leg", "leg counts")], max_length=8
                    ),
                ),
                ("week", models.DateField(help_text="The Monday of the ISO week.")),
                (
                    "disclosure",
                    models.CharField(
                        choices=[("numbers", "numbers"), ("word", "a word"), ("nothing", "nothing")], max_length=8
                    ),
                ),
                ("contributors", models.CharField(blank=True, default="", max_length=12)),
                ("mean", models.FloatField(null=True)),
                ("share_over", models.FloatField(null=True)),
                ("word", models.CharField(blank=True, default="", max_length=8)),
                ("level", models.FloatField(null=True)),
                ("cutoff_at", models.DateTimeField()),
                ("published_at", models.DateTimeField()),
                ("cohort_hash", models.BinaryField(max_length=32)),
                ("rule_version", models.CharField(max_length=20)),
                ("code_version", models.CharField(max_length=40)),
                (
                    "region",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="reports", to="farms.region"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("region", "method", "week"), name="region_report_once_a_week")
                ],
            },
        ),
        TieToFarm("station", {"facility_id": "farms.facility"}),
        TieToFarm("siting", {"station_id": "station"}),
        TieToFarm("placement", {"station_id": "station"}),
        TieToFarm(
            "reading",
            {"round_id": "round", "station_id": "station", "placement_id": "placement", "corrects_id": "reading"},
            partitions=8,
        ),
        TieToFarm("note", {"round_id": "round", "reading_id": "reading"}),
        TieToFarm("weeklysummary", {}, partitions=8),
        TieToFarm("work", {"facility_id": "farms.facility"}),
        migrations.AddIndex(
            model_name="round",
            index=models.Index(fields=["farm", "walked_on"], name="round_by_day"),
        ),
        migrations.AddConstraint(
            model_name="skip",
            constraint=models.CheckConstraint(
                condition=models.Q(("next_round_on__gt", models.F("skipped_on"))), name="skip_leads_to_a_later_day"
            ),
        ),
        migrations.AddConstraint(
            model_name="station",
            constraint=models.UniqueConstraint(
                fields=("farm", "method", "number"), name="station_number_once_a_method"
            ),
        ),
        migrations.AddConstraint(
            model_name="station",
            constraint=models.CheckConstraint(condition=models.Q(("number__gte", 1)), name="station_number_from_one"),
        ),
        migrations.AddConstraint(
            model_name="siting",
            constraint=models.UniqueConstraint(fields=("farm", "station_id", "since"), name="siting_once_a_day"),
        ),
        migrations.AddConstraint(
            model_name="siting",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("x__isnull", True), ("y__isnull", True)),
                    models.Q(("x__range", (0, 1)), ("y__range", (0, 1))),
                    _connector="OR",
                ),
                name="siting_lies_on_the_plan",
            ),
        ),
        migrations.AddIndex(
            model_name="reading",
            index=models.Index(fields=["farm", "taken_on"], name="reading_by_day"),
        ),
        migrations.AddIndex(
            model_name="reading",
            index=models.Index(fields=["farm", "round_id"], name="reading_by_round"),
        ),
        migrations.AddConstraint(
            model_name="reading",
            constraint=models.UniqueConstraint(
                condition=models.Q(
                    ("corrects_id__isnull", True), models.Q(("reason__in", ("kept_out", "not_visited")), _negated=True)
                ),
                fields=("farm", "placement_id"),
                name="placement_is_taken_down_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="reading",
            constraint=models.UniqueConstraint(
                condition=models.Q(("corrects_id__isnull", False)),
                fields=("farm", "corrects_id"),
                name="reading_is_corrected_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="reading",
            constraint=models.CheckConstraint(
                condition=models.Q(("count__isnull", True), ("count__gte", 0), _connector="OR"),
                name="reading_count_not_negative",
            ),
        ),
        migrations.AddConstraint(
            model_name="reading",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("count__isnull", False),
                        ("reason", ""),
                        models.Q(("correction_kind", "withdrawn"), _negated=True),
                    ),
                    models.Q(
                        ("count__isnull", True),
                        models.Q(("reason", ""), _negated=True),
                        models.Q(("correction_kind", "withdrawn"), _negated=True),
                    ),
                    models.Q(("correction_kind", "withdrawn"), ("count__isnull", True), ("reason", "")),
                    _connector="OR",
                ),
                name="reading_has_a_count_or_a_reason",
            ),
        ),
        migrations.AddConstraint(
            model_name="reading",
            constraint=models.CheckConstraint(
                condition=models.Q(("fraction__gt", 0), ("fraction__lte", 1)),
                name="reading_part_is_above_zero_and_at_most_one",
            ),
        ),
        migrations.AddConstraint(
            model_name="reading",
            constraint=models.CheckConstraint(
                condition=models.Q(("how", "part"), ("fraction", 1), _connector="OR"),
                name="reading_fraction_only_of_a_part",
            ),
        ),
        migrations.AddConstraint(
            model_name="reading",
            constraint=models.CheckConstraint(
                condition=models.Q(models.Q(("how", "cup"), _negated=True), ("method", "trap"), _connector="OR"),
                name="reading_cup_only_of_a_trap",
            ),
        ),
        migrations.AddConstraint(
            model_name="reading",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("hung_on__isnull", True), ("method", "leg")),
                    models.Q(
                        models.Q(("method", "leg"), _negated=True), ("count__isnull", True), ("hung_on__isnull", True)
                    ),
                    models.Q(models.Q(("method", "leg"), _negated=True), ("hung_on__lt", models.F("taken_on"))),
                    _connector="OR",
                ),
                name="reading_hangs_at_least_a_day",
            ),
        ),
        migrations.AddConstraint(
            model_name="reading",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("animals__isnull", True), ("count__isnull", True), ("method", "leg")),
                    models.Q(
                        ("animals__isnull", False), ("animals__len__gt", 0), ("count__isnull", False), ("method", "leg")
                    ),
                    models.Q(models.Q(("method", "leg"), _negated=True), ("animals__isnull", True)),
                    _connector="OR",
                ),
                name="reading_counts_animals_only_on_legs",
            ),
        ),
        migrations.AddConstraint(
            model_name="reading",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("correction_kind", ""), ("corrects_id__isnull", True)),
                    models.Q(("corrects_id__isnull", False), models.Q(("correction_kind", ""), _negated=True)),
                    _connector="OR",
                ),
                name="reading_correction_says_why",
            ),
        ),
        migrations.AddIndex(
            model_name="placement",
            index=models.Index(fields=["farm", "station_id", "hung_on"], name="placement_by_station"),
        ),
        migrations.AddIndex(
            model_name="weeklysummary",
            index=models.Index(fields=["week", "method"], name="summary_by_week"),
        ),
        migrations.AddIndex(
            model_name="work",
            index=models.Index(fields=["farm", "done_on"], name="work_by_day"),
        ),
        ForceRowSecurity(
            "station",
            {"app": "SELECT, INSERT, UPDATE (position, until)", "worker": "SELECT", "eraser": "SELECT, DELETE"},
        ),
        ForceRowSecurity("siting", {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity("placement", {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity("round", {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity("skip", {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity("reading", {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity("note", {"app": "SELECT, INSERT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity(
            "weeklysummary",
            {"app": "SELECT, INSERT, UPDATE", "worker": "SELECT", "cohort": "SELECT", "eraser": "SELECT, DELETE"},
        ),
        ForceRowSecurity("work", {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"}),
        Grant(["monitoring_dailytemperature"], {"app": "SELECT, INSERT, UPDATE", "worker": "SELECT"}),
        Grant(["monitoring_cohort"], {"cohort": "SELECT, INSERT"}),
        Grant(["monitoring_regionreport"], {"cohort": "SELECT, INSERT", "region": "SELECT"}),
    ]
