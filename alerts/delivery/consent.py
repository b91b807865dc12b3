"""Whether a mail that was written may still go out: consents and roles end at once, also for what waits."""

from alerts.models import Digest, MondayList
from alerts.models.outbox import Refusal
from farms.selectors import advisers_of_group, owners_of_farms, withdrew_since


def why_withheld(mail: Digest | MondayList) -> Refusal | None:
    """Why a mail must not be sent any more, or None. The page still shows what its reader may see."""
    if isinstance(mail, Digest):
        owners = owners_of_farms([mail.farm_id]).filter(user_id=mail.recipient_id)
        return None if owners.exists() else Refusal.NO_OWNER
    if not advisers_of_group(mail.group_id).filter(id=mail.recipient_id).exists():
        return Refusal.NO_ADVISER
    if withdrew_since(mail.recipient_id, mail.queued_at):
        return Refusal.WITHDREW
    return None
