"""Safe before deploy: a choice, which the database does not know, a function, and rights of its own."""

from pathlib import Path

from django.db import migrations, models

from farms.tenancy.migrations import DefinerFunctions, Grant, MoreRights

FUNCTIONS = Path(__file__).resolve().parent.parent / "tenancy" / "hand_over.sql"


class Migration(migrations.Migration):
    dependencies = [
        ("farms", "0018_retention"),
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
                    ("erasure_asked", "erasing the farm asked for"),
                    ("erasure_taken_back", "erasing the farm taken back"),
                    ("person_to_erase", "erasing a person asked for"),
                    ("person_kept", "erasing a person taken back"),
                    ("person_erased", "a person was erased"),
                    ("handed_over", "handed over to another group"),
                ],
                max_length=20,
            ),
        ),
        MoreRights("farm", {"definer": "UPDATE (group_id, region_id, holding_id)"}, column="id"),
        Grant(["farms_groupinvitation", "farms_holding"], {"definer": "SELECT"}),
        Grant(["farms_user"], {"definer": "SELECT (id, email)"}),
        DefinerFunctions(FUNCTIONS.read_text(), {"move_farm(uuid, uuid, uuid)": ["app"]}),
    ]
