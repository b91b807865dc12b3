"""Safe before deploy: new columns with a default, which older code leaves alone; mails that wait are sent as before."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("alerts", "0004_results_by_farm_and_week")]

    operations = [
        migrations.AddField("digest", "headline", models.CharField(blank=True, default="", max_length=200)),
        migrations.AddField("digest", "pressing", models.PositiveSmallIntegerField(default=0)),
    ]
