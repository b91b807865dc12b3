"""Safe before deploy: two columns that may be empty, with a default of the database's own."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0011_regions_split_by_housing"),
    ]

    operations = [
        migrations.AddField(
            model_name="user",
            name="degrees",
            field=models.CharField(
                blank=True, choices=[("C", "°C"), ("F", "°F")], db_default="", default="", max_length=1
            ),
        ),
        migrations.AddField(
            model_name="user",
            name="days",
            field=models.CharField(
                blank=True,
                choices=[("day_first", "day first"), ("month_first", "month first"), ("iso", "year-month-day")],
                db_default="",
                default="",
                max_length=12,
            ),
        ),
    ]
