"""Safe before deploy: new tables, new columns that may be empty, and a role that nobody has yet."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import farms.ids
from farms.tenancy.migrations import ForceRowSecurity, Grant

VISIBLE = "{column} = ANY((SELECT visible_farms())::uuid[])"
# Who asks: the key where one acts, else the person.
ASKS = (
    "who = (SELECT COALESCE(NULLIF(current_setting('app.token_id', true), ''),"
    " NULLIF(current_setting('app.user_id', true), ''))::uuid)"
)


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0003_advised_farms"),
    ]

    operations = [
        migrations.CreateModel(
            name="FarmAnswer",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                ("who", models.UUIDField()),
                ("key_hash", models.BinaryField(max_length=32)),
                ("request_hash", models.BinaryField(max_length=32)),
                ("made_at", models.DateTimeField()),
                ("status", models.PositiveSmallIntegerField()),
                ("answer", models.BinaryField(null=True)),
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
            name="FeedAddress",
            fields=[
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                (
                    "kind",
                    models.CharField(
                        choices=[("calendar", "calendar of rounds due"), ("matters", "open matters")], max_length=10
                    ),
                ),
                ("key_hash", models.BinaryField(max_length=32, unique=True)),
                ("made_at", models.DateTimeField()),
                ("revoked_at", models.DateTimeField(blank=True, null=True)),
                ("last_used_on", models.DateField(blank=True, null=True)),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="LogEvent",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "farm_id", "id", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False)),
                (
                    "farm",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="farms.farm",
                    ),
                ),
                ("at", models.DateTimeField()),
                (
                    "kind",
                    models.CharField(
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
                        ],
                        max_length=20,
                    ),
                ),
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
                ("about", models.CharField(blank=True, max_length=200)),
            ],
        ),
        migrations.CreateModel(
            name="OwnAnswer",
            fields=[
                ("who", models.UUIDField()),
                ("key_hash", models.BinaryField(max_length=32)),
                ("request_hash", models.BinaryField(max_length=32)),
                ("made_at", models.DateTimeField()),
                ("status", models.PositiveSmallIntegerField()),
                ("answer", models.BinaryField(null=True)),
                ("id", models.UUIDField(default=farms.ids.uuid7, editable=False, primary_key=True, serialize=False)),
            ],
        ),
        migrations.AddField(
            model_name="facility",
            name="latitude",
            field=models.FloatField(blank=True, null=True, verbose_name="latitude"),
        ),
        migrations.AddField(
            model_name="facility",
            name="longitude",
            field=models.FloatField(blank=True, null=True, verbose_name="longitude"),
        ),
        migrations.AddField(
            model_name="groupmember",
            name="ends_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AlterField(
            model_name="groupmember",
            name="role",
            field=models.CharField(
                choices=[("adviser", "adviser"), ("coordinator", "coordinator"), ("guest", "guest")],
                max_length=12,
                verbose_name="role",
            ),
        ),
        migrations.AddConstraint(
            model_name="facility",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("latitude__isnull", True), ("longitude__isnull", True)),
                    models.Q(
                        ("latitude__isnull", False),
                        ("latitude__range", (-90, 90)),
                        ("longitude__isnull", False),
                        ("longitude__range", (-180, 180)),
                    ),
                    _connector="OR",
                ),
                name="facility_lies_on_earth",
            ),
        ),
        migrations.AddConstraint(
            model_name="groupmember",
            constraint=models.CheckConstraint(
                condition=models.Q(("ends_at__isnull", True), ("role", "guest"), _negated=True),
                name="group_guest_ends_by_itself",
            ),
        ),
        migrations.AddConstraint(
            model_name="ownanswer",
            constraint=models.UniqueConstraint(fields=("who", "key_hash"), name="own_answer_once_a_key"),
        ),
        migrations.AddConstraint(
            model_name="farmanswer",
            constraint=models.UniqueConstraint(fields=("farm", "who", "key_hash"), name="farm_answer_once_a_key"),
        ),
        migrations.AddConstraint(
            model_name="feedaddress",
            constraint=models.UniqueConstraint(
                condition=models.Q(("revoked_at__isnull", True)), fields=("user", "kind"), name="feed_once_a_person"
            ),
        ),
        migrations.AddIndex(
            model_name="logevent",
            index=models.Index(fields=["farm", "at"], name="log_event_by_time"),
        ),
        ForceRowSecurity(
            "farmanswer",
            {"app": "SELECT, INSERT, DELETE", "eraser": "SELECT, DELETE"},
            reads={"app": f"{ASKS} AND {VISIBLE}"},
            writes={"app": f"{ASKS} AND {VISIBLE}"},
        ),
        ForceRowSecurity("ownanswer", {"app": "SELECT, INSERT, DELETE"}, reads={"app": ASKS}, writes={"app": ASKS}),
        # Reading is enough to be noted: a key that only reads takes data out, too.
        ForceRowSecurity("logevent", {"app": "SELECT, INSERT", "eraser": "SELECT, DELETE"}, writes={"app": VISIBLE}),
        Grant(["farms_feedaddress"], {"app": "SELECT, INSERT, UPDATE (revoked_at, last_used_on)"}),
    ]
