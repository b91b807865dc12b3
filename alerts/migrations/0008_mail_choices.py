"""Safe before deploy: new tables, and columns with a default in the database, which older code leaves alone."""

import django.contrib.postgres.fields
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import VISIBLE, ForceRowSecurity, Grant

OWN = "recipient_id = (SELECT NULLIF(current_setting('app.user_id', true), '')::uuid)"
SEEN = "farm_ids <@ (SELECT visible_farms())::uuid[]"
OWN_ON_FARM = f"{VISIBLE} AND {OWN}"


class Migration(migrations.Migration):
    dependencies = [
        ("alerts", "0007_mail_day_and_parts_of_a_mail"),
        ("farms", "0005_only_guests_end_by_themselves"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="ChoiceKey",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("key", models.BinaryField(max_length=32)),
                ("made_at", models.DateTimeField()),
                ("ended_at", models.DateTimeField(null=True)),
            ],
        ),
        migrations.AddField(
            model_name="digest",
            name="needs_a_look",
            field=models.BooleanField(db_default=True, default=True),
        ),
        migrations.AddField(
            model_name="mondaylist",
            name="needs_a_look",
            field=models.BooleanField(db_default=True, default=True),
        ),
        migrations.AlterField(
            model_name="digest",
            name="state",
            field=models.CharField(
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
        migrations.AlterField(
            model_name="mondaylist",
            name="state",
            field=models.CharField(
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
        migrations.CreateModel(
            name="DigestChoice",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
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
                    "recipient",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["farm", "recipient", "chosen_at"], name="digest_choice_by_reader")],
            },
        ),
        migrations.CreateModel(
            name="MondayListChoice",
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
                    "group",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="farms.group"),
                ),
                (
                    "recipient",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["group", "recipient", "chosen_at"], name="list_choice_by_reader")],
            },
        ),
        migrations.AddField(
            model_name="digest",
            name="reason",
            field=models.CharField(
                blank=True,
                choices=[
                    ("no_owner", "its reader was no longer an owner of the farm"),
                    ("no_adviser", "its reader was no longer an adviser of the group"),
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
        migrations.AddField(
            model_name="mondaylist",
            name="reason",
            field=models.CharField(
                blank=True,
                choices=[
                    ("no_owner", "its reader was no longer an owner of the farm"),
                    ("no_adviser", "its reader was no longer an adviser of the group"),
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
            name="StoppedAddress",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("address", models.EmailField(max_length=254)),
                (
                    "why",
                    models.CharField(
                        choices=[
                            ("refused", "the mail server there refused the address"),
                            ("bounced", "a mail came back: nobody has this address"),
                            ("complained", "a mail was reported as unwanted"),
                            ("left", "it was asked at the mail service to send no more"),
                        ],
                        max_length=10,
                    ),
                ),
                (
                    "code",
                    models.CharField(blank=True, help_text="As 550 5.1.1; empty where none was told.", max_length=16),
                ),
                ("stopped_at", models.DateTimeField()),
                ("ended_at", models.DateTimeField(help_text="When its person said that it works again.", null=True)),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("ended_at__isnull", True)),
                        fields=("user", "address"),
                        name="address_stopped_once_while_it_lasts",
                    )
                ],
            },
        ),
        migrations.AddField(
            model_name="mondaylist",
            name="farm_ids",
            field=django.contrib.postgres.fields.ArrayField(base_field=models.UUIDField(), null=True, size=None),
        ),
        migrations.RunSQL(
            # A list is read while its adviser may see every farm that it tells of.
            f"ALTER POLICY app_select ON alerts_mondaylist USING ({OWN} AND {SEEN})",
            f"ALTER POLICY app_select ON alerts_mondaylist USING ({OWN})",
        ),
        ForceRowSecurity(
            "digestchoice",
            {"app": "SELECT, INSERT", "worker": "SELECT", "eraser": "SELECT, DELETE"},
            reads={"app": OWN_ON_FARM},
            writes={"app": OWN_ON_FARM},
        ),
        ForceRowSecurity(
            "mondaylistchoice",
            {"app": "SELECT, INSERT", "worker": "SELECT"},
            reads={"app": OWN},
            writes={"app": OWN},
        ),
        # The column comes with a default in the database; the worker notes it with the state.
        Grant(["alerts_digest", "alerts_mondaylist"], {"worker": "UPDATE (reason)"}),
        Grant(["alerts_stoppedaddress"], {"app": "SELECT, INSERT, UPDATE (ended_at)", "worker": "SELECT, INSERT"}),
        Grant(["alerts_choicekey"], {"app": "SELECT, INSERT", "worker": "SELECT, INSERT"}),
    ]
