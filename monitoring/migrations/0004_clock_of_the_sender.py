"""Safe before deploy: a column that may be empty."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("monitoring", "0003_imports"),
    ]

    operations = [
        migrations.AddField(
            model_name="round",
            name="clock_ahead",
            field=models.IntegerField(null=True),
        ),
    ]
