"""Safe before deploy: new tables only, and choices, which the database doesn't know."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, Grant, TieToFarm

NO_KEY = "NULLIF(current_setting('app.token_id', true), '') IS NULL"
# The farm's owners and its advisers: who only counts there is shown neither a signature nor who gave it.
NOT_RECORDER = """NOT EXISTS (
        SELECT 1 FROM farms_membership m WHERE m.farm_id = {table}.farm_id AND m.role = 'recorder'
           AND m.user_id = NULLIF(current_setting('app.user_id', true), '')::uuid AND m.ended_at IS NULL)"""
READ = "{{column}} = ANY((SELECT visible_farms())::uuid[]) AND " + f"{NO_KEY} AND {NOT_RECORDER}"
WRITE = "{{column}} = ANY((SELECT writable_farms())::uuid[]) AND " + f"{NO_KEY} AND {NOT_RECORDER}"
# Whoever reads a region's reports reads under which licence.
LICENCE = "id, group_id, licence, valid_from, set_at"


def by_owner_or_adviser(model: str, verbs: str) -> ForceRowSecurity:
    table = f"farms_{model}"
    return ForceRowSecurity(
        model,
        {"app": verbs, "eraser": "SELECT, DELETE"},
        reads={"app": READ.format(table=table)},
        writes={"app": WRITE.format(table=table)},
    )


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0009_successors_who_leave"),
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
            name="GroupTerms",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                (
                    "licence",
                    models.CharField(
                        choices=[
                            ("CC-BY-4.0", "Creative Commons Attribution 4.0 International"),
                            ("CC-BY-SA-4.0", "Creative Commons Attribution Share Alike 4.0 International"),
                            ("CC0-1.0", "Creative Commons Zero v1.0 Universal"),
                            ("ODbL-1.0", "Open Data Commons Open Database License v1.0"),
                            ("ODC-By-1.0", "Open Data Commons Attribution License v1.0"),
                            ("PDDL-1.0", "Open Data Commons Public Domain Dedication & License 1.0"),
                        ],
                        default="CC-BY-4.0",
                        max_length=20,
                        verbose_name="licence",
                    ),
                ),
                ("sells_products", models.BooleanField(verbose_name="sells fly products")),
                ("contact", models.CharField(max_length=200, verbose_name="whom to ask")),
                ("valid_from", models.DateField(verbose_name="valid from")),
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
            name="Acceptance",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("version", models.CharField(max_length=10)),
                ("language", models.CharField(choices=[("en", "English"), ("es", "Español")], max_length=5)),
                ("accepted_at", models.DateTimeField()),
                ("signed_on", models.DateField(null=True)),
                ("entry", models.BigIntegerField()),
                (
                    "accepted_by",
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
                (
                    "terms",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="farms.groupterms"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="SignedPaper",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("acceptance_id", models.UUIDField()),
                ("signed_by", models.CharField(max_length=120, verbose_name="signed by")),
                ("kind", models.CharField(choices=[("pdf", "PDF"), ("jpeg", "JPEG"), ("png", "PNG")], max_length=4)),
                ("scan", models.BinaryField()),
                ("salt", models.BinaryField(max_length=16)),
                ("entry", models.BigIntegerField()),
                (
                    "acceptance",
                    models.ForeignObject(
                        editable=False,
                        from_fields=["farm", "acceptance_id"],
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        serialize=False,
                        to="farms.acceptance",
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
        ),
        migrations.CreateModel(
            name="AdviserDeclaration",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ("sells_products", models.BooleanField(verbose_name="sells fly products")),
                ("said_at", models.DateTimeField()),
                (
                    "adviser",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "group",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="farms.group"),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["group", "adviser", "said_at"], name="adviser_declaration_newest")],
            },
        ),
        migrations.AddConstraint(
            model_name="acceptance",
            constraint=models.UniqueConstraint(fields=("farm", "entry"), name="acceptance_once_an_entry"),
        ),
        migrations.AddConstraint(
            model_name="signedpaper",
            constraint=models.UniqueConstraint(
                fields=("farm", "acceptance_id"), name="signed_paper_once_an_acceptance"
            ),
        ),
        TieToFarm("signedpaper", {"acceptance_id": "acceptance"}),
        by_owner_or_adviser("acceptance", "SELECT, INSERT"),
        by_owner_or_adviser("signedpaper", "SELECT, INSERT, DELETE"),
        Grant(["farms_groupterms", "farms_adviserdeclaration"], {"app": "SELECT, INSERT"}),
        Grant(["farms_groupterms"], {"region": f"SELECT ({LICENCE})"}),
    ]
