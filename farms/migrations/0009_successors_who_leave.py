"""Safe before deploy: a new function that no older code calls."""

from pathlib import Path

from django.db import migrations

from farms.tenancy.migrations import DefinerFunctions

FUNCTIONS = Path(__file__).resolve().parent.parent / "tenancy" / "leaving.sql"


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0008_webhooks_in_the_log"),
    ]

    operations = [
        DefinerFunctions(FUNCTIONS.read_text(), {"nobody_follows(uuid, uuid, timestamptz)": ["app"]}),
    ]
