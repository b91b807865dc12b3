"""Free words about a record: erasable, so they lie apart from it, and the chain holds a salted hash of them only."""

from django.db import models

from farms.tenancy.keys import FarmRecord


class Words(FarmRecord):
    """What somebody wrote, by the name of its field. The record carries their salted hash."""

    words = models.JSONField()
    salt = models.BinaryField(max_length=16)

    class Meta:
        abstract = True
