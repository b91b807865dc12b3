"""Long imports: how far each is, and what became of its rows."""

import json
from typing import Any
from uuid import UUID

from django.db.models import F, QuerySet

from farms.models import Farm
from monitoring.models import Import, ImportContent, ImportPart
from monitoring.models.imports import UNFINISHED


def imports_of(farm: Farm) -> QuerySet[Import]:
    """The farm's imports, newest first."""
    return Import.objects.filter(farm_id=farm.id).order_by("-made_at", "-id")


def unfinished_imports() -> list[tuple[UUID, UUID]]:
    """Group and id of each import that waits or is being done. An id tells when it was made; nothing else is read."""
    rows = Import.objects.filter(state__in=UNFINISHED).order_by()
    return list(rows.values_list("farm__group_id", "id"))


def content_of(imported: Import) -> bytes:
    """What was sent, as long as the import hasn't ended."""
    return bytes(ImportContent.objects.get(farm_id=imported.farm_id, id=imported.id).content)


def import_results(imported: Import, first: int, most: int) -> list[dict[str, Any]]:
    """What became of `most` rows from a place on, as far as it is known."""
    parts = ImportPart.objects.filter(farm_id=imported.farm_id, import_id=imported.id, first__lt=first + most)
    found: list[dict[str, Any]] = []
    for part in parts.filter(first__gt=first - F("rows")).order_by("first"):
        begin = max(first - part.first, 0)
        found += json.loads(part.results)[begin : first + most - part.first]
    return found


def refused_rows(imported: Import, most: int) -> list[dict[str, Any]]:
    """The first rows that were refused, with why."""
    found: list[dict[str, Any]] = []
    for part in ImportPart.objects.filter(farm_id=imported.farm_id, import_id=imported.id).order_by("first"):
        if '"refused"' in part.results:
            found += [each for each in json.loads(part.results) if each["outcome"] == "refused"]
        if len(found) >= most:
            break
    return found[:most]
