"""Each farm's log and chain (farms.ledger writes it): one entry a round, import, correction, consent, alert change."""

from django.db import models

from farms.models.farm import Farm
from farms.tenancy.keys import FarmRecord


class LedgerHead(models.Model):
    """The last entry of a farm's chain: the row that a writer locks. Its update right is the write check too."""

    farm = models.OneToOneField(Farm, primary_key=True, on_delete=models.DO_NOTHING, related_name="+")
    number = models.BigIntegerField(default=0)
    hash = models.BinaryField(max_length=32)


class ActorKind(models.TextChoices):
    """Who acted, as it may leave the farm: no names."""

    FARM_STAFF = "farm_staff"
    ADVISER = "adviser"
    COORDINATOR = "coordinator"
    PHONE = "phone"
    PROGRAM = "program"
    SERVICE = "service"


class LedgerEntry(FarmRecord):
    """One link: its number, what it was, a hash over its rows, and the hash of the link before."""

    number = models.BigIntegerField()
    kind = models.CharField(max_length=30)
    made_at = models.DateTimeField()
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    actor_id = models.UUIDField(null=True)
    rows = models.IntegerField()
    rows_hash = models.BinaryField(max_length=32)
    previous = models.BinaryField(max_length=32)
    hash = models.BinaryField(max_length=32)

    class Meta:
        constraints = [
            models.UniqueConstraint(name="ledger_number_once_on_farm", fields=["farm", "number"]),
            models.CheckConstraint(name="ledger_number_from_one", condition=models.Q(number__gte=1)),
        ]
