"""Choosing how often a mail comes. Rows are only added; choosing what holds already adds none."""

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from alerts.models import CoordinatorReportChoice, DigestChoice, MondayListChoice, RegionBulletinChoice
from alerts.models.mail_choice import ChoiceWay, HowOften, MailKind
from alerts.selectors.mail_choices import Subscription
from farms.errors import Invalid

if TYPE_CHECKING:
    from farms.models import User


class HowOftenUnknown(Invalid):
    code = "how_often_unknown"
    message = _("Choose every_week, when_needed or none.")


@transaction.atomic
def choose_how_often(
    *, subscription: Subscription, by: "User", how_often: str, way: ChoiceWay, now: datetime
) -> Subscription:
    """Send this mail so often from now on, also what waits already. Raises HowOftenUnknown."""
    if how_often not in HowOften.values:
        raise HowOftenUnknown(pointer="/how_often")
    if subscription.how_often == how_often:
        return subscription
    chosen = {"recipient": by, "how_often": how_often, "chosen_at": now, "way": way}
    if subscription.kind == MailKind.DIGEST:
        DigestChoice.objects.create(farm_id=subscription.about.id, **chosen)
    elif subscription.kind == MailKind.COORDINATOR_REPORT:
        CoordinatorReportChoice.objects.create(group_id=subscription.about.id, **chosen)
    elif subscription.kind == MailKind.REGION_BULLETIN:
        RegionBulletinChoice.objects.create(region_id=subscription.about.id, **chosen)
    else:
        MondayListChoice.objects.create(group_id=subscription.about.id, **chosen)
    return Subscription(subscription.kind, subscription.about, HowOften(how_often), now)
