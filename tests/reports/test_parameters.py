"""Parameters are checked before any kernel starts."""

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_notebook

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.parameters import check_parameters, declared_parameters


@pytest.fixture
def notebook(tmp_path):
    cell = new_code_cell('study_dir = ""  # folder\nrider = "R01"\nlevel = 0.95\ndraws = 2000')
    cell.metadata["tags"] = ["parameters"]
    path = tmp_path / "one.ipynb"
    nbformat.write(new_notebook(cells=[new_code_cell("other = 1"), cell]), path)
    return path


def test_only_the_tagged_cell_declares_parameters(notebook):
    assert declared_parameters(notebook) == {"study_dir": "", "rider": "R01", "level": 0.95, "draws": 2000}


def test_declared_scalars_pass_and_a_whole_number_may_stand_for_a_real_one(notebook):
    check_parameters(notebook, {"rider": "R02", "level": 1})


def test_a_misspelt_name_is_refused_with_the_nearest_spelling(notebook):
    with pytest.raises(Refusal, match="did you mean rider"):
        check_parameters(notebook, {"ridr": "R02"})


@pytest.mark.parametrize("value", [3, None, ["R02"], object()])
def test_a_value_of_another_kind_is_refused(notebook, value):
    with pytest.raises(Refusal, match="a plain str"):
        check_parameters(notebook, {"rider": value})


def test_code_in_the_parameters_cell_is_never_executed(tmp_path):
    cell = new_code_cell("import os\nname = os.getcwd()")
    cell.metadata["tags"] = ["parameters"]
    path = tmp_path / "sly.ipynb"
    nbformat.write(new_notebook(cells=[cell]), path)
    with pytest.raises(Refusal, match="plain assignments"):
        declared_parameters(path)
