"""A table of a farm's own on its way in: the file between two pages, and how the farm's columns were understood."""

from django.db import models

from farms.tenancy.keys import FarmRecord


class OwnTable(FarmRecord):
    """A file that somebody chose and hasn't stored yet; whoever chooses another one replaces it."""

    user_id = models.UUIDField()
    name = models.CharField(max_length=120)
    content = models.BinaryField()
    made_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(name="own_table_once_a_person", fields=["farm", "user_id"])]


class OwnTableReading(FarmRecord):
    """How the farm's last table was read, for the next one: which column means what, as JSON."""

    choices = models.JSONField()
    kept_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(name="own_table_reading_once_a_farm", fields=["farm"])]
