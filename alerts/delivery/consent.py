"""Whether a mail that was written may still go out: consents and roles end at once, also for what waits."""

from alerts.models import Digest, MondayList
from farms.selectors import advisers_of_group, owners_of_farms, withdrew_since


def why_withheld(mail: Digest | MondayList) -> str:
    """Why a mail must not be sent any more, or "". The page still shows what its reader may see."""
    if isinstance(mail, Digest):
        owners = owners_of_farms([mail.farm_id]).filter(user_id=mail.recipient_id)
        return "" if owners.exists() else "The recipient is no longer an owner of the farm."
    if not advisers_of_group(mail.group_id).filter(id=mail.recipient_id).exists():
        return "The recipient is no longer an adviser of the group."
    if withdrew_since(mail.recipient_id, mail.queued_at):
        return "A farm on this list has withdrawn its consent since it was written."
    return ""
