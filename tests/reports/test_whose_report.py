"""A folder that holds another study's report is refused before anything is written, and the way out is said."""

import json
import shutil

import pytest
from edits import replace_in_settings

from analysis_lib.__main__ import main
from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.page_records import PageKeys
from analysis_lib.reports.files.run_record import checksums
from analysis_lib.reports.record.run_crate import FILE as CRATE
from analysis_lib.reports.record.whose_report import check_same_study
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.declared.settings import FILE, read_settings


@pytest.fixture
def finished(one_trial_report, tmp_path):
    """A copy of a study of one rider and of its finished report."""
    shutil.copytree(one_trial_report.study, tmp_path / "study")
    shutil.copytree(one_trial_report.folder, tmp_path / "report")
    return tmp_path / "study", tmp_path / "report"


def _renamed(study, old="", new="Another name"):
    """A copy of a study under another name, or with other words of study.toml in place of `old`."""
    name = read_settings(study / FILE).study.name
    other = shutil.copytree(study, study.parent / "other")
    replace_in_settings(other, old or f'name = "{name}"', new if old else f'name = "{new}"')
    return other


def _seed(study):
    return read_settings(study / FILE).study.seed


@pytest.mark.parametrize("options", [[], ["--rider", "R01"], ["--fresh"]])
def test_another_study_is_refused_and_nothing_is_touched(finished, options, capsys):
    study, report = finished
    before = checksums(report)
    assert main(["report", str(_renamed(study)), "--out", str(report), *options]) == 2
    (said,) = capsys.readouterr().err.splitlines()
    name = read_settings(study / FILE).study.name
    assert f"got the report of another study, {name} (seed {_seed(study)})" in said
    assert f"an earlier report of Another name (seed {_seed(study)})" in said
    assert "choose another --out; or" in said and "only has a new name or seed, remove the folder" in said
    assert checksums(report) == before


def test_another_seed_is_another_study(finished):
    study, report = finished
    other = _renamed(study, f"seed = {_seed(study)}", "seed = 77")
    with pytest.raises(Refusal, match=r"another study.*\(seed 77\)"):
        check_same_study(open_study(other), PageKeys(report))


def test_a_study_whose_folder_was_moved_and_whose_question_changed_is_the_same(finished):
    study, report = finished
    question = read_settings(study / FILE).study.question
    check_same_study(open_study(_renamed(study, question, "And now?")), PageKeys(report))


def test_a_report_whose_pages_do_not_tell_their_study_is_known_by_its_research_object(finished):
    """So are reports that were made before a page's origin named the study, and those without any page on record."""
    study, report = finished
    other, own = open_study(_renamed(study)), open_study(study)
    for path in (report / "keys").glob("[Rt]*.json"):
        record = json.loads(path.read_text())
        del record["origin"]["study"]
        path.write_text(json.dumps(record))
    check_same_study(own, PageKeys(report))
    with pytest.raises(Refusal, match="another study"):
        check_same_study(other, PageKeys(report))
    for path in (report / "keys").glob("[Rt]*.json"):
        path.unlink()
    with pytest.raises(Refusal, match="another study"):
        check_same_study(other, PageKeys(report))
    (report / CRATE).write_text(
        "{"
    )  # then nothing is known, and nothing of another study is there to be kept
    check_same_study(other, PageKeys(report))


def test_of_several_studies_one_that_meets_another_s_report_does_not_stop_the_others(finished, tmp_path):
    study, report = finished
    out = tmp_path / "out"
    for name in ("study", "other"):
        shutil.copytree(report, out / name)
    before = checksums(out / "other")
    assert main(["report", str(study), str(_renamed(study)), "--out", str(out)]) == 1
    assert checksums(out / "other") == before
    page = (out / "index.html").read_text()
    assert "no report: report folder other – got the report of another study" in page
    assert 'href="other/index.html"' not in page
