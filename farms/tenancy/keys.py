"""Keys of a farm's records: every key leads with the farm, so nothing can point into another farm.

Django 5.2's CompositePrimaryKey("farm_id", "id"), and ForeignObjects on (farm, other id), whose composite foreign keys
farms.tenancy.migrations.TieToFarm adds in SQL.
"""

from typing import Any

from django.db import models

from farms.ids import uuid7


class FarmRecord(models.Model):
    """A row that belongs to one farm. New rows by create() or bulk_create() only: save() would update first."""

    pk = models.CompositePrimaryKey("farm_id", "id")
    # The composite key is the index; a second one on farm_id alone would only cost.
    farm = models.ForeignKey("farms.Farm", on_delete=models.DO_NOTHING, related_name="+", db_index=False)
    id = models.UUIDField(default=uuid7, editable=False)

    class Meta:
        abstract = True


def inside_farm(to: str, column: str, *, related_name: str = "+", null: bool = False) -> Any:
    """A relation to a record of the same farm, over the UUID column `column` declared beside it."""
    return models.ForeignObject(
        to,
        on_delete=models.DO_NOTHING,
        from_fields=["farm", column],
        to_fields=["farm", "id"],
        related_name=related_name,
        serialize=False,
        null=null,
        blank=null,
        editable=False,
    )
