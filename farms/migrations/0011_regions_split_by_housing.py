"""Safe before deploy: a column with a default of the database's own."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0010_data_agreement"),
    ]

    operations = [
        migrations.AddField(
            model_name="region",
            name="split_by_housing",
            field=models.BooleanField(db_default=False, default=False, verbose_name="by housing"),
        ),
    ]
