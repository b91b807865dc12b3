"""Safe before deploy: a new function and more to read; no older code calls or needs them."""

from pathlib import Path

from django.db import migrations

from farms.tenancy.migrations import DefinerFunctions, Grant

FUNCTIONS = Path(__file__).resolve().parent.parent / "tenancy" / "leaving.sql"

# A farm's mail names phones that go on counting. Of keys the worker reads nothing else, and no hash.
PHONE = "farm_id, id, name, scope, made_by_id, expires_at, revoked_at"
PHONES = "CREATE POLICY worker_select ON farms_apitoken FOR SELECT TO flyround_worker USING (scope = 'count')"


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0008_webhooks_in_the_log"),
    ]

    operations = [
        Grant(["farms_apitoken"], {"worker": f"SELECT ({PHONE})"}),
        migrations.RunSQL(PHONES, "DROP POLICY worker_select ON farms_apitoken"),
        DefinerFunctions(FUNCTIONS.read_text(), {"nobody_follows(uuid, uuid, timestamptz)": ["app"]}),
    ]
