"""Whether a reader wants a mail that is written: asked when it would leave, so that a choice holds for what waits."""

from alerts.models import Digest, MondayList
from alerts.models.mail_choice import HowOften
from alerts.selectors.mail_choices import digest_choices, list_choices


def is_wanted(mail: Digest | MondayList) -> bool:
    """By what its reader chose last; every mail is wanted where nothing was chosen."""
    if isinstance(mail, Digest):
        chosen = digest_choices(mail.recipient_id, [mail.farm_id]).get(mail.farm_id)
    else:
        chosen = list_choices(mail.recipient_id, [mail.group_id]).get(mail.group_id)
    if chosen is None or chosen.how_often == HowOften.EVERY_WEEK:
        return True
    return chosen.how_often == HowOften.WHEN_NEEDED and mail.needs_a_look
