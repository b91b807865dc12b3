"""Safe before deploy: new tables and a function only."""

from pathlib import Path

import django.contrib.postgres.fields
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import DefinerFunctions, ForceRowSecurity, Grant, TieToFarm

FUNCTIONS = Path(farms.ids.__file__).resolve().parent / "tenancy" / "sprayer_links.sql"
NO_KEY = "NULLIF(current_setting('app.token_id', true), '') IS NULL"
# Names are the farm's people's and its advisers': a key may write them down, and never reads them.
READ = "{column} = ANY((SELECT visible_farms())::uuid[]) AND " + NO_KEY
WRITE = "{column} = ANY((SELECT writable_farms())::uuid[]) AND " + NO_KEY
ADDED = {"app": "SELECT, INSERT", "eraser": "SELECT, DELETE"}


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0016_sprayer_links_in_the_log"),
        ("monitoring", "0009_walks_and_complaints"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="CertificateAsked",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("asked", models.BooleanField()),
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
            name="CertifierAnswer",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("product_name", models.CharField(max_length=120, verbose_name="product, as on the label")),
                ("registration_number", models.CharField(max_length=40, verbose_name="registration number")),
                ("asked_on", models.DateField(verbose_name="asked on")),
                ("answered_on", models.DateField(verbose_name="answered on")),
                (
                    "said",
                    models.CharField(
                        choices=[
                            ("allowed", "allowed"),
                            ("on_conditions", "allowed on conditions"),
                            ("not_allowed", "not allowed"),
                        ],
                        max_length=13,
                        verbose_name="answer",
                    ),
                ),
                (
                    "words",
                    models.CharField(blank=True, default="", max_length=300, verbose_name="in the certifier's words"),
                ),
                ("typed_by", models.UUIDField(null=True)),
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
                ("recorded_at", models.DateTimeField()),
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
            ],
        ),
        migrations.CreateModel(
            name="Application",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("name", models.CharField(max_length=120, verbose_name="product, as on the label")),
                ("registration_number", models.CharField(max_length=40, verbose_name="registration number")),
                ("substances", models.CharField(max_length=200, verbose_name="active substance")),
                (
                    "irac_groups",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(max_length=4), size=None, verbose_name="IRAC group"
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("residual", "residual spray, on walls and surfaces"),
                            ("space", "space spray or fog"),
                            ("bait", "bait"),
                            ("larvicide", "larvicide, on manure or bedding"),
                            ("feed_through", "feed-through"),
                            ("on_animals", "pour-on or spray on animals"),
                        ],
                        max_length=12,
                        verbose_name="kind of product",
                    ),
                ),
                ("reentry_hours", models.PositiveSmallIntegerField(null=True, verbose_name="keep out, hours")),
                (
                    "reentry_words",
                    models.CharField(
                        default="", max_length=200, verbose_name="what the label says about going in again"
                    ),
                ),
                ("milk_hours", models.PositiveSmallIntegerField(null=True, verbose_name="milk withheld, hours")),
                ("meat_days", models.PositiveSmallIntegerField(null=True, verbose_name="meat withheld, days")),
                ("facility_id", models.UUIDField(null=True)),
                ("place", models.CharField(blank=True, default="", max_length=200, verbose_name="place in it")),
                ("product_id", models.UUIDField(null=True)),
                ("amount", models.DecimalField(decimal_places=4, max_digits=12, verbose_name="total amount")),
                (
                    "amount_unit",
                    models.CharField(
                        choices=[
                            ("ml", "milliliters"),
                            ("l", "liters"),
                            ("fl_oz", "fluid ounces (US)"),
                            ("pt", "pints (US)"),
                            ("qt", "quarts (US)"),
                            ("gal", "gallons (US)"),
                            ("g", "grams"),
                            ("kg", "kilograms"),
                            ("oz", "ounces"),
                            ("lb", "pounds"),
                            ("piece", "pieces"),
                        ],
                        max_length=5,
                        verbose_name="unit",
                    ),
                ),
                ("area", models.DecimalField(decimal_places=4, max_digits=12, null=True, verbose_name="size of area")),
                (
                    "area_unit",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("m2", "square meters"),
                            ("ha", "hectares"),
                            ("ft2", "square feet"),
                            ("acre", "acres"),
                            ("m3", "cubic meters"),
                            ("ft3", "cubic feet"),
                        ],
                        default="",
                        max_length=4,
                        verbose_name="unit",
                    ),
                ),
                ("animals", models.PositiveIntegerField(null=True, verbose_name="number of animals")),
                (
                    "target",
                    models.CharField(
                        choices=[
                            ("house_flies", "house flies"),
                            ("stable_flies", "stable flies"),
                            ("both", "house flies and stable flies"),
                            ("maggots", "maggots"),
                            ("other_flies", "other flies"),
                        ],
                        max_length=12,
                        verbose_name="against",
                    ),
                ),
                ("begins_at", models.DateTimeField(verbose_name="begun")),
                ("ends_at", models.DateTimeField(verbose_name="ended")),
                ("milk_until", models.DateTimeField(null=True)),
                ("meat_until", models.DateTimeField(null=True)),
                ("reentry_id", models.UUIDField(null=True)),
                ("certifier_answer_id", models.UUIDField(null=True)),
                ("typed_by", models.UUIDField(null=True)),
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
                ("through_link", models.BooleanField(default=False)),
                ("from_paper", models.BooleanField(default=False, verbose_name="typed from paper")),
                ("recorded_at", models.DateTimeField()),
                ("replaces_id", models.UUIDField(null=True)),
                ("reason", models.CharField(blank=True, default="", max_length=200, verbose_name="why it is changed")),
                ("entry", models.BigIntegerField()),
                (
                    "facility",
                    models.ForeignObject(
                        blank=True,
                        editable=False,
                        from_fields=["farm", "facility_id"],
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="applications",
                        serialize=False,
                        to="farms.facility",
                        to_fields=["farm", "id"],
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
                    "reentry",
                    models.ForeignObject(
                        blank=True,
                        editable=False,
                        from_fields=["farm", "reentry_id"],
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="monitoring.reentry",
                        to_fields=["farm", "id"],
                    ),
                ),
                (
                    "replaces",
                    models.ForeignObject(
                        blank=True,
                        editable=False,
                        from_fields=["farm", "replaces_id"],
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="monitoring.application",
                        to_fields=["farm", "id"],
                    ),
                ),
                (
                    "certifier_answer",
                    models.ForeignObject(
                        blank=True,
                        editable=False,
                        from_fields=["farm", "certifier_answer_id"],
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="monitoring.certifieranswer",
                        to_fields=["farm", "id"],
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="OrganicMark",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("is_organic", models.BooleanField(verbose_name="organic")),
                ("from_on", models.DateField(verbose_name="from")),
                ("marked_by", models.UUIDField(null=True)),
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
                ("recorded_at", models.DateTimeField()),
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
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Product",
            fields=[
                ("name", models.CharField(max_length=120, verbose_name="product, as on the label")),
                ("registration_number", models.CharField(max_length=40, verbose_name="registration number")),
                ("substances", models.CharField(max_length=200, verbose_name="active substance")),
                (
                    "irac_groups",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(max_length=4), size=None, verbose_name="IRAC group"
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("residual", "residual spray, on walls and surfaces"),
                            ("space", "space spray or fog"),
                            ("bait", "bait"),
                            ("larvicide", "larvicide, on manure or bedding"),
                            ("feed_through", "feed-through"),
                            ("on_animals", "pour-on or spray on animals"),
                        ],
                        max_length=12,
                        verbose_name="kind of product",
                    ),
                ),
                ("reentry_hours", models.PositiveSmallIntegerField(null=True, verbose_name="keep out, hours")),
                (
                    "reentry_words",
                    models.CharField(
                        default="", max_length=200, verbose_name="what the label says about going in again"
                    ),
                ),
                ("milk_hours", models.PositiveSmallIntegerField(null=True, verbose_name="milk withheld, hours")),
                ("meat_days", models.PositiveSmallIntegerField(null=True, verbose_name="meat withheld, days")),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("typed_at", models.DateTimeField()),
                ("taken_off", models.BooleanField(default=False)),
                (
                    "group",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="products", to="farms.group"
                    ),
                ),
                (
                    "replaces",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="replaced_by",
                        to="monitoring.product",
                    ),
                ),
                (
                    "typed_by",
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
            name="SprayerLink",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("key_hash", models.BinaryField(max_length=32)),
                ("made_by_id", models.UUIDField()),
                ("made_at", models.DateTimeField()),
                ("expires_at", models.DateTimeField()),
                ("used_at", models.DateTimeField(null=True)),
                ("withdrawn_at", models.DateTimeField(null=True)),
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
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="ApplicationCheck",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("application_id", models.UUIDField()),
                ("confirmed", models.BooleanField()),
                ("reason", models.CharField(blank=True, default="", max_length=200, verbose_name="why not")),
                ("checked_by", models.UUIDField(null=True)),
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
                ("checked_at", models.DateTimeField()),
                ("entry", models.BigIntegerField()),
                (
                    "application",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "application_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="monitoring.application",
                        to_fields=["farm", "id"],
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
                    models.UniqueConstraint(fields=("farm", "application_id"), name="application_is_checked_once"),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("confirmed", True), ("reason", "")),
                            models.Q(("confirmed", False), models.Q(("reason", ""), _negated=True)),
                            _connector="OR",
                        ),
                        name="application_check_says_why",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ApplicationPeople",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("application_id", models.UUIDField()),
                ("applicator", models.CharField(max_length=120, verbose_name="applicator")),
                (
                    "certificate",
                    models.CharField(blank=True, default="", max_length=60, verbose_name="certificate number"),
                ),
                (
                    "uncertified",
                    models.CharField(
                        blank=True, default="", max_length=120, verbose_name="applicator without a certificate"
                    ),
                ),
                ("done_for", models.CharField(blank=True, default="", max_length=120, verbose_name="for whom")),
                ("salt", models.BinaryField(max_length=16)),
                ("entry", models.BigIntegerField()),
                (
                    "application",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "application_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="monitoring.application",
                        to_fields=["farm", "id"],
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
                    models.UniqueConstraint(fields=("farm", "application_id"), name="people_once_an_application")
                ],
            },
        ),
        migrations.AddConstraint(
            model_name="certifieranswer",
            constraint=models.CheckConstraint(
                condition=models.Q(("answered_on__gte", models.F("asked_on"))), name="certifier_answers_after_asked"
            ),
        ),
        migrations.AddIndex(
            model_name="application",
            index=models.Index(fields=["farm", "begins_at"], name="application_by_day"),
        ),
        migrations.AddConstraint(
            model_name="application",
            constraint=models.UniqueConstraint(
                condition=models.Q(("replaces_id__isnull", False)),
                fields=("farm", "replaces_id"),
                name="application_is_replaced_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="application",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("reason", ""), ("replaces_id__isnull", True)),
                    models.Q(("replaces_id__isnull", False), models.Q(("reason", ""), _negated=True)),
                    _connector="OR",
                ),
                name="application_replaced_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="application",
            constraint=models.CheckConstraint(
                condition=models.Q(("ends_at__gte", models.F("begins_at"))), name="application_ends_after_it_begins"
            ),
        ),
        migrations.AddConstraint(
            model_name="application",
            constraint=models.CheckConstraint(
                condition=models.Q(("amount__gt", 0)), name="application_amount_above_zero"
            ),
        ),
        migrations.AddConstraint(
            model_name="application",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("area__isnull", True), ("area_unit", "")),
                    models.Q(("area__gt", 0), models.Q(("area_unit", ""), _negated=True)),
                    _connector="OR",
                ),
                name="application_area_has_its_unit",
            ),
        ),
        migrations.AddConstraint(
            model_name="application",
            constraint=models.CheckConstraint(
                condition=models.Q(("area__isnull", False), ("animals__gt", 0), _connector="OR"),
                name="application_has_area_or_animals",
            ),
        ),
        migrations.AddIndex(
            model_name="sprayerlink",
            index=models.Index(fields=["key_hash"], name="sprayer_link_by_key"),
        ),
        TieToFarm(
            "application",
            {
                "facility_id": "farms.facility",
                "reentry_id": "reentry",
                "certifier_answer_id": "certifieranswer",
                "replaces_id": "application",
            },
        ),
        TieToFarm("applicationpeople", {"application_id": "application"}),
        TieToFarm("applicationcheck", {"application_id": "application"}),
        ForceRowSecurity("application", ADDED | {"worker": "SELECT"}),
        ForceRowSecurity("applicationpeople", ADDED, reads={"app": READ}),
        ForceRowSecurity("applicationcheck", ADDED | {"worker": "SELECT"}),
        ForceRowSecurity("organicmark", ADDED),
        ForceRowSecurity("certifieranswer", ADDED),
        ForceRowSecurity(
            "sprayerlink",
            {
                "app": "SELECT, INSERT, UPDATE (used_at, withdrawn_at)",
                "definer": "SELECT",
                "eraser": "SELECT, DELETE",
            },
            reads={"app": READ},
            writes={"app": WRITE},
        ),
        Grant(["monitoring_product", "monitoring_certificateasked"], {"app": "SELECT, INSERT"}),
        DefinerFunctions(FUNCTIONS.read_text(), {"find_sprayer_link(bytea)": ["app"]}),
    ]
