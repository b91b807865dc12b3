"""Safe before deploy: choices, which the database does not know."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0015_daily_heads"),
    ]

    operations = [
        migrations.AlterField(
            model_name="logevent",
            name="kind",
            field=models.CharField(
                choices=[
                    ("sign_in", "signed in"),
                    ("token_made", "key made"),
                    ("token_ended", "key switched off"),
                    ("phone_joined", "farm phone joined"),
                    ("export", "data taken out"),
                    ("consent_given", "agreed to"),
                    ("consent_withdrawn", "agreement withdrawn"),
                    ("feed_made", "feed address made"),
                    ("feed_ended", "feed address switched off"),
                    ("invited", "invited by mail"),
                    ("invited_again", "invited by mail again"),
                    ("invitation_withdrawn", "invitation withdrawn"),
                    ("member_added", "role given"),
                    ("member_ended", "role ended"),
                    ("adviser_left", "the adviser left"),
                    ("successor_named", "next adviser named"),
                    ("successor_refused", "no to the next adviser"),
                    ("webhook_made", "webhook made"),
                    ("webhook_changed", "webhook changed"),
                    ("webhook_ended", "webhook taken away"),
                    ("agreement_accepted", "data agreement accepted"),
                    ("agreement_on_paper", "signed data agreement kept"),
                    ("paper_erased", "signed paper erased"),
                    ("photo_erased", "photo erased"),
                    ("sprayer_link_made", "link for a hired sprayer made"),
                    ("sprayer_link_ended", "link for a hired sprayer taken back"),
                ],
                max_length=20,
            ),
        ),
    ]
