"""Safe before deploy: a new table only."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity

# The farm's people and its advisers, no key; written by its advisers only, each in their own name.
BY_PEOPLE = (
    "{column} = ANY((SELECT visible_farms())::uuid[]) AND NULLIF(current_setting('app.token_id', true), '') IS NULL"
)
BY_ADVISER = (
    "{column} = ANY((SELECT advised_farms())::uuid[])"
    " AND by_id = (SELECT NULLIF(current_setting('app.user_id', true), '')::uuid)"
)


class Migration(migrations.Migration):
    dependencies = [
        ("alerts", "0008_mail_choices"),
        ("farms", "0006_closures_and_visits"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Told",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("week", models.DateField()),
                (
                    "how",
                    models.CharField(
                        choices=[
                            ("letter", "by letter"),
                            ("call", "by a call"),
                            ("in_person", "in person"),
                            ("text", "by text message"),
                        ],
                        max_length=9,
                        verbose_name="how",
                    ),
                ),
                ("told_on", models.DateField(verbose_name="told on")),
                ("undone", models.BooleanField(default=False)),
                ("at", models.DateTimeField()),
                ("entry", models.BigIntegerField()),
                (
                    "by",
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
            options={
                "indexes": [models.Index(fields=["farm", "week"], name="told_by_week")],
                "constraints": [models.UniqueConstraint(fields=("farm", "entry"), name="told_once_an_entry")],
            },
        ),
        ForceRowSecurity(
            "told",
            {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"},
            reads={"app": BY_PEOPLE},
            writes={"app": BY_ADVISER},
        ),
    ]
