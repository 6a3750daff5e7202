"""The examples in the docstrings are true."""

import doctest
import importlib
import pkgutil

import pytest

import analysis_lib.signals as signals

MODULES = [module.name for module in pkgutil.iter_modules(signals.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_docstrings(name):
    module = importlib.import_module(f"{signals.__name__}.{name}")
    assert doctest.testmod(module).failed == 0
