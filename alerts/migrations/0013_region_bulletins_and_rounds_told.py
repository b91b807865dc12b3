"""Safe before deploy: new tables and a reason more; older code leaves them alone."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, Grant

OWN = "recipient_id = (SELECT NULLIF(current_setting('app.user_id', true), '')::uuid)"


class Migration(migrations.Migration):
    dependencies = [
        ("alerts", "0012_text_messages"),
        ("farms", "0011_regions_split_by_housing"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AlterField(
            model_name="coordinatorreport",
            name="reason",
            field=models.CharField(
                blank=True,
                choices=[
                    ("no_owner", "its reader was no longer an owner of the farm"),
                    ("no_adviser", "its reader was no longer an adviser of the group"),
                    ("role_ended", "its reader was no longer a coordinator of the group"),
                    ("no_region", "its reader may no longer see the region's reports"),
                    ("withdrew", "a farm on this list had withdrawn its consent since it was written"),
                    ("stopped", "mails to this address don't arrive, so none is sent there"),
                    ("address", "the mail server there refused the address"),
                    ("mail", "the mail server refused this mail, not the address"),
                ],
                db_default="",
                default="",
                max_length=10,
            ),
        ),
        migrations.AlterField(
            model_name="digest",
            name="reason",
            field=models.CharField(
                blank=True,
                choices=[
                    ("no_owner", "its reader was no longer an owner of the farm"),
                    ("no_adviser", "its reader was no longer an adviser of the group"),
                    ("role_ended", "its reader was no longer a coordinator of the group"),
                    ("no_region", "its reader may no longer see the region's reports"),
                    ("withdrew", "a farm on this list had withdrawn its consent since it was written"),
                    ("stopped", "mails to this address don't arrive, so none is sent there"),
                    ("address", "the mail server there refused the address"),
                    ("mail", "the mail server refused this mail, not the address"),
                ],
                db_default="",
                default="",
                max_length=10,
            ),
        ),
        migrations.AlterField(
            model_name="mondaylist",
            name="reason",
            field=models.CharField(
                blank=True,
                choices=[
                    ("no_owner", "its reader was no longer an owner of the farm"),
                    ("no_adviser", "its reader was no longer an adviser of the group"),
                    ("role_ended", "its reader was no longer a coordinator of the group"),
                    ("no_region", "its reader may no longer see the region's reports"),
                    ("withdrew", "a farm on this list had withdrawn its consent since it was written"),
                    ("stopped", "mails to this address don't arrive, so none is sent there"),
                    ("address", "the mail server there refused the address"),
                    ("mail", "the mail server refused this mail, not the address"),
                ],
                db_default="",
                default="",
                max_length=10,
            ),
        ),
        migrations.CreateModel(
            name="RegionBulletin",
            fields=[
                ("occasion", models.CharField(max_length=20)),
                ("language", models.CharField(max_length=5)),
                ("subject", models.CharField(max_length=200)),
                ("text", models.TextField()),
                ("html", models.TextField()),
                ("picture", models.BinaryField(null=True)),
                ("picture_text", models.TextField(blank=True, default="")),
                ("needs_a_look", models.BooleanField(db_default=True, default=True)),
                ("queued_at", models.DateTimeField()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("queued", "Queued"),
                            ("sending", "Sending"),
                            ("sent", "Sent"),
                            ("refused", "Refused"),
                            ("unwanted", "Unwanted"),
                        ],
                        default="queued",
                        max_length=8,
                    ),
                ),
                ("lease_until", models.DateTimeField(null=True)),
                ("attempts", models.IntegerField(default=0)),
                ("next_try_at", models.DateTimeField()),
                ("sent_at", models.DateTimeField(null=True)),
                (
                    "reason",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("no_owner", "its reader was no longer an owner of the farm"),
                            ("no_adviser", "its reader was no longer an adviser of the group"),
                            ("role_ended", "its reader was no longer a coordinator of the group"),
                            ("no_region", "its reader may no longer see the region's reports"),
                            ("withdrew", "a farm on this list had withdrawn its consent since it was written"),
                            ("stopped", "mails to this address don't arrive, so none is sent there"),
                            ("address", "the mail server there refused the address"),
                            ("mail", "the mail server refused this mail, not the address"),
                        ],
                        db_default="",
                        default="",
                        max_length=10,
                    ),
                ),
                ("error", models.TextField(blank=True, default="")),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                (
                    "group",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="farms.group"),
                ),
                (
                    "recipient",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "region",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="farms.region"),
                ),
            ],
            options={
                "indexes": [
                    models.Index(
                        condition=models.Q(("state__in", ["queued", "sending"])),
                        fields=["next_try_at"],
                        name="region_bulletin_due",
                    )
                ],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("region", "recipient", "occasion"), name="region_bulletin_once_an_occasion"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="RegionBulletinChoice",
            fields=[
                (
                    "how_often",
                    models.CharField(
                        choices=[
                            ("every_week", "every week"),
                            ("when_needed", "only when something needs a look"),
                            ("none", "no mail"),
                        ],
                        max_length=11,
                    ),
                ),
                ("chosen_at", models.DateTimeField()),
                (
                    "way",
                    models.CharField(
                        choices=[("mail", "by the address in a mail"), ("page", "on a page"), ("api", "by a program")],
                        max_length=4,
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                (
                    "recipient",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "region",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="farms.region"),
                ),
            ],
            options={
                "indexes": [
                    models.Index(fields=["region", "recipient", "chosen_at"], name="bulletin_choice_by_reader")
                ],
            },
        ),
        migrations.CreateModel(
            name="RoundsTold",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("week", models.DateField(help_text="The Monday of the ISO week.")),
                (
                    "of",
                    models.CharField(
                        choices=[
                            ("region", "a region"),
                            ("smaller", "smaller regions together"),
                            ("all", "the whole group"),
                        ],
                        max_length=8,
                    ),
                ),
                ("farms", models.IntegerField()),
                ("came", models.IntegerField()),
                ("overdue", models.IntegerField()),
                (
                    "group",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="farms.group"),
                ),
                (
                    "region",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="farms.region"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("group", "week", "of", "region"), name="rounds_told_once_a_week", nulls_distinct=False
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("farms__gte", 5)), name="rounds_told_of_five_farms_or_more"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("of", "region"), ("region__isnull", False)),
                            models.Q(models.Q(("of", "region"), _negated=True), ("region__isnull", True)),
                            _connector="OR",
                        ),
                        name="rounds_told_names_a_region_only_where_it_is_of_one",
                    ),
                ],
            },
        ),
        ForceRowSecurity(
            "regionbulletin",
            {
                "app": "SELECT",
                "worker": "SELECT, INSERT, UPDATE (state, lease_until, attempts, next_try_at, sent_at, error, reason)",
            },
            reads={"app": OWN},
        ),
        ForceRowSecurity(
            "regionbulletinchoice",
            {"app": "SELECT, INSERT", "worker": "SELECT"},
            reads={"app": OWN},
            writes={"app": OWN},
        ),
        # Under which licence reports may be passed on stands in a bulletin.
        Grant(["farms_groupterms"], {"worker": "SELECT (id, group_id, licence, valid_from, set_at)"}),
        # Of five farms or more, and of none by itself: that is what is stored.
        Grant(["alerts_roundstold"], {"app": "SELECT", "worker": "SELECT, INSERT"}),
    ]
