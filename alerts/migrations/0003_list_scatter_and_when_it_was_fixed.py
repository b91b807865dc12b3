"""Safe before deploy: new columns without values, which older code leaves alone."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("alerts", "0002_outlook_list_and_borrowed_figures"),
    ]

    operations = [
        migrations.AddField(
            model_name="borrowedfigures",
            name="list_counting",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="borrowedfigures",
            name="list_degrees",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="borrowedfigures",
            name="list_growth",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="borrowedfigures",
            name="list_shock",
            field=models.FloatField(help_text="Shock, beside the week that all farms share.", null=True),
        ),
        migrations.AddField(
            model_name="borrowedfigures",
            name="list_stays",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="checkrun",
            name="listed_at",
            field=models.DateTimeField(help_text="When the list of names was fixed.", null=True),
        ),
        migrations.AlterField(
            model_name="borrowedfigures",
            name="growth",
            field=models.FloatField(
                help_text="Log standard deviation of growth a week of farms that change; at least 0.15.", null=True
            ),
        ),
    ]
