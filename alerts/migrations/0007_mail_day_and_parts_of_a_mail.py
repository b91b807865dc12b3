"""Safe before deploy: a new table and columns with a default, which older code leaves alone; mails that wait go as before."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity


class Migration(migrations.Migration):
    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
        ("alerts", "0006_running"),
    ]

    operations = [
        migrations.AddField("digest", "headline", models.CharField(blank=True, default="", max_length=200)),
        migrations.AddField("digest", "pressing", models.PositiveSmallIntegerField(default=0)),
        migrations.CreateModel(
            name="MailDay",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("weekday", models.PositiveSmallIntegerField()),
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
                "indexes": [models.Index(fields=["farm", "-entry"], name="mail_day_newest")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("weekday__gte", 1), ("weekday__lte", 7)), name="mail_day_is_a_weekday"
                    )
                ],
            },
        ),
        ForceRowSecurity("mailday", {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"}),
    ]
