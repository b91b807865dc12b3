"""Safe before deploy: a new table only."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity

# As of what was told (0009): the farm's people and its advisers, no key; its advisers write, each in their own name.
BY_PEOPLE = (
    "{column} = ANY((SELECT visible_farms())::uuid[]) AND NULLIF(current_setting('app.token_id', true), '') IS NULL"
)
BY_ADVISER = (
    "{column} = ANY((SELECT advised_farms())::uuid[])"
    " AND by_id = (SELECT NULLIF(current_setting('app.user_id', true), '')::uuid)"
)


class Migration(migrations.Migration):
    dependencies = [
        ("alerts", "0013_region_bulletins_and_rounds_told"),
        ("farms", "0011_regions_split_by_housing"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="CallNote",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("text", models.CharField(blank=True, max_length=500)),
                ("step", models.CharField(blank=True, max_length=200)),
                ("step_on", models.DateField(blank=True, null=True)),
                ("done", models.BooleanField(default=False)),
                ("salt", models.BinaryField(max_length=16)),
                ("at", models.DateTimeField()),
                ("noted_on", models.DateField()),
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
                "constraints": [
                    models.UniqueConstraint(fields=("farm", "entry"), name="call_note_once_an_entry"),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("step", ""), ("step_on__isnull", True)),
                            models.Q(models.Q(("step", ""), _negated=True), ("step_on__isnull", False)),
                            _connector="OR",
                        ),
                        name="call_note_step_has_a_day",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("done", True), ("step", ""), ("text", "")),
                            models.Q(("done", False), models.Q(("step", ""), ("text", ""), _negated=True)),
                            _connector="OR",
                        ),
                        name="call_note_says_something_or_ends_a_step",
                    ),
                ],
            },
        ),
        ForceRowSecurity(
            "callnote",
            {"app": "SELECT, INSERT", "eraser": "SELECT, DELETE"},
            reads={"app": BY_PEOPLE},
            writes={"app": BY_ADVISER},
        ),
    ]
