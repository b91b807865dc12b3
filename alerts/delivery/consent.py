"""Whether a mail that was written may still go out: consents and roles end at once, also for what waits."""

from alerts.models import CoordinatorReport, Digest, RegionBulletin
from alerts.models.outbox import Mail, Refusal
from farms.selectors import advisers_of_group, coordinators_of_group, owners_of_farms, regions_open_to, withdrew_since


def why_withheld(mail: Mail) -> Refusal | None:
    """Why a mail must not be sent any more, or None. The page still shows what its reader may see."""
    if isinstance(mail, Digest):
        owners = owners_of_farms([mail.farm_id]).filter(user_id=mail.recipient_id)
        return None if owners.exists() else Refusal.NO_OWNER
    if isinstance(mail, CoordinatorReport):
        coordinators = coordinators_of_group(mail.group_id).filter(id=mail.recipient_id)
        return None if coordinators.exists() else Refusal.ROLE_ENDED
    if isinstance(mail, RegionBulletin):
        regions = regions_open_to(mail.recipient).filter(id=mail.region_id)
        return None if regions.exists() else Refusal.NO_REGION
    if not advisers_of_group(mail.group_id).filter(id=mail.recipient_id).exists():
        return Refusal.NO_ADVISER
    if withdrew_since(mail.recipient_id, mail.queued_at):
        return Refusal.WITHDREW
    return None
