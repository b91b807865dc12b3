"""Safe before deploy: new tables and a function, and choices, which the database doesn't know."""

from pathlib import Path

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import DefinerFunctions, ForceRowSecurity, Grant

FUNCTIONS = Path(__file__).resolve().parent.parent / "tenancy" / "invitations.sql"
NO_KEY = "NULLIF(current_setting('app.token_id', true), '') IS NULL"
# The farm's owners and its advisers: whoever only counts there is shown nobody's address.
NOT_RECORDER = """NOT EXISTS (
        SELECT 1 FROM farms_membership m WHERE m.farm_id = farms_invitation.farm_id AND m.role = 'recorder'
           AND m.user_id = NULLIF(current_setting('app.user_id', true), '')::uuid AND m.ended_at IS NULL)"""
READ = "{column} = ANY((SELECT visible_farms())::uuid[]) AND " + f"{NO_KEY} AND {NOT_RECORDER}"
WRITE = "{column} = ANY((SELECT writable_farms())::uuid[]) AND " + f"{NO_KEY} AND {NOT_RECORDER}"


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0012_how_things_are_shown"),
    ]

    operations = [
        migrations.AlterField(
            model_name="logevent",
            name="kind",
            field=models.CharField(
                choices=[
                    ("sign_in", "signed in"),
                    ("token_made", "key made"),
                    ("token_ended", "key switched off"),
                    ("phone_joined", "farm phone joined"),
                    ("export", "data taken out"),
                    ("consent_given", "agreed to"),
                    ("consent_withdrawn", "agreement withdrawn"),
                    ("feed_made", "feed address made"),
                    ("feed_ended", "feed address switched off"),
                    ("invited", "invited by mail"),
                    ("invited_again", "invited by mail again"),
                    ("invitation_withdrawn", "invitation withdrawn"),
                    ("member_added", "role given"),
                    ("member_ended", "role ended"),
                    ("adviser_left", "the adviser left"),
                    ("successor_named", "next adviser named"),
                    ("successor_refused", "no to the next adviser"),
                    ("webhook_made", "webhook made"),
                    ("webhook_changed", "webhook changed"),
                    ("webhook_ended", "webhook taken away"),
                    ("agreement_accepted", "data agreement accepted"),
                    ("agreement_on_paper", "signed data agreement kept"),
                    ("paper_erased", "signed paper erased"),
                ],
                max_length=20,
            ),
        ),
        migrations.CreateModel(
            name="GroupInvitation",
            fields=[
                ("email", models.EmailField(max_length=254, verbose_name="e-mail address")),
                ("name", models.CharField(max_length=120, verbose_name="name")),
                (
                    "language",
                    models.CharField(
                        choices=[("en", "English"), ("es", "Español")], max_length=5, verbose_name="language"
                    ),
                ),
                ("key_hash", models.BinaryField(max_length=32)),
                ("made_at", models.DateTimeField()),
                ("sent_at", models.DateTimeField()),
                ("expires_at", models.DateTimeField()),
                ("accepted_at", models.DateTimeField(blank=True, null=True)),
                ("withdrawn_at", models.DateTimeField(blank=True, null=True)),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("coordinator", "coordinator"),
                            ("adviser", "adviser"),
                            ("guest", "guest"),
                            ("owner", "owner"),
                        ],
                        max_length=12,
                        verbose_name="role",
                    ),
                ),
                ("stays_until", models.DateTimeField(blank=True, null=True)),
                ("farm_name", models.CharField(blank=True, max_length=120, verbose_name="farm")),
                ("holding_name", models.CharField(blank=True, max_length=120, verbose_name="holding")),
                ("time_zone", models.CharField(blank=True, max_length=64, verbose_name="time zone")),
                (
                    "accepted_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "group",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="farms.group"),
                ),
                (
                    "invited_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "region",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="farms.region",
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["key_hash"], name="group_invitation_by_key_hash")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("region__isnull", False), ("role", "owner"), models.Q(("farm_name", ""), _negated=True)
                            ),
                            models.Q(
                                models.Q(("role", "owner"), _negated=True), ("farm_name", ""), ("region__isnull", True)
                            ),
                            _connector="OR",
                        ),
                        name="group_invitation_names_a_farm_for_its_owner_only",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("role", "guest"), ("stays_until__isnull", False)),
                            models.Q(models.Q(("role", "guest"), _negated=True), ("stays_until__isnull", True)),
                            _connector="OR",
                        ),
                        name="only_an_invited_guest_stays_until",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("accepted_at__isnull", True), ("withdrawn_at__isnull", True)),
                        fields=("group", "email", "role", "farm_name"),
                        name="group_invitation_once_while_it_waits",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Invitation",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("email", models.EmailField(max_length=254, verbose_name="e-mail address")),
                ("name", models.CharField(max_length=120, verbose_name="name")),
                (
                    "language",
                    models.CharField(
                        choices=[("en", "English"), ("es", "Español")], max_length=5, verbose_name="language"
                    ),
                ),
                ("key_hash", models.BinaryField(max_length=32)),
                ("made_at", models.DateTimeField()),
                ("sent_at", models.DateTimeField()),
                ("expires_at", models.DateTimeField()),
                ("accepted_at", models.DateTimeField(blank=True, null=True)),
                ("withdrawn_at", models.DateTimeField(blank=True, null=True)),
                (
                    "role",
                    models.CharField(
                        choices=[("recorder", "recorder"), ("owner", "owner")], max_length=12, verbose_name="role"
                    ),
                ),
                (
                    "accepted_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
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
                    "invited_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["key_hash"], name="invitation_by_key_hash")],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("accepted_at__isnull", True), ("withdrawn_at__isnull", True)),
                        fields=("farm", "email"),
                        name="invitation_once_while_it_waits",
                    )
                ],
            },
        ),
        ForceRowSecurity(
            "invitation",
            {
                "app": "SELECT, INSERT, DELETE, UPDATE (key_hash, sent_at, expires_at, invited_by_id, accepted_at,"
                " accepted_by_id, withdrawn_at)",
                "definer": "SELECT",
                "eraser": "SELECT, DELETE",
            },
            reads={"app": READ},
            writes={"app": WRITE},
        ),
        Grant(["farms_groupinvitation"], {"app": "SELECT, INSERT, UPDATE, DELETE"}),
        DefinerFunctions(FUNCTIONS.read_text(), {"find_invitation(bytea)": ["app"]}),
    ]
