"""Safe before deploy: new functions and more to read, which no older code calls or needs.

The stricter policy asks of the worker what its code does already.
"""

from pathlib import Path

from django.db import migrations

from farms.tenancy.migrations import DefinerFunctions, Grant

FUNCTIONS = Path(__file__).resolve().parent.parent / "tenancy" / "leaving.sql"

# A farm's mail names phones that go on counting. Of keys the worker reads nothing else, and no hash.
PHONE = "farm_id, id, name, scope, made_by_id, expires_at, revoked_at"
PHONES = "CREATE POLICY worker_select ON farms_apitoken FOR SELECT TO flyround_worker USING (scope = 'count')"

# As in 0007, and not before the day that was named to the farm, by its group's clock.
AGREED = """
    kind = 'adviser' AND withdrawn_at IS NULL AND EXISTS (
        SELECT 1 FROM farms_adviseroffer o JOIN farms_farm f ON f.id = o.farm_id JOIN farms_group g ON g.id = f.group_id
        WHERE o.farm_id = farms_consent.farm_id AND o.successor_id = farms_consent.adviser_id
          AND o.agreed_by_id = farms_consent.given_by_id AND o.answer = 'nothing' AND o.ended_at IS NULL{day}
    )"""
DAY = " AND o.begins_on <= (farms_consent.given_at AT TIME ZONE g.time_zone)::date"
HELD_TO, BEFORE = (
    f"ALTER POLICY worker_insert ON farms_consent WITH CHECK ({AGREED.format(day=d)})" for d in (DAY, "")
)


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0008_webhooks_in_the_log"),
    ]

    operations = [
        Grant(["farms_apitoken"], {"worker": f"SELECT ({PHONE})"}),
        migrations.RunSQL(PHONES, "DROP POLICY worker_select ON farms_apitoken"),
        migrations.RunSQL(HELD_TO, BEFORE),
        # Who locks a row must be able to change a column of it.
        Grant(["farms_groupmember"], {"definer": "UPDATE (name)"}),
        DefinerFunctions(
            FUNCTIONS.read_text(),
            {
                "hold_adviser(uuid, uuid)": ["app", "worker"],
                "nobody_follows(uuid, uuid, timestamptz)": ["app"],
            },
        ),
    ]
