"""Safe before deploy: further rights of the eraser's role, on mails and choices that are a person's own."""

from django.db import migrations

from farms.tenancy.migrations import Grant, MoreRights

PERSON = "(SELECT NULLIF(current_setting('app.user_id', true), '')::uuid)"
FARM = "(SELECT NULLIF(current_setting('app.farm_id', true), '')::uuid)"
OF_PERSON = f"recipient_id = {PERSON}"
# A list of many farms that tells of the one being erased goes with it.
TELLS_OF_FARM = f"{OF_PERSON} OR {FARM} = ANY(farm_ids)"


def of_a_person(model: str, condition: str = OF_PERSON) -> MoreRights:
    own = {"eraser": condition}
    return MoreRights(model, {"eraser": "SELECT, DELETE"}, reads=own, writes=own)


class Migration(migrations.Migration):
    dependencies = [
        ("alerts", "0015_closed_because_kept_out"),
        ("farms", "0017_erasure"),
    ]

    operations = [
        of_a_person("mondaylist", TELLS_OF_FARM),
        *(
            of_a_person(each)
            for each in (
                "mondaylistchoice",
                "coordinatorreport",
                "coordinatorreportchoice",
                "regionbulletin",
                "regionbulletinchoice",
                "textmessage",
            )
        ),
        of_a_person("textnumber", f"user_id = {PERSON}"),
        Grant(["alerts_stoppedaddress"], {"eraser": "SELECT, DELETE"}),
    ]
