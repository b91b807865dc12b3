"""Safe on an empty database only: it is the first."""

from pathlib import Path

import django.db.models.deletion
import django.db.models.functions.text
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import DefinerFunctions, ForceRowSecurity, Grant

FUNCTIONS = Path(__file__).resolve().parent.parent / "tenancy" / "functions.sql"


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "0012_alter_user_first_name_max_length"),
    ]

    operations = [
        migrations.CreateModel(
            name="Farm",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("name", models.CharField(max_length=120, verbose_name="name")),
                ("time_zone", models.CharField(default="UTC", max_length=64, verbose_name="time zone")),
                (
                    "language",
                    models.CharField(
                        choices=[("en", "English"), ("es", "Español")],
                        default="en",
                        max_length=5,
                        verbose_name="language",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="User",
            fields=[
                ("password", models.CharField(max_length=128, verbose_name="password")),
                ("last_login", models.DateTimeField(blank=True, null=True, verbose_name="last login")),
                (
                    "is_superuser",
                    models.BooleanField(
                        default=False,
                        help_text="Designates that this user has all permissions without explicitly assigning them.",
                        verbose_name="superuser status",
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("email", models.EmailField(max_length=254, unique=True, verbose_name="e-mail address")),
                ("name", models.CharField(blank=True, max_length=120, verbose_name="name")),
                (
                    "language",
                    models.CharField(
                        choices=[("en", "English"), ("es", "Español")],
                        default="en",
                        max_length=5,
                        verbose_name="language",
                    ),
                ),
                ("is_active", models.BooleanField(default=True)),
                ("is_staff", models.BooleanField(default=False)),
                ("date_joined", models.DateTimeField(auto_now_add=True)),
                (
                    "groups",
                    models.ManyToManyField(
                        blank=True,
                        help_text="The groups this user belongs to. A user will get all permissions granted to each of their groups.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.group",
                        verbose_name="groups",
                    ),
                ),
                (
                    "user_permissions",
                    models.ManyToManyField(
                        blank=True,
                        help_text="Specific permissions for this user.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.permission",
                        verbose_name="user permissions",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="LedgerHead",
            fields=[
                (
                    "farm",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        primary_key=True,
                        related_name="+",
                        serialize=False,
                        to="farms.farm",
                    ),
                ),
                ("number", models.BigIntegerField(default=0)),
                ("hash", models.BinaryField(max_length=32)),
            ],
        ),
        migrations.CreateModel(
            name="Facility",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("name", models.CharField(max_length=120, verbose_name="name")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("calf_hutches", "calf hutches"),
                            ("calf_barn", "calf barn"),
                            ("free_stall_barn", "free-stall barn"),
                            ("tie_stall_barn", "tie-stall barn"),
                            ("bedded_pack", "bedded pack"),
                            ("heifer_barn", "heifer barn"),
                            ("maternity_pen", "maternity pen"),
                            ("parlor", "parlor"),
                            ("milk_house", "milk house"),
                            ("feed_area", "feed area"),
                            ("hay_feeding_site", "hay-feeding site"),
                            ("silo", "silo"),
                            ("dry_lot", "dry lot"),
                            ("pasture", "pasture"),
                            ("lagoon", "lagoon"),
                            ("other", "other"),
                        ],
                        default="other",
                        max_length=20,
                        verbose_name="kind",
                    ),
                ),
                ("position", models.PositiveSmallIntegerField(default=0, verbose_name="walking order")),
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
            name="Consent",
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
                    models.CharField(
                        choices=[
                            ("adviser", "see the farm as its adviser"),
                            ("regional", "count the farm in region reports"),
                        ],
                        max_length=10,
                        verbose_name="kind",
                    ),
                ),
                ("given_at", models.DateTimeField()),
                ("withdrawn_at", models.DateTimeField(blank=True, null=True)),
                ("entry", models.BigIntegerField()),
                (
                    "adviser",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="consents",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "given_by",
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
            name="ApiToken",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("name", models.CharField(max_length=120, verbose_name="name")),
                (
                    "scope",
                    models.CharField(
                        choices=[
                            ("read", "read"),
                            ("write", "read and write"),
                            ("count", "farm phone: send rounds only"),
                        ],
                        max_length=5,
                        verbose_name="may",
                    ),
                ),
                ("key_hash", models.BinaryField(max_length=32)),
                ("made_at", models.DateTimeField()),
                ("expires_at", models.DateTimeField()),
                ("revoked_at", models.DateTimeField(blank=True, null=True)),
                ("last_used_on", models.DateField(blank=True, null=True)),
                (
                    "made_by",
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
            name="Group",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("name", models.CharField(max_length=120, verbose_name="name")),
                ("slug", models.SlugField(unique=True)),
                ("time_zone", models.CharField(default="UTC", max_length=64, verbose_name="time zone")),
                (
                    "language",
                    models.CharField(
                        choices=[("en", "English"), ("es", "Español")],
                        default="en",
                        max_length=5,
                        verbose_name="language",
                    ),
                ),
                ("sides_counted", models.PositiveSmallIntegerField(default=1, verbose_name="sides counted")),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("sides_counted__in", [1, 2])), name="group_counts_one_or_two_sides"
                    )
                ],
            },
        ),
        migrations.AddField(
            model_name="farm",
            name="group",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="farms", to="farms.group"
            ),
        ),
        migrations.CreateModel(
            name="GroupMember",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                (
                    "role",
                    models.CharField(
                        choices=[("adviser", "adviser"), ("coordinator", "coordinator")],
                        max_length=12,
                        verbose_name="role",
                    ),
                ),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
                (
                    "group",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="members", to="farms.group"
                    ),
                ),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="group_roles",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Holding",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("name", models.CharField(max_length=120, verbose_name="name")),
                (
                    "group",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="holdings", to="farms.group"
                    ),
                ),
            ],
        ),
        migrations.AddField(
            model_name="farm",
            name="holding",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="farms", to="farms.holding"
            ),
        ),
        migrations.CreateModel(
            name="LedgerEntry",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("number", models.BigIntegerField()),
                ("kind", models.CharField(max_length=30)),
                ("made_at", models.DateTimeField()),
                (
                    "actor_kind",
                    models.CharField(
                        choices=[
                            ("farm_staff", "Farm Staff"),
                            ("adviser", "Adviser"),
                            ("coordinator", "Coordinator"),
                            ("phone", "Phone"),
                            ("program", "Program"),
                            ("service", "Service"),
                        ],
                        max_length=12,
                    ),
                ),
                ("actor_id", models.UUIDField(null=True)),
                ("rows", models.IntegerField()),
                ("rows_hash", models.BinaryField(max_length=32)),
                ("previous", models.BinaryField(max_length=32)),
                ("hash", models.BinaryField(max_length=32)),
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
            name="Membership",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                (
                    "role",
                    models.CharField(
                        choices=[("recorder", "recorder"), ("owner", "owner")], max_length=12, verbose_name="role"
                    ),
                ),
                ("began_at", models.DateTimeField()),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
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
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="memberships",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Person",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("name", models.CharField(max_length=120, verbose_name="name")),
                ("initials", models.CharField(max_length=6, verbose_name="initials")),
                ("made_at", models.DateTimeField()),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
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
                    "user",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="PhoneCode",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("code_hash", models.BinaryField(max_length=32)),
                ("made_at", models.DateTimeField()),
                ("expires_at", models.DateTimeField()),
                ("used_at", models.DateTimeField(blank=True, null=True)),
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
                    "made_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Region",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("name", models.CharField(max_length=120, verbose_name="name")),
                ("slug", models.SlugField()),
                (
                    "group",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="regions", to="farms.group"
                    ),
                ),
            ],
        ),
        migrations.AddField(
            model_name="farm",
            name="region",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="farms", to="farms.region"
            ),
        ),
        migrations.CreateModel(
            name="Season",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("opens_on", models.DateField(verbose_name="opens on")),
                ("closes_on", models.DateField(blank=True, null=True, verbose_name="closes on")),
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
            name="SignInLink",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("key_hash", models.BinaryField(max_length=32, unique=True)),
                ("expires_at", models.DateTimeField()),
                ("used_at", models.DateTimeField(blank=True, null=True)),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
        ),
        migrations.AddConstraint(
            model_name="user",
            constraint=models.CheckConstraint(
                condition=models.Q(("email", django.db.models.functions.text.Lower("email"))),
                name="user_email_is_lower_case",
            ),
        ),
        migrations.AddConstraint(
            model_name="facility",
            constraint=models.UniqueConstraint(fields=("farm", "name"), name="facility_name_once_on_farm"),
        ),
        migrations.AddIndex(
            model_name="consent",
            index=models.Index(fields=["adviser"], name="consent_by_adviser"),
        ),
        migrations.AddConstraint(
            model_name="consent",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("adviser__isnull", False), ("kind", "adviser")),
                    models.Q(("adviser__isnull", True), ("kind", "regional")),
                    _connector="OR",
                ),
                name="consent_names_an_adviser_only_where_it_is_for_one",
            ),
        ),
        migrations.AddConstraint(
            model_name="consent",
            constraint=models.UniqueConstraint(
                condition=models.Q(("kind", "adviser"), ("withdrawn_at__isnull", True)),
                fields=("farm", "adviser"),
                name="adviser_consent_once_while_it_lasts",
            ),
        ),
        migrations.AddConstraint(
            model_name="consent",
            constraint=models.UniqueConstraint(
                condition=models.Q(("kind", "regional"), ("withdrawn_at__isnull", True)),
                fields=("farm",),
                name="regional_consent_once_while_it_lasts",
            ),
        ),
        migrations.AddIndex(
            model_name="apitoken",
            index=models.Index(fields=["key_hash"], name="token_by_key_hash"),
        ),
        migrations.AddConstraint(
            model_name="apitoken",
            constraint=models.UniqueConstraint(fields=("farm", "key_hash"), name="token_key_once_on_farm"),
        ),
        migrations.AddConstraint(
            model_name="groupmember",
            constraint=models.UniqueConstraint(
                condition=models.Q(("ended_at__isnull", True)),
                fields=("group", "user", "role"),
                name="group_role_once_while_it_lasts",
            ),
        ),
        migrations.AddConstraint(
            model_name="ledgerentry",
            constraint=models.UniqueConstraint(fields=("farm", "number"), name="ledger_number_once_on_farm"),
        ),
        migrations.AddConstraint(
            model_name="ledgerentry",
            constraint=models.CheckConstraint(condition=models.Q(("number__gte", 1)), name="ledger_number_from_one"),
        ),
        migrations.AddIndex(
            model_name="membership",
            index=models.Index(fields=["user"], name="membership_by_user"),
        ),
        migrations.AddConstraint(
            model_name="membership",
            constraint=models.UniqueConstraint(
                condition=models.Q(("ended_at__isnull", True)),
                fields=("farm", "user"),
                name="membership_once_while_it_lasts",
            ),
        ),
        migrations.AddIndex(
            model_name="phonecode",
            index=models.Index(fields=["code_hash"], name="phone_code_by_hash"),
        ),
        migrations.AddConstraint(
            model_name="region",
            constraint=models.UniqueConstraint(fields=("group", "slug"), name="region_slug_once_in_group"),
        ),
        migrations.AddConstraint(
            model_name="farm",
            constraint=models.UniqueConstraint(fields=("holding", "name"), name="farm_name_once_in_holding"),
        ),
        migrations.AddConstraint(
            model_name="season",
            constraint=models.UniqueConstraint(fields=("farm", "opens_on"), name="season_opens_once_a_day"),
        ),
        migrations.AddConstraint(
            model_name="season",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("closes_on__isnull", True), ("closes_on__gte", models.F("opens_on")), _connector="OR"
                ),
                name="season_closes_after_it_opens",
            ),
        ),
        DefinerFunctions(
            FUNCTIONS.read_text(),
            {
                "acting_token_farm(text[])": [],
                "acting_user_farms()": [],
                "visible_farms()": ["app"],
                "writable_farms()": ["app"],
                "cohort_farms()": ["cohort"],
                "find_token(bytea)": ["app"],
                "use_phone_code(bytea, uuid, bytea, text, timestamptz)": ["app"],
                "register_farm(uuid, uuid, uuid, uuid, text, text, text, uuid, uuid, timestamptz)": ["app"],
            },
        ),
        ForceRowSecurity(
            "farm",
            {
                "app": "SELECT, UPDATE (name, time_zone, language)",
                "worker": "SELECT",
                "cohort": "SELECT",
                "definer": "SELECT, INSERT",
                "eraser": "SELECT, DELETE",
            },
            column="id",
        ),
        ForceRowSecurity("facility", {"app": "SELECT, INSERT, UPDATE", "worker": "SELECT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity("season", {"app": "SELECT, INSERT, UPDATE", "worker": "SELECT", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity("person", {"app": "SELECT, INSERT, UPDATE", "eraser": "SELECT, DELETE"}),
        ForceRowSecurity(
            "membership",
            {
                "app": "SELECT, INSERT, UPDATE (role, ended_at)",
                "worker": "SELECT",
                "definer": "SELECT, INSERT",
                "eraser": "SELECT, DELETE",
            },
        ),
        ForceRowSecurity(
            "consent",
            {
                "app": "SELECT, INSERT, UPDATE (withdrawn_at)",
                "worker": "SELECT",
                "definer": "SELECT",
                "eraser": "SELECT, DELETE",
            },
        ),
        ForceRowSecurity(
            "apitoken",
            {
                "app": "SELECT, INSERT, UPDATE (revoked_at)",
                "definer": "SELECT, INSERT, UPDATE (last_used_on)",
                "eraser": "SELECT, DELETE",
            },
        ),
        ForceRowSecurity(
            "phonecode", {"app": "SELECT, INSERT", "definer": "SELECT, UPDATE", "eraser": "SELECT, DELETE"}
        ),
        ForceRowSecurity(
            "ledgerhead",
            {
                "app": "SELECT, UPDATE (number, hash)",
                "worker": "SELECT, UPDATE (number, hash)",
                "definer": "INSERT",
                "eraser": "SELECT, UPDATE, DELETE",
            },
        ),
        ForceRowSecurity(
            "ledgerentry", {"app": "SELECT, INSERT", "worker": "SELECT, INSERT", "eraser": "SELECT, DELETE"}
        ),
        Grant(
            ["farms_group", "farms_region"],
            {"app": "SELECT, INSERT, UPDATE", "worker": "SELECT", "cohort": "SELECT", "region": "SELECT"},
        ),
        Grant(["farms_holding"], {"app": "SELECT, INSERT, UPDATE", "worker": "SELECT", "cohort": "SELECT"}),
        Grant(["farms_groupmember"], {"app": "SELECT, INSERT, UPDATE", "worker": "SELECT", "definer": "SELECT"}),
        Grant(["farms_user"], {"app": "SELECT, INSERT, UPDATE", "worker": "SELECT"}),
        Grant(["farms_user_groups", "farms_user_user_permissions"], {"app": "SELECT, INSERT, DELETE"}),
        Grant(["farms_signinlink"], {"app": "SELECT, INSERT, UPDATE"}),
    ]
