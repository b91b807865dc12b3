"""Safe before deploy: choices only, which the database doesn't know."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("alerts", "0014_call_notes"),
    ]

    operations = [
        migrations.AlterField(
            model_name="alert",
            name="closed_because",
            field=models.CharField(
                blank=True,
                choices=[
                    ("back_below", "back below the action level"),
                    ("no_longer_rising", "no longer rising"),
                    ("over_now", "it is over the action level now"),
                    ("no_longer_likely", "no longer likely over soon"),
                    ("no_longer_apart", "no longer far above the rest"),
                    ("like_its_past", "like the farm's own past again"),
                    ("counted_again", "counted again"),
                    ("skipped_ahead", "a round was skipped ahead"),
                    ("put_right", "put right"),
                    ("enough_animals", "enough animals looked at"),
                    ("corrected", "a count was corrected"),
                    ("switched_off", "the group no longer asks for this"),
                    ("kept_out", "a label kept people out"),
                    ("season_closed", "season closed"),
                ],
                default="",
                max_length=16,
            ),
        ),
    ]
