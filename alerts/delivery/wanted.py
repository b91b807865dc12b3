"""Whether a reader wants a mail that is written: asked when it would leave, so that a choice holds for what waits."""

from alerts.models import CoordinatorReport, Digest, RegionBulletin
from alerts.models.mail_choice import HowOften
from alerts.models.outbox import Mail
from alerts.selectors.mail_choices import Choice, bulletin_choices, digest_choices, list_choices, report_choices


def is_wanted(mail: Mail) -> bool:
    """By what its reader chose last; every mail is wanted where nothing was chosen, but for a bulletin."""
    chosen = _chosen(mail)
    if chosen is None:
        return not isinstance(mail, RegionBulletin)
    if chosen.how_often == HowOften.EVERY_WEEK:
        return True
    return chosen.how_often == HowOften.WHEN_NEEDED and mail.needs_a_look


def _chosen(mail: Mail) -> Choice | None:
    if isinstance(mail, Digest):
        return digest_choices(mail.recipient_id, [mail.farm_id]).get(mail.farm_id)
    if isinstance(mail, RegionBulletin):
        return bulletin_choices(mail.recipient_id).get(mail.region_id)
    choices = report_choices if isinstance(mail, CoordinatorReport) else list_choices
    return choices(mail.recipient_id, [mail.group_id]).get(mail.group_id)
