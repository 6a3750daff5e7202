"""The examples in the docstrings are true."""

import doctest
import importlib
import pkgutil

import pytest

import analysis_lib.mechanics as mechanics

MODULES = [module.name for module in pkgutil.iter_modules(mechanics.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_docstrings(name):
    module = importlib.import_module(f"{mechanics.__name__}.{name}")
    assert doctest.testmod(module).failed == 0
