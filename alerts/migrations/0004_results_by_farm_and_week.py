"""Safe before deploy: the same rows stay unique. While the index is made, results can be neither stored nor read."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("alerts", "0003_list_scatter_and_when_it_was_fixed")]

    operations = [
        migrations.RemoveConstraint(model_name="assessment", name="assessment_once_a_revision"),
        migrations.AddConstraint(
            model_name="assessment",
            constraint=models.UniqueConstraint(
                fields=["farm", "week", "facility_id", "method", "revision"],
                name="assessment_once_a_revision",
                nulls_distinct=False,
            ),
        ),
        # Nobody asks for a week of all farms at once; by it the check read what it had just written of others.
        migrations.RemoveIndex(model_name="assessment", name="assessment_by_week"),
    ]
