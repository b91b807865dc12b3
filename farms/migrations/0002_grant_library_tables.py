"""Safe before deploy: gives the app's role its rights on tables that Django and allauth made."""

from django.conf import settings
from django.db import migrations

from farms.tenancy.migrations import Grant

ALL = "SELECT, INSERT, UPDATE, DELETE"


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0001_farms_people_and_access"),
        ("account", "0009_emailaddress_unique_primary_email"),
        ("admin", "0003_logentry_add_action_flag_choices"),
        ("auth", "0012_alter_user_first_name_max_length"),
        ("contenttypes", "0002_remove_content_type_name"),
        ("sessions", "0001_initial"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        Grant(["django_session", "account_emailaddress", "account_emailconfirmation"], {"app": ALL}),
        Grant(["django_content_type", "auth_group", "auth_group_permissions", "auth_permission"], {"app": "SELECT"}),
        Grant(["django_admin_log"], {"app": "SELECT, INSERT"}),
        Grant(["django_migrations"], {"app": "SELECT", "worker": "SELECT"}),
    ]
