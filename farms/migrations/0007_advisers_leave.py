"""Safe before deploy: new tables, a column that may be empty, and rights; no older code reads or needs them."""

from pathlib import Path

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import DefinerFunctions, ForceRowSecurity, Grant

FUNCTIONS = Path(__file__).resolve().parent.parent / "tenancy" / "succession.sql"
# The farm's people and its advisers; no key, whatever its scope.
PEOPLE = "NULLIF(current_setting('app.token_id', true), '') IS NULL"
READ = "{column} = ANY((SELECT visible_farms())::uuid[]) AND " + PEOPLE
WRITE = "{column} = ANY((SELECT writable_farms())::uuid[]) AND " + PEOPLE
CHANGED = "farm_id = ANY((SELECT writable_farms())::uuid[])"
# The worker gives no consent of its own: only what an owner agreed to before.
AS_AGREED = """
    kind = 'adviser' AND withdrawn_at IS NULL AND EXISTS (
        SELECT 1 FROM farms_adviseroffer o
        WHERE o.farm_id = farms_consent.farm_id AND o.successor_id = farms_consent.adviser_id
          AND o.agreed_by_id = farms_consent.given_by_id AND o.answer = 'nothing' AND o.ended_at IS NULL
    )"""
POLICIES = (
    f"CREATE POLICY worker_insert ON farms_consent FOR INSERT TO flyround_worker WITH CHECK ({AS_AGREED})",
    "CREATE POLICY worker_insert ON farms_logevent FOR INSERT TO flyround_worker WITH CHECK (kind = 'consent_given')",
    "CREATE POLICY definer_insert ON farms_logevent FOR INSERT TO flyround_definer WITH CHECK (true)",
    "CREATE POLICY definer_insert ON farms_plannedvisit FOR INSERT TO flyround_definer WITH CHECK (true)",
    f"CREATE POLICY app_update ON farms_phonecode FOR UPDATE TO flyround_app USING ({CHANGED}) WITH CHECK ({CHANGED})",
)
AWAY = [
    f"DROP POLICY {name} ON {table}"
    for name, table in (
        ("worker_insert", "farms_consent"),
        ("worker_insert", "farms_logevent"),
        ("definer_insert", "farms_logevent"),
        ("definer_insert", "farms_plannedvisit"),
        ("app_update", "farms_phonecode"),
    )
]


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0006_closures_and_visits"),
    ]

    operations = [
        migrations.AddField(
            model_name="consent",
            name="whoever_follows",
            field=models.BooleanField(blank=True, null=True),
        ),
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
                ],
                max_length=20,
            ),
        ),
        migrations.CreateModel(
            name="AdviserOffer",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("left_at", models.DateTimeField()),
                ("offered_at", models.DateTimeField()),
                ("begins_on", models.DateField(null=True)),
                (
                    "answer",
                    models.CharField(
                        choices=[
                            ("nothing", "nothing said yet"),
                            ("yes", "yes"),
                            ("no", "no"),
                            ("by_itself", "begun as agreed before"),
                        ],
                        default="nothing",
                        max_length=9,
                    ),
                ),
                ("answered_at", models.DateTimeField(null=True)),
                ("ended_at", models.DateTimeField(null=True)),
                (
                    "agreed_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "answered_by",
                    models.ForeignKey(
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
                    "left",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "offered_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "successor",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "indexes": [
                    models.Index(
                        condition=models.Q(
                            ("agreed_by__isnull", False), ("answer", "nothing"), ("ended_at__isnull", True)
                        ),
                        fields=["begins_on"],
                        name="adviser_offer_to_begin",
                    )
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("answer", "nothing"), ("begins_on__isnull", True), ("successor__isnull", True)),
                            models.Q(("begins_on__isnull", False), ("successor__isnull", False)),
                            _connector="OR",
                        ),
                        name="adviser_offer_names_a_day_with_its_successor",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("ended_at__isnull", True)),
                        fields=("farm", "left"),
                        name="adviser_offer_stands_once",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="OpenPromise",
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
                            ("visit", "a visit"),
                            ("call", "a call"),
                            ("put_off", "to look again at what was put off"),
                            ("tell", "to tell the week to a farm that gets no mail"),
                        ],
                        max_length=7,
                    ),
                ),
                ("day", models.DateField()),
                ("noted_at", models.DateTimeField()),
                ("taken_at", models.DateTimeField(null=True)),
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
                    "left",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "taken_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "indexes": [
                    models.Index(
                        condition=models.Q(("taken_at__isnull", True)), fields=["farm", "day"], name="promise_open"
                    )
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("taken_at__isnull", True), ("taken_by__isnull", True)),
                            models.Q(("taken_at__isnull", False), ("taken_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="promise_is_taken_by_somebody",
                    )
                ],
            },
        ),
        ForceRowSecurity(
            "adviseroffer",
            {
                "app": "SELECT, INSERT, UPDATE (answer, answered_by_id, answered_at, ended_at)",
                "worker": "SELECT, UPDATE (answer, answered_at)",
                "definer": "SELECT, INSERT, UPDATE (ended_at)",
                "eraser": "SELECT, DELETE",
            },
            reads={"app": READ},
            writes={"app": WRITE},
        ),
        ForceRowSecurity(
            "openpromise",
            {
                "app": "SELECT, INSERT, UPDATE (taken_by_id, taken_at)",
                "definer": "SELECT, UPDATE (taken_by_id, taken_at)",
                "eraser": "SELECT, DELETE",
            },
            reads={"app": READ},
            writes={"app": WRITE},
        ),
        Grant(["farms_consent"], {"worker": "INSERT"}),
        Grant(["farms_logevent"], {"worker": "INSERT", "definer": "INSERT"}),
        Grant(["farms_plannedvisit"], {"definer": "INSERT"}),
        Grant(["farms_phonecode"], {"app": "UPDATE (expires_at)"}),
        migrations.RunSQL(list(POLICIES), AWAY),
        DefinerFunctions(
            FUNCTIONS.read_text(),
            {
                "coordinates(uuid)": [],
                "advises_group(uuid, uuid)": [],
                "name_successor(uuid, uuid, uuid, uuid, date, timestamptz)": ["app"],
                "offers_of_group(uuid)": ["app"],
                "open_promises_of_group(uuid)": ["app"],
                "pass_promises(uuid, uuid, uuid, date, timestamptz)": ["app"],
            },
        ),
    ]
