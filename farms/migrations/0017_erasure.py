"""Safe before deploy: new tables and functions, further rights of the eraser's role, and choices."""

from pathlib import Path

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import DefinerFunctions, ForceRowSecurity, Grant, MoreRights

FUNCTIONS = Path(__file__).resolve().parent.parent / "tenancy" / "erasing.sql"
ACTING = "(SELECT NULLIF(current_setting('app.user_id', true), '')::uuid)"
NO_KEY = "NULLIF(current_setting('app.token_id', true), '') IS NULL"
OWNS = """EXISTS (
        SELECT 1 FROM farms_membership m WHERE m.farm_id = farms_erasurerequest.farm_id AND m.role = 'owner'
           AND m.user_id = NULLIF(current_setting('app.user_id', true), '')::uuid AND m.ended_at IS NULL)"""
READ = "{column} = ANY((SELECT visible_farms())::uuid[]) AND " + NO_KEY
WRITE = "{column} = ANY((SELECT writable_farms())::uuid[]) AND " + f"{NO_KEY} AND {OWNS}"
OWN = f"user_id = {ACTING}"


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0016_sprayer_links_in_the_log"),
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
                    ("photo_erased", "photo erased"),
                    ("sprayer_link_made", "link for a hired sprayer made"),
                    ("sprayer_link_ended", "link for a hired sprayer taken back"),
                    ("erasure_asked", "erasing the farm asked for"),
                    ("erasure_taken_back", "erasing the farm taken back"),
                    ("person_to_erase", "erasing a person asked for"),
                    ("person_kept", "erasing a person taken back"),
                    ("person_erased", "a person was erased"),
                ],
                max_length=20,
            ),
        ),
        migrations.CreateModel(
            name="ErasedFarm",
            fields=[
                ("id", models.UUIDField(editable=False, primary_key=True, serialize=False)),
                ("asked_at", models.DateTimeField()),
                ("erased_at", models.DateTimeField()),
                ("rows", models.BigIntegerField()),
                (
                    "group",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="farms.group"),
                ),
            ],
        ),
        migrations.CreateModel(
            name="AccountErasure",
            fields=[
                ("asked_at", models.DateTimeField()),
                ("due_at", models.DateTimeField()),
                ("taken_back_at", models.DateTimeField(null=True)),
                ("done_at", models.DateTimeField(null=True)),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("words", models.BooleanField(default=False)),
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
                        condition=models.Q(("done_at__isnull", True), ("taken_back_at__isnull", True)),
                        fields=("user",),
                        name="account_erasure_waits_once",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="ErasureRequest",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("asked_at", models.DateTimeField()),
                ("due_at", models.DateTimeField()),
                ("taken_back_at", models.DateTimeField(null=True)),
                ("done_at", models.DateTimeField(null=True)),
                ("person_id", models.UUIDField(null=True)),
                ("words", models.BooleanField(default=False)),
                (
                    "asked_by",
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
                    models.UniqueConstraint(
                        condition=models.Q(("done_at__isnull", True), ("taken_back_at__isnull", True)),
                        fields=("farm", "person_id"),
                        name="erasure_waits_once",
                        nulls_distinct=False,
                    )
                ],
            },
        ),
        ForceRowSecurity(
            "erasurerequest",
            {
                "app": "SELECT, INSERT, UPDATE (taken_back_at)",
                "definer": "SELECT",
                "eraser": "SELECT, DELETE, UPDATE (done_at)",
            },
            reads={"app": READ},
            writes={"app": WRITE},
        ),
        ForceRowSecurity(
            "accounterasure",
            {
                "app": "SELECT, INSERT, UPDATE (taken_back_at)",
                "definer": "SELECT",
                "eraser": "SELECT, UPDATE (done_at)",
            },
            reads={"app": OWN, "eraser": OWN},
            writes={"app": OWN, "eraser": OWN},
        ),
        # That somebody was erased is noted in the logs of their farms; their roles and keys end there.
        MoreRights("logevent", {"eraser": "INSERT"}),
        MoreRights("membership", {"eraser": "UPDATE (ended_at)"}),
        MoreRights("apitoken", {"eraser": "UPDATE (revoked_at)"}),
        MoreRights("person", {"eraser": "UPDATE (name, initials, user_id, ended_at)"}),
        MoreRights(
            "ownanswer",
            {"eraser": "SELECT, DELETE"},
            reads={"eraser": f"who = {ACTING}"},
            writes={"eraser": f"who = {ACTING}"},
        ),
        Grant(["farms_erasedfarm"], {"eraser": "SELECT, INSERT"}),
        Grant(["farms_group"], {"eraser": "SELECT"}),
        Grant(["farms_holding", "farms_groupinvitation"], {"eraser": "SELECT, DELETE"}),
        Grant(["farms_signinlink", "farms_feedaddress"], {"eraser": "SELECT, DELETE"}),
        Grant(["farms_groupmember"], {"eraser": "SELECT, UPDATE (name, ended_at)"}),
        # What an account becomes when its person is erased: an empty shell that nobody signs in to.
        Grant(
            ["farms_user"],
            {
                "eraser": "SELECT, UPDATE (name, email, password, language, degrees, days, is_active, is_staff,"
                " is_superuser, last_login)"
            },
        ),
        Grant(["django_session", "account_emailaddress", "account_emailconfirmation"], {"eraser": "SELECT, DELETE"}),
        DefinerFunctions(
            FUNCTIONS.read_text(),
            {
                "erasures_due(timestamptz)": ["eraser"],
                "accounts_to_erase(timestamptz)": ["eraser"],
                "farms_of_person(uuid, text)": ["eraser"],
                "belong_nowhere(uuid[])": ["eraser"],
            },
        ),
    ]
