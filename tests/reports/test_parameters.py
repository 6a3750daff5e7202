"""Parameters are checked before any kernel starts."""

import nbformat
import papermill
import pytest
from nbformat.v4 import new_code_cell, new_notebook

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.parameters import check_injected, check_parameters, declared_parameters


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


OPENS = "from analysis_lib.reports.exhibits.notebook_page import open_page\npage = open_page('', 'one')"


@pytest.mark.parametrize(
    ("given", "said"),
    [({"ridr": "R02"}, "did you mean rider"), ({"level": "high"}, "a plain float"), ({"rider": "R02"}, "")],
)
def test_plain_papermill_is_held_to_the_declared_parameters_too(notebook, tmp_path, given, said):
    made = nbformat.read(notebook, 4)
    made.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
    made.cells.append(new_code_cell(OPENS))
    nbformat.write(made, notebook)
    error = None
    try:
        papermill.execute_notebook(
            str(notebook), str(tmp_path / "out.ipynb"), parameters=given, progress_bar=False
        )
    except papermill.PapermillExecutionError as failed:
        error = failed
    assert (error.ename, said in error.evalue) == ("Refusal", True) if said else error is None


def test_cells_run_by_hand_in_another_order_are_not_judged():
    declared, injected = 'rider = "R01"', '# Parameters\nridr = "R02"\n'
    with pytest.raises(Refusal, match="this notebook, parameter ridr"):
        check_injected(["", declared, injected, OPENS])
    check_injected(["", declared, OPENS, injected])
    check_injected(["", injected, OPENS])
    check_injected(["", declared, OPENS])
