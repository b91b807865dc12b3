"""Every table that holds a farm's data, from the models themselves, and what is stored of a farm in all of them."""

from collections.abc import Iterable
from datetime import date
from functools import cache
from typing import Any
from uuid import UUID

from django.apps import apps
from django.db import connection, models
from django.db.models.fields.related import ForeignObject

from farms.ids import uuid7
from farms.models import Farm
from tests.cast import NOW, as_factory

LAST_WEEK = date(2026, 5, 25)  # a Monday
FLOORS = ("farms", "monitoring", "alerts", "server")
Record = type[models.Model]


@cache
def farm_models() -> tuple[Record, ...]:
    """The models of all tables with a farm_id, from the ground up: a row may lead to one of a floor below."""
    models = (model for model in apps.get_models() if _has_farm(model))
    return tuple(sorted(models, key=lambda model: FLOORS.index(model._meta.app_label)))


def _has_farm(model: Record) -> bool:
    return any(field.attname == "farm_id" for field in model._meta.concrete_fields)


def models_of_records() -> dict[str, Record]:
    """Those whose rows have an id, by the name that an id of theirs has in an address: alert_id, round_id."""
    made = {}
    for model in farm_models():
        if any(field.attname == "id" for field in model._meta.concrete_fields):
            name = "".join(f"_{letter.lower()}" if letter.isupper() else letter for letter in model.__name__)
            made[f"{name.lstrip('_')}_id"] = model
    return made


def ids_stored(model: Record, farm_id: UUID) -> list[UUID]:
    """The ids of a farm's rows in a table, oldest first."""
    with as_factory():
        return sorted(model._default_manager.filter(farm_id=farm_id).values_list("id", flat=True))


def everything_of(farm_ids: Iterable[UUID]) -> dict[str, str]:
    """A digest of each table's rows of these farms: it tells whatever of theirs came, changed or went."""
    parts = [
        f"SELECT '{table}', md5(coalesce(string_agg(t::text, chr(10) ORDER BY t::text), '')) FROM {table} t"
        f" WHERE {column} = ANY(%(farms)s)"
        for table, column in [("farms_farm", "id"), *((model._meta.db_table, "farm_id") for model in farm_models())]
    ]
    with as_factory(), connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(parts), {"farms": list(farm_ids)})
        return dict(cursor.fetchall())


def fill_empty_tables(farm: Farm, owner: Any, word: str, number: int) -> None:
    """One row in every table in which the farm has none yet, its texts and numbers unmistakably this farm's.

    A table that is new is filled by itself; one whose constraints this doesn't know gets its row in
    tests/isolation/scene.py.
    """
    for model in farm_models():
        with as_factory():
            if model._default_manager.filter(farm_id=farm.id).exists():
                continue
            values = {
                field.attname: _value(field, model, farm, owner, word, number)
                for field in model._meta.concrete_fields
                if _is_needed(field)
            }
            try:
                model._default_manager.create(farm=farm, **values)
            except Exception as error:
                raise AssertionError(
                    f"The isolation scene can't fill {model._meta.db_table} by itself: {error}. "
                    "Make its row in `records_of_a_season` of tests/isolation/scene.py."
                ) from error


def _is_needed(field: Any) -> bool:
    if field.attname in ("farm_id", "id") or isinstance(field, models.CompositePrimaryKey):
        return False
    return not field.null and (not field.has_default() or isinstance(field, models.JSONField | models.TextField))


def _value(field: Any, model: Record, farm: Farm, owner: Any, word: str, number: int) -> Any:
    if field.is_relation:
        return owner.id
    if field.choices:
        return next(value for value, _label in field.choices if value)
    for kind, value in (
        (models.UUIDField, _tied_to(field, model, farm)),
        (models.BinaryField, word.encode().ljust(32)[:32]),
        (models.PositiveSmallIntegerField, 1),
        (models.IntegerField, number),
        (models.FloatField, float(number)),
        (models.DateTimeField, NOW),
        (models.DateField, LAST_WEEK),
        (models.BooleanField, False),
        (models.JSONField, {"note": word}),
    ):
        if isinstance(field, kind):
            return value
    return word[: field.max_length]


def _tied_to(field: Any, model: Record, farm: Farm) -> UUID:
    """A row of the table to which the column leads, or a made-up id where it leads nowhere."""
    for relation in model._meta.fields:
        if isinstance(relation, ForeignObject) and field.attname in relation.from_fields:
            return relation.related_model._default_manager.filter(farm_id=farm.id).values_list("id", flat=True)[0]
    return uuid7()
