"""Answers kept for thirty days, so that a POST sent again under the same Idempotency-Key is done once."""

from datetime import timedelta

from django.db import models

from farms.ids import uuid7
from farms.tenancy.keys import FarmRecord

KEPT = timedelta(days=30)


class KeptAnswer(models.Model):
    """What was answered, to whom, to which request. Of key and request only the SHA-256 is stored.

    `answer` is NULL where the answer told a secret: that is told once, and never stored.
    """

    who = models.UUIDField()
    key_hash = models.BinaryField(max_length=32)
    request_hash = models.BinaryField(max_length=32)
    made_at = models.DateTimeField()
    status = models.PositiveSmallIntegerField()
    answer = models.BinaryField(null=True)

    class Meta:
        abstract = True


class FarmAnswer(KeptAnswer, FarmRecord):
    """An answer about a farm: seen by whoever got it, while they may see the farm."""

    class Meta:
        constraints = [models.UniqueConstraint(name="farm_answer_once_a_key", fields=["farm", "who", "key_hash"])]


class OwnAnswer(KeptAnswer):
    """An answer about no farm: a group's level, a feed's address."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)

    class Meta:
        constraints = [models.UniqueConstraint(name="own_answer_once_a_key", fields=["who", "key_hash"])]
