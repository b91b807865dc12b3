"""Complaints: what somebody said about flies, and what was answered. The farm's own; rows are only added."""

from uuid import UUID

from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.chained import Chained, KeptApart
from farms.tenancy.keys import inside_farm
from monitoring.models.walk import Noted
from monitoring.models.words import Words


class Came(models.TextChoices):
    CALL = "call", _("a call")
    LETTER = "letter", _("a letter or mail")
    VISIT = "visit", _("a visit")
    OTHER = "other", _("another way")


class SaidBy(models.TextChoices):
    NEIGHBOUR = "neighbour", _("a neighbor")
    INSPECTOR = "inspector", _("an inspector")
    OTHER = "other", _("somebody else")


class Complaint(Noted):
    """What was said on a day, and how it came. The counts of then are not copied: they are shown from the readings.

    Read by the farm's owners and its advisers only. A later row replaces an earlier one; `origin_id` is the first.
    """

    heard_on = models.DateField(_("when"))
    came = models.CharField(_("how it came"), max_length=6, choices=Came)
    said_by = models.CharField(_("who said it"), max_length=9, choices=SaidBy)
    origin_id = models.UUIDField(null=True)
    origin = inside_farm("monitoring.Complaint", "origin_id", null=True)
    replaces_id = models.UUIDField(null=True)
    replaces = inside_farm("monitoring.Complaint", "replaces_id", null=True)

    chained = Chained()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="complaint_is_replaced_once",
                fields=["farm", "replaces_id"],
                condition=models.Q(replaces_id__isnull=False),
            ),
            models.CheckConstraint(
                name="complaint_replaced_names_its_first",
                condition=models.Q(replaces_id__isnull=True, origin_id__isnull=True)
                | models.Q(replaces_id__isnull=False, origin_id__isnull=False),
            ),
        ]
        indexes = [models.Index(name="complaint_by_day", fields=["farm", "heard_on"])]

    @property
    def known_as(self) -> UUID:
        """The id by which it is known, however often it was mended."""
        found: UUID = self.origin_id or self.id
        return found


class ComplaintWords(Words):
    """What was said, by whom, from where; where it replaces another, why."""

    complaint_id = models.UUIDField()
    complaint = inside_farm("monitoring.Complaint", "complaint_id")

    chained = KeptApart(content="words", told_by="complaint__words_hash")

    class Meta:
        constraints = [models.UniqueConstraint(name="words_once_a_complaint", fields=["farm", "complaint_id"])]


class ComplaintAnswer(Noted):
    """What was answered on a day, and how. `complaint_id` is the first version's."""

    complaint_id = models.UUIDField()
    complaint = inside_farm("monitoring.Complaint", "complaint_id", related_name="answers")
    answered_on = models.DateField(_("when"))
    went = models.CharField(_("how it went out"), max_length=6, choices=Came)
    replaces_id = models.UUIDField(null=True)
    replaces = inside_farm("monitoring.ComplaintAnswer", "replaces_id", null=True)

    chained = Chained()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="complaint_answer_is_replaced_once",
                fields=["farm", "replaces_id"],
                condition=models.Q(replaces_id__isnull=False),
            ),
        ]
        indexes = [models.Index(name="answer_by_complaint", fields=["farm", "complaint_id"])]


class ComplaintAnswerWords(Words):
    """What was answered, and by whom; where it replaces another, why."""

    answer_id = models.UUIDField()
    answer = inside_farm("monitoring.ComplaintAnswer", "answer_id")

    chained = KeptApart(content="words", told_by="answer__words_hash")

    class Meta:
        constraints = [models.UniqueConstraint(name="words_once_a_complaint_answer", fields=["farm", "answer_id"])]
