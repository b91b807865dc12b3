"""Who would follow an adviser who left a farm, and what the farm answered."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.models.people import User
from farms.tenancy.keys import FarmRecord


class OfferAnswer(models.TextChoices):
    NOTHING = "nothing", _("nothing said yet")
    YES = "yes", _("yes")
    NO = "no", _("no")
    BY_ITSELF = "by_itself", _("begun as agreed before")


class AdviserOffer(FarmRecord):
    """`left` advises the farm no longer, and `successor` would follow; nobody is named yet where that is empty.

    It lets nobody in: that does the consent which follows from a yes, or, where `agreed_by` had said yes to whoever
    follows when they agreed to the one who left and owns the farm still, from the day it `begins_on` without an answer.
    A later offer ends the one before it.
    """

    # Known of those that farms.offers reads.
    begins_by_itself: bool
    phones: list[str]

    left = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    left_at = models.DateTimeField()
    successor = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    offered_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    offered_at = models.DateTimeField()
    begins_on = models.DateField(null=True)
    agreed_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    answer = models.CharField(max_length=9, choices=OfferAnswer, default=OfferAnswer.NOTHING)
    answered_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    answered_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="adviser_offer_names_a_day_with_its_successor",
                condition=models.Q(successor__isnull=True, begins_on__isnull=True, answer=OfferAnswer.NOTHING)
                | models.Q(successor__isnull=False, begins_on__isnull=False),
            ),
            models.UniqueConstraint(
                name="adviser_offer_stands_once",
                fields=["farm", "left"],
                condition=models.Q(ended_at__isnull=True),
            ),
        ]
        # Reader: farms.services.offer.begin_due, which asks for the day.
        indexes = [
            models.Index(
                name="adviser_offer_to_begin",
                fields=["begins_on"],
                condition=models.Q(ended_at__isnull=True, agreed_by__isnull=False, answer=OfferAnswer.NOTHING),
            )
        ]
