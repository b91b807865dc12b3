"""A farm's tables in the order in which they can be emptied: whatever points at another one before it.

Found from the models, so that a new table is never forgotten; tests/server/erasing/test_tables.py holds the list and
its order against the database's own catalogue.
"""

from functools import cache
from graphlib import TopologicalSorter
from typing import Any
from uuid import UUID

from django.apps import apps
from django.db import connections, models

from farms.models import Farm


@cache
def farm_tables() -> tuple[str, ...]:
    """Every table with rows of a farm, but the farm's own row: none points at one that comes before it."""
    found = {model for model in apps.get_models(include_auto_created=True) if _is_a_farms(model)}
    # The sorter gives what others wait for first: a table waits for all that point at it.
    pointed_at: dict[type[models.Model], set[type[models.Model]]] = {model: set() for model in found}
    for model in found:
        for target in _points_at(model) & found - {model}:
            pointed_at[target].add(model)
    ordered = TopologicalSorter({model: sorted(by, key=_name) for model, by in sorted(pointed_at.items(), key=_first)})
    return tuple(_name(model) for model in ordered.static_order())


def rows_of(table: str, farm_id: UUID, *, using: str) -> int:
    """How many rows of a farm a table holds."""
    with connections[using].cursor() as cursor:
        name = connections[using].ops.quote_name(table)
        cursor.execute(f"SELECT count(*) FROM {name} WHERE farm_id = %s", [farm_id])  # noqa: S608 - a model's table
        return int(cursor.fetchone()[0])


def delete_rows(table: str, farm_id: UUID, *, using: str) -> int:
    """Delete all rows of a farm from a table. Returns how many."""
    with connections[using].cursor() as cursor:
        name = connections[using].ops.quote_name(table)
        cursor.execute(f"DELETE FROM {name} WHERE farm_id = %s", [farm_id])  # noqa: S608 - a model's table
        return int(cursor.rowcount)


def _is_a_farms(model: type[models.Model]) -> bool:
    names_farm = any(
        isinstance(each, models.ForeignKey) and each.attname == "farm_id" and each.related_model is Farm
        for each in model._meta.concrete_fields
    )
    return names_farm and model._meta.managed and not model._meta.proxy


def _points_at(model: type[models.Model]) -> set[Any]:
    """The models that a model's relations name, those inside a farm too."""
    return {each.related_model for each in model._meta.get_fields() if each.is_relation and not each.auto_created}


def _name(model: type[models.Model]) -> str:
    return model._meta.db_table


def _first(pair: tuple[type[models.Model], object]) -> str:
    return _name(pair[0])
