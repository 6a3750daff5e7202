"""The examples in the docstrings are true."""

import doctest
import importlib
import pkgutil

import pytest

import analysis_lib.study as study

MODULES = [module.name for module in pkgutil.iter_modules(study.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_docstrings(name):
    module = importlib.import_module(f"{study.__name__}.{name}")
    assert doctest.testmod(module).failed == 0
