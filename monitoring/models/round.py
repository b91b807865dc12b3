"""Rounds: one walk of a farm's stations on one day; and rounds skipped ahead."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.chained import Chained
from farms.models.chain import ActorKind
from farms.tenancy.keys import FarmRecord


class Source(models.TextChoices):
    """How a round came in, as it may leave the farm."""

    FORM = "form", _("form")
    PHONE = "phone", _("farm phone")
    PAPER = "paper", _("typed from paper")
    PROGRAM = "program", _("program")
    FILE = "file", _("file")


class Round(FarmRecord):
    """One walk. Its id is the client's, so that sending it five times stores it once; readings are added to it."""

    walked_on = models.DateField(_("walked on"))
    source = models.CharField(max_length=8, choices=Source)
    # Opaque ids of farms.Person: names lie there, where they can be erased. No foreign key, so that erasing works.
    counted_by = models.UUIDField(null=True)
    typed_by = models.UUIDField(null=True)
    typed_on = models.DateField(null=True)
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    observed_at = models.DateTimeField(null=True)
    submitted_at = models.DateTimeField(null=True)
    received_at = models.DateTimeField()
    # How far the sender's clock was ahead of ours when the round first came, in seconds; recorded, never trusted.
    clock_ahead = models.IntegerField(null=True)
    entry = models.BigIntegerField()
    chained = Chained(shown=True)

    # Whether it came in with this request; known to whoever just recorded it.
    is_new = False
    # Younger than the first rounds: in the chain only where it is known, so that older entries still hold.
    chained_where_known = ("clock_ahead",)

    class Meta:
        indexes = [models.Index(name="round_by_day", fields=["farm", "walked_on"])]


class Skip(FarmRecord):
    """A round skipped ahead (holiday, harvest): cards stay up, and nothing is overdue before the day named."""

    skipped_on = models.DateField()
    next_round_on = models.DateField(_("next round on"))
    made_at = models.DateTimeField()
    actor_kind = models.CharField(max_length=12, choices=ActorKind)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="skip_leads_to_a_later_day", condition=models.Q(next_round_on__gt=models.F("skipped_on"))
            )
        ]
