"""Safe before deploy: a new column with a default, and a narrower rule for an end that no role has yet."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0004_answers_log_feeds_and_guests"),
    ]

    operations = [
        migrations.AddField(
            model_name="groupmember",
            name="name",
            field=models.CharField(blank=True, max_length=120, verbose_name="name"),
        ),
        migrations.RemoveConstraint(model_name="groupmember", name="group_guest_ends_by_itself"),
        migrations.AddConstraint(
            model_name="groupmember",
            constraint=models.CheckConstraint(
                name="only_a_group_guest_ends_by_itself",
                condition=models.Q(role="guest", ends_at__isnull=False)
                | (~models.Q(role="guest") & models.Q(ends_at__isnull=True)),
            ),
        ),
    ]
