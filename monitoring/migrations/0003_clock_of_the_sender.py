"""Safe before deploy: a column that may be empty."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("monitoring", "0002_farm_temperatures"),
    ]

    operations = [
        migrations.AddField(
            model_name="round",
            name="clock_ahead",
            field=models.IntegerField(null=True),
        ),
    ]
