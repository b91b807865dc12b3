"""Safe before deploy: tables and columns that older code does not name, with defaults of the database's own.

Older code goes on fixing cohorts; without farm_holdings they count as made under an older rule, and give words only.
"""

from pathlib import Path

import django.contrib.postgres.fields
import django.db.models.deletion
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import DefinerFunctions, ForceRowSecurity, Grant, TieToFarm

FUNCTIONS = Path(__file__).resolve().parent.parent / "regional" / "cohort.sql"
COMPARED = "{column} = ANY((SELECT compared_farms())::uuid[])"
# Whoever left the comparison is counted until the quarter ends.
NOW_COMPARED = "ALTER POLICY cohort_select ON {table} USING (" + COMPARED + ")"
BEFORE = "ALTER POLICY cohort_select ON {table} USING ({column} = ANY((SELECT cohort_farms())::uuid[]))"
# By which housing a farm is, where a region is split: of its buildings nothing else.
HOUSING = "CREATE POLICY cohort_select ON farms_facility FOR SELECT TO flyround_cohort USING (" + COMPARED + ")"
PLACES = (("farms_farm", "id"), ("monitoring_weeklysummary", "farm_id"))


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0011_regions_split_by_housing"),
        ("monitoring", "0004_clock_of_the_sender"),
    ]

    operations = [
        migrations.CreateModel(
            name="Contribution",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "method", "week", blank=True, editable=False, primary_key=True, serialize=False
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
                    "method",
                    models.CharField(
                        choices=[("card", "spot cards"), ("trap", "jug traps"), ("leg", "leg counts")], max_length=8
                    ),
                ),
                ("week", models.DateField(help_text="The Monday of the ISO week.")),
                ("region_id", models.UUIDField()),
                ("holding_id", models.UUIDField()),
                ("mean", models.FloatField()),
                ("ratio", models.FloatField(null=True)),
                ("growth", models.FloatField(null=True)),
                ("rising", models.BooleanField(null=True)),
                ("part", models.CharField(blank=True, default="", max_length=20)),
                (
                    "third",
                    models.SmallIntegerField(
                        choices=[(1, "lower third"), (2, "middle third"), (3, "upper third")], null=True
                    ),
                ),
                ("frozen_at", models.DateTimeField()),
            ],
        ),
        migrations.CreateModel(
            name="HeldReport",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("week", models.DateField(help_text="The Monday of the ISO week.")),
                (
                    "reason",
                    models.CharField(
                        choices=[
                            ("bounded", "a contributor could have been worked out"),
                            ("untrue", "a figure did not follow from what was frozen"),
                            ("unsolved", "the audit came to no end"),
                        ],
                        max_length=10,
                    ),
                ),
                ("held_at", models.DateTimeField()),
            ],
        ),
        migrations.RemoveConstraint(
            model_name="regionreport",
            name="region_report_once_a_week",
        ),
        migrations.AddField(
            model_name="cohort",
            name="farm_holdings",
            field=django.contrib.postgres.fields.ArrayField(
                base_field=models.UUIDField(), db_default=[], default=list, size=None
            ),
        ),
        migrations.AddField(
            model_name="cohort",
            name="housing",
            field=django.contrib.postgres.fields.ArrayField(
                base_field=models.CharField(max_length=20), db_default=[], default=list, size=None
            ),
        ),
        migrations.AddField(
            model_name="cohort",
            name="words_only",
            field=models.CharField(
                blank=True,
                choices=[
                    ("few_left", "one to four left since the quarter before"),
                    ("old_rule", "fixed under an older rule"),
                ],
                db_default="old_rule",
                default="",
                max_length=10,
            ),
        ),
        migrations.AddField(
            model_name="regionreport",
            name="growth",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="regionreport",
            name="growth_high",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="regionreport",
            name="growth_low",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="regionreport",
            name="middle",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="regionreport",
            name="normal",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="regionreport",
            name="normal_middle",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="regionreport",
            name="normal_share",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="regionreport",
            name="part",
            field=models.CharField(blank=True, db_default="", default="", max_length=20),
        ),
        migrations.AddField(
            model_name="regionreport",
            name="share_rising",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="regionreport",
            name="usual_high",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="regionreport",
            name="usual_low",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="regionreport",
            name="usual_normal_high",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="regionreport",
            name="usual_normal_low",
            field=models.FloatField(null=True),
        ),
        migrations.AddConstraint(
            model_name="regionreport",
            constraint=models.UniqueConstraint(
                fields=("region", "method", "week", "part"), name="region_report_once_a_week"
            ),
        ),
        migrations.AddField(
            model_name="heldreport",
            name="region",
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="farms.region"),
        ),
        migrations.AddConstraint(
            model_name="heldreport",
            constraint=models.UniqueConstraint(fields=("region", "week", "reason"), name="held_once_a_reason"),
        ),
        TieToFarm("contribution", {}, partitions=8),
        migrations.AddIndex(
            model_name="contribution",
            index=models.Index(fields=["region_id", "week"], name="contribution_by_region"),
        ),
        Grant(["monitoring_cohort"], {"definer": "SELECT"}),
        DefinerFunctions(
            FUNCTIONS.read_text(),
            {
                "compared_farms()": ["cohort"],
                "agreed_by(uuid, timestamptz)": ["cohort"],
                "seen_together(uuid[])": ["cohort"],
            },
        ),
        ForceRowSecurity(
            "contribution",
            {"app": "SELECT", "cohort": "SELECT, INSERT", "eraser": "SELECT, DELETE"},
            reads={"cohort": COMPARED},
            writes={"cohort": COMPARED},
        ),
        *(
            migrations.RunSQL(
                NOW_COMPARED.format(table=table, column=column), BEFORE.format(table=table, column=column)
            )
            for table, column in PLACES
        ),
        Grant(["farms_facility"], {"cohort": "SELECT (farm_id, id, kind)"}),
        migrations.RunSQL(HOUSING.format(column="farm_id"), "DROP POLICY cohort_select ON farms_facility"),
        Grant(["monitoring_heldreport"], {"app": "SELECT", "worker": "SELECT", "cohort": "SELECT, INSERT"}),
    ]
