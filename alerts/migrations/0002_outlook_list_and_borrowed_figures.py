"""Safe before deploy: new tables, and columns with defaults that older code leaves alone."""

import django.db.models.deletion
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, Grant


class Migration(migrations.Migration):
    dependencies = [
        ("alerts", "0001_levels_assessments_and_alerts"),
        ("farms", "0003_advised_farms"),
    ]

    operations = [
        migrations.AddField(
            model_name="assessment",
            name="borrowed",
            field=models.CharField(blank=True, default="", help_text="Name of the borrowed figures.", max_length=20),
        ),
        migrations.AddField(
            model_name="assessment",
            name="outlook",
            field=models.JSONField(default=dict),
        ),
        migrations.AddField(
            model_name="assessment",
            name="over_probability",
            field=models.FloatField(help_text="That the true level is over the action level.", null=True),
        ),
        migrations.AddField(
            model_name="assessment",
            name="p_fall",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="assessment",
            name="p_rise",
            field=models.FloatField(null=True),
        ),
        migrations.AlterField(
            model_name="assessment",
            name="growth",
            field=models.FloatField(help_text="Log growth a week, over the last eight weeks.", null=True),
        ),
        migrations.CreateModel(
            name="BorrowedFigures",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                (
                    "method",
                    models.CharField(
                        choices=[("card", "spot cards"), ("trap", "jug traps"), ("leg", "leg counts")], max_length=8
                    ),
                ),
                (
                    "quarter",
                    models.DateField(help_text="The first day of the quarter in which these figures are used."),
                ),
                ("version", models.PositiveSmallIntegerField(default=1)),
                ("farms", models.IntegerField()),
                ("holdings", models.IntegerField()),
                (
                    "shock",
                    models.FloatField(help_text="Log standard deviation of a week's shock to a whole farm.", null=True),
                ),
                (
                    "stays",
                    models.FloatField(help_text="Correlation of a week's shock with the next week's.", null=True),
                ),
                ("counting", models.FloatField(help_text="What the scatter of counts is multiplied by.", null=True)),
                (
                    "growth",
                    models.FloatField(
                        help_text="Log standard deviation of growth a week of farms that change.", null=True
                    ),
                ),
                (
                    "degrees",
                    models.FloatField(help_text="Degrees of freedom that the group's scale is worth.", null=True),
                ),
                (
                    "weight_k",
                    models.FloatField(help_text="Negative-binomial k that counts are weighted with.", null=True),
                ),
                ("leg_k", models.FloatField(help_text="Negative-binomial k of flies on an animal.", null=True)),
                ("taylor_a", models.FloatField(null=True)),
                ("taylor_b", models.FloatField(null=True)),
                ("fitted_at", models.DateTimeField()),
                ("code_version", models.CharField(max_length=40)),
                (
                    "group",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="borrowed_figures", to="farms.group"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("group", "method", "quarter", "version"), name="borrowed_once_a_version"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="ListedRise",
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
                        choices=[("card", "spot cards"), ("trap", "jug traps"), ("leg", "leg counts")], max_length=8
                    ),
                ),
                ("week", models.DateField()),
                ("p_value", models.FloatField()),
                ("compared", models.IntegerField(help_text="How many farms of the group were compared.")),
                ("borrowed", models.CharField(max_length=20)),
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
            options={
                "constraints": [models.UniqueConstraint(fields=("farm", "method", "week"), name="listed_once_a_week")],
            },
        ),
        ForceRowSecurity(
            "listedrise",
            {"app": "SELECT", "worker": "SELECT, INSERT", "eraser": "SELECT, DELETE"},
            reads={"app": "{column} = ANY((SELECT advised_farms())::uuid[])"},
        ),
        Grant(["alerts_borrowedfigures"], {"app": "SELECT", "worker": "SELECT, INSERT"}),
    ]
