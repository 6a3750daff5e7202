"""A folder that is not filled in, or filled in with the same thing twice, does not pass."""

import shutil

import pytest

from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.synthetic import small_study
from analysis_lib.study.template.template import write_template


@pytest.fixture
def study(tmp_path):
    small_study(tmp_path / "study", riders=2, duration_s=6.0, sequences={"RO": ("round", "oval")})
    return tmp_path / "study"


def _errors(folder):
    return [str(problem) for problem in open_study(folder).errors]


def test_the_untouched_template_does_not_pass(tmp_path):
    write_template(tmp_path / "new")
    said = "\n".join(_errors(tmp_path / "new"))
    assert "study.toml, study.name" in said
    assert "riders.csv – got no rows" in said
    assert "trials.csv – got no rows" in said


def test_a_recording_under_two_names_is_an_error_of_both_trials(study):
    first, second = sorted((study / "recordings").iterdir())[:2]
    shutil.copy(first, second)
    said = [line for line in _errors(study) if "the same recording as" in line]
    assert len(said) == 2


def test_empty_recordings_are_not_called_copies_of_each_other(study):
    for path in sorted((study / "recordings").iterdir())[:3]:
        path.write_bytes(b"")
    assert not [line for line in _errors(study) if "the same recording as" in line]


def test_a_missing_recording_never_suggests_another_trials_file(study):
    missing = sorted((study / "recordings").iterdir())[0]
    missing.unlink()
    (line,) = [line for line in _errors(study) if "no such file" in line]
    assert "did you mean" not in line


def test_no_more_riders_than_sequences_is_noted(tmp_path):
    small_study(tmp_path / "few", riders=2, duration_s=6.0)
    assert any("more riders than sequences" in str(note) for note in open_study(tmp_path / "few").notes)
