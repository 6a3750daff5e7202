"""A run opens its study once: kernels take it as opened, and make of it what they make of the folder."""

import os
import shutil

from analysis_lib.reports.execution.notebook_run import RunFolder, run_notebook
from analysis_lib.reports.files.opened_study import study_at
from analysis_lib.reports.files.places import notebooks_folder
from analysis_lib.reports.study.page_list import planned_pages
from analysis_lib.study.checks.folder import open_study


def test_a_notebook_that_opens_the_study_itself_comes_out_the_same(one_trial_report, tmp_path):
    made = one_trial_report
    plan = planned_pages(open_study(made.study))[0]
    with RunFolder(made.study, tmp_path) as folder:
        again = tmp_path / "again.ipynb"
        failure = run_notebook(notebooks_folder() / plan.template, again, plan.parameters, folder, "again")
    assert failure is None
    assert again.read_bytes() == (made.folder / plan.notebook).read_bytes()


def test_a_kernel_sees_the_study_as_its_run_found_it(one_trial_report, tmp_path, monkeypatch):
    study = shutil.copytree(one_trial_report.study, tmp_path / "study")
    opened = open_study(study)
    with RunFolder(study, tmp_path, opened=opened) as folder:
        monkeypatch.chdir(folder.path)
        (study / "trials.csv").write_text("")
        found = study_at("study")
        assert str(found.root) == "study"
        assert (
            found.trials.equals(opened.trials)
            and found.trials["intensity"].dtype == opened.trials["intensity"].dtype
        )
        assert found.riders.equals(opened.riders) and found.zero_checks.equals(opened.zero_checks)
        assert found.settings == opened.settings
        assert [str(problem) for problem in found.problems] == [str(problem) for problem in opened.problems]
        assert str(tmp_path) not in (folder.path / "opened-study").read_bytes().decode("latin-1")
    assert "ROUNDOVAL_OPENED_STUDY" not in os.environ


def test_another_folder_than_the_run_s_is_opened_anew(one_trial_report, tmp_path, monkeypatch):
    study = shutil.copytree(one_trial_report.study, tmp_path / "other")
    with RunFolder(one_trial_report.study, tmp_path, opened=open_study(one_trial_report.study)):
        monkeypatch.chdir(tmp_path)
        assert study_at("other").root.resolve() == study
