"""Safe before deploy: new tables only."""

import django.db.models.deletion
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, Grant


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0014_photo_erased_in_the_log"),
    ]

    operations = [
        migrations.CreateModel(
            name="DailyHead",
            fields=[
                ("day", models.DateField(primary_key=True, serialize=False)),
                ("made_at", models.DateTimeField()),
                ("document", models.TextField()),
                ("hash", models.BinaryField(max_length=32)),
                ("leaves", models.BinaryField()),
                ("filed_at", models.DateTimeField(null=True)),
                ("mailed_at", models.DateTimeField(null=True)),
                ("stamped_at", models.DateTimeField(null=True)),
                ("stamp", models.BinaryField(null=True)),
                ("authority", models.TextField(blank=True, default="")),
                ("next_try_at", models.DateTimeField()),
                ("tries", models.IntegerField(default=0)),
                ("error", models.TextField(blank=True, default="")),
            ],
        ),
        migrations.CreateModel(
            name="SigningKey",
            fields=[
                ("id", models.CharField(max_length=64, primary_key=True, serialize=False)),
                ("public", models.BinaryField(max_length=32)),
                ("first_used_on", models.DateField()),
            ],
        ),
        migrations.CreateModel(
            name="ErasedRow",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("table", models.CharField(max_length=63)),
                ("of_entry", models.BigIntegerField()),
                ("row_hash", models.BinaryField(max_length=32)),
                ("erased_at", models.DateTimeField()),
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
                "indexes": [models.Index(fields=["farm", "of_entry"], name="erased_row_by_entry")],
            },
        ),
        migrations.CreateModel(
            name="HeadLeaf",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("day", models.DateField()),
                ("number", models.BigIntegerField()),
                ("place", models.IntegerField()),
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
            ],
            options={
                "constraints": [models.UniqueConstraint(fields=("farm", "day"), name="head_leaf_once_a_day")],
            },
        ),
        ForceRowSecurity("headleaf", {"app": "SELECT", "worker": "SELECT, INSERT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity(
            "erasedrow",
            {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, INSERT, DELETE"},
        ),
        Grant(
            ["farms_dailyhead"],
            {
                "app": "SELECT",
                "worker": "SELECT, INSERT, UPDATE (filed_at, mailed_at, stamped_at, stamp, authority, next_try_at,"
                " tries, error)",
            },
        ),
        Grant(["farms_signingkey"], {"app": "SELECT", "worker": "SELECT, INSERT"}),
    ]
