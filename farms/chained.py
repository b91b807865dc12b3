"""Which tables' rows enter a farm's chain, and in which form: said on the model, found from the models.

A model says `chained = Chained(...)` and everything that hashes rows again knows it: the check of the whole database
(farms.verifying), the evidence of a farm (server.evidence). A table that says nothing and is chained is found by
tests/farms/test_chained.py.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.apps import apps
from django.db import models


@dataclass(frozen=True)
class Chained:
    """How a model's rows enter the chain: all columns but `entry`, and but these.

    `salted`: personal columns, of which only the salted hash enters, with the row's `salt`; such a row may be erased.
    `entry`: where the number of the entry stands that brought the row. `shown`: its values leave with an evidence file;
    else its hash alone. `ends`: a column that was empty when the row came, and the kinds of entry that brought the
    whole row once more when it was filled.
    """

    salted: tuple[str, ...] = ()
    entry: str = "entry"
    shown: bool = False
    ends: tuple[str, tuple[str, ...]] | None = None

    @property
    def may_be_erased(self) -> bool:
        return bool(self.salted)


@dataclass(frozen=True)
class KeptApart:
    """Bytes, or words by their fields, in a table of their own with a salt: `told_by` is the chained column with their
    salted hash. They are erased with their salt, and the column stays.
    """

    content: str
    told_by: str


@dataclass(frozen=True)
class ChainedTable:
    """A chained model with the names of its columns, as `farms.ledger.row_values` would give them."""

    model: type[models.Model]
    how: Chained
    columns: tuple[str, ...]
    younger: tuple[str, ...]

    @property
    def table(self) -> str:
        return self.model._meta.db_table


@cache
def chained_tables() -> dict[str, ChainedTable]:
    """Every chained table by its name in the database."""
    found = (_table(model, how) for model, how in _said(Chained))
    return {each.table: each for each in sorted(found, key=lambda each: each.table)}


def kept_apart() -> Iterator[tuple[type[models.Model], KeptApart]]:
    """Every table of bytes that the chain holds by a salted hash in another table."""
    yield from _said(KeptApart)


def _said(kind: type[Any]) -> Iterator[tuple[type[models.Model], Any]]:
    for model in apps.get_models():
        how = getattr(model, "chained", None)
        if isinstance(how, kind):
            yield model, how


def _table(model: type[models.Model], how: Chained) -> ChainedTable:
    names = tuple(each.attname for each in model._meta.concrete_fields if each.attname not in ("entry", "pk"))
    return ChainedTable(model, how, names, tuple(getattr(model, "chained_where_known", ())))
