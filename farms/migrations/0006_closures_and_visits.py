"""Safe before deploy: new tables only."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, Grant, TieToFarm

ME = "(SELECT NULLIF(current_setting('app.user_id', true), '')::uuid)"
# The farm's people and its advisers; no key, whatever its scope: what it reads goes on to programs of others.
BY_PEOPLE = (
    "{column} = ANY((SELECT visible_farms())::uuid[]) AND NULLIF(current_setting('app.token_id', true), '') IS NULL"
)
BY_ADVISER = f"{{column}} = ANY((SELECT advised_farms())::uuid[]) AND adviser_id = {ME}"


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0005_only_guests_end_by_themselves"),
    ]

    operations = [
        migrations.CreateModel(
            name="GroupVisitRules",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("text", models.TextField(max_length=1500, verbose_name="rules for visits")),
                ("set_at", models.DateTimeField()),
                (
                    "group",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="farms.group"),
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
            name="PlannedVisit",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                (
                    "kind",
                    models.CharField(choices=[("visit", "visit"), ("call", "call")], max_length=5, verbose_name="kind"),
                ),
                ("day", models.DateField(verbose_name="day")),
                ("planned_at", models.DateTimeField()),
                ("taken_back_at", models.DateTimeField(blank=True, null=True)),
                (
                    "adviser",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
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
            name="LastFarmVisited",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("visit_id", models.UUIDField()),
                ("name", models.CharField(max_length=120, verbose_name="last farm visited")),
                ("visited_on", models.DateField(verbose_name="when")),
                (
                    "adviser",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
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
                    "visit",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "visit_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="farms.plannedvisit",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="RegionClosure",
            fields=[
                ("closed", models.BooleanField()),
                ("from_on", models.DateField()),
                ("set_at", models.DateTimeField()),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                (
                    "region",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="closures", to="farms.region"
                    ),
                ),
                (
                    "set_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="FarmClosure",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("closed", models.BooleanField()),
                ("from_on", models.DateField()),
                ("set_at", models.DateTimeField()),
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
                    "set_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "constraints": [models.UniqueConstraint(fields=("farm", "entry"), name="farm_closure_once_an_entry")],
            },
        ),
        migrations.AddIndex(
            model_name="plannedvisit",
            index=models.Index(fields=["farm", "day"], name="planned_visit_by_day"),
        ),
        migrations.AddConstraint(
            model_name="lastfarmvisited",
            constraint=models.UniqueConstraint(fields=("farm", "visit_id"), name="last_farm_told_once_a_visit"),
        ),
        TieToFarm("lastfarmvisited", {"visit_id": "plannedvisit"}),
        ForceRowSecurity(
            "farmclosure",
            {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"},
            reads={"app": BY_PEOPLE},
            writes={"app": BY_PEOPLE},
        ),
        ForceRowSecurity(
            "plannedvisit",
            {"app": "SELECT, INSERT, UPDATE (taken_back_at)", "worker": "SELECT", "eraser": "SELECT, DELETE"},
            reads={"app": BY_PEOPLE},
            writes={"app": BY_ADVISER},
        ),
        # Another farm's name stands in it: for the adviser who told it, and nobody of this farm.
        ForceRowSecurity(
            "lastfarmvisited",
            {"app": "SELECT, INSERT, DELETE", "eraser": "SELECT, DELETE"},
            reads={"app": BY_ADVISER},
            writes={"app": BY_ADVISER},
        ),
        Grant(["farms_regionclosure", "farms_groupvisitrules"], {"app": "SELECT, INSERT", "worker": "SELECT"}),
    ]
