"""The examples in the docstrings of the scientific core run and give what they say."""

import doctest
import importlib
import pkgutil

import pytest

import monitoring.analysis

MODULES = [module.name for module in pkgutil.iter_modules(monitoring.analysis.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_run(name):
    module = importlib.import_module(f"monitoring.analysis.{name}")
    assert doctest.testmod(module).failed == 0
