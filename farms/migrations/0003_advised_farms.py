"""Safe before deploy: a new function that no older code calls."""

from pathlib import Path

from django.db import migrations

from farms.tenancy.migrations import DefinerFunctions

FUNCTIONS = Path(__file__).resolve().parent.parent / "tenancy" / "advised_farms.sql"


class Migration(migrations.Migration):
    dependencies = [("farms", "0002_grant_library_tables")]

    operations = [DefinerFunctions(FUNCTIONS.read_text(), {"advised_farms()": ["app"]})]
