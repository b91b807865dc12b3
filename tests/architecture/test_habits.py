"""Habits that an import contract can't hold: the clock, signals, save(), migrations."""

import ast
from pathlib import Path

import pytest
from django.core.management import call_command

from tests.architecture.source import ROOT, modules, relative

# Entry points read the clock; below them `now` is an argument. farms/clock.py is the clock.
READS_THE_CLOCK = ("farms/clock.py", "server/", "alerts/tasks.py")
CLOCKS = {
    "farms.clock.now", "clock.now", "timezone.now", "timezone.localdate", "timezone.localtime", "datetime.now",
    "datetime.utcnow", "datetime.today", "date.today", "time.time",
}  # fmt: skip
SIGNALS = {"post_save", "pre_save", "post_delete", "pre_delete", "m2m_changed"}


def calls(path: Path) -> set[str]:
    tree = ast.parse(path.read_text())
    return {ast.unparse(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)}


def names(path: Path) -> set[str]:
    return {node.id for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.Name)}


def test_only_entry_points_read_the_clock():
    below = [path for path in modules() if not relative(path).startswith(READS_THE_CLOCK)]
    assert {relative(path): found for path in below if (found := calls(path) & CLOCKS)} == {}


def test_no_module_reads_the_clock_while_it_is_imported():
    reading = {}
    for path in modules():
        tree = ast.parse(path.read_text())
        top = [node for node in tree.body if not isinstance(node, ast.FunctionDef | ast.ClassDef)]
        found = {ast.unparse(n.func) for node in top for n in ast.walk(node) if isinstance(n, ast.Call)} & CLOCKS
        if found:
            reading[relative(path)] = found
    assert reading == {}


def test_nothing_happens_by_signal_or_by_an_overridden_save():
    assert {relative(path): found for path in modules() if (found := names(path) & SIGNALS)} == {}
    overridden = [
        f"{relative(path)} {node.name}"
        for path in modules()
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.ClassDef) and "models" in relative(path)
        for item in node.body
        if isinstance(item, ast.FunctionDef) and item.name in ("save", "delete")
    ]
    assert overridden == []


@pytest.mark.django_db
def test_the_models_and_the_migrations_agree():
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)


def test_every_migration_says_when_it_may_run():
    files = sorted(path for path in ROOT.glob("*/migrations/0*.py"))
    assert files
    silent = [relative(path) for path in files if not (ast.get_docstring(ast.parse(path.read_text())) or "").strip()]
    assert silent == []
