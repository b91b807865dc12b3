"""Every table that enters the chain is known as such: found from the models, from the code, and from real records."""

import ast
import importlib
from pathlib import Path

import pytest
from django.apps import apps
from django.db import models

from farms.chained import chained_tables, kept_apart
from farms.chained_rows import hash_again
from farms.ledger import row_values
from farms.models import Consent
from farms.services import erase_rows
from farms.tenancy.keys import FarmRecord
from monitoring.models import Reading
from tests.cast import NOW

ROOT = Path(__file__).resolve().parents[2]
HASHING = {"row_hash", "written_row_hash"}


def ours() -> list[type[models.Model]]:
    return [model for model in apps.get_models() if issubclass(model, FarmRecord)]


def test_every_table_that_names_its_entry_is_known_as_chained():
    naming = {model._meta.db_table for model in ours() if any(each.name == "entry" for each in model._meta.fields)}
    assert naming <= set(chained_tables()), "say `chained = Chained()` on the model (farms/chained.py)"


def test_every_table_that_a_module_hashes_is_known_as_chained():
    """`row_hash(Model._meta.db_table, ...)` names its model; a name bound to a model's table is looked up, too."""
    unknown, seen = {}, 0
    for path in [each for app in ("farms", "monitoring", "alerts", "server") for each in (ROOT / app).rglob("*.py")]:
        calls = [each for each in ast.walk(ast.parse(path.read_text())) if _hashes(each)]
        if not calls or path.name in ("ledger.py", "chained_rows.py"):
            continue
        module = importlib.import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))
        for call in calls:
            table = _table(call.args[0], module)
            seen += table is not None
            if table is not None and table not in chained_tables():
                unknown[f"{path.name}:{call.lineno}"] = table
    # Modules that hash by `hash_again` name no table: it knows chained ones alone.
    assert seen >= 6
    assert unknown == {}, "say `chained = Chained()` on the model (farms/chained.py)"


def _hashes(node: ast.AST) -> bool:
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in HASHING


def _table(node: ast.expr, module: object) -> str | None:
    """The table that an argument names: Model._meta.db_table, or a constant of the module. None for a row's own."""
    name = node
    while isinstance(name, ast.Attribute):
        name = name.value
    found = getattr(module, name.id, None) if isinstance(name, ast.Name) else None
    if isinstance(found, str):
        return found
    return found._meta.db_table if isinstance(found, type) and issubclass(found, models.Model) else None


def test_columns_are_those_of_row_values():
    for table in chained_tables().values():
        row = table.model(**dict.fromkeys(table.younger, True))
        assert set(row_values(row)) == set(table.columns), table.table


def test_personal_columns_are_there_and_have_their_salt():
    for table in chained_tables().values():
        assert set(table.how.salted) <= set(table.columns)
        assert not table.how.salted or "salt" in table.columns
        assert not (table.how.salted and table.how.shown), "words of people don't leave with an evidence file"
    for model, how in kept_apart():
        names = {each.name for each in model._meta.fields}
        assert {how.content, "salt"} <= names and hasattr(model, how.told_by.split("__")[0])


@pytest.mark.django_db
@pytest.mark.parametrize("model", [Reading, Consent])
def test_rows_without_personal_words_are_never_erased_one_by_one(model):
    with pytest.raises(TypeError, match="nothing that may be erased"):
        erase_rows([model()], now=NOW)


def test_a_row_is_hashed_again_as_it_was():
    row = Consent(kind="regional", given_at=NOW)
    assert hash_again(row) == hash_again(row) and len(hash_again(row)) == 32
