"""The command line: exit codes, help, and messages that tell everything at once."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from analysis_lib.__main__ import main
from analysis_lib.reports.running.page_making import PageState
from analysis_lib.reports.running.runner import Report
from analysis_lib.study.synthetic.synthetic import small_study


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("cli") / "study"
    small_study(folder, riders=2, duration_s=8.0)
    return folder


@pytest.mark.parametrize("command", ["demo", "new", "check", "report"])
def test_help_says_what_is_read_and_written(command, capsys):
    with pytest.raises(SystemExit) as stop:
        main([command, "--help"])
    assert stop.value.code == 0
    text = capsys.readouterr().out
    assert "Reads" in text
    assert "Writes" in text


def test_both_names_are_the_same_program():
    run = subprocess.run(
        [sys.executable, "-m", "analysis_lib", "--version"], capture_output=True, text=True, check=True
    )
    assert run.stdout.startswith("roundoval ")


@pytest.mark.parametrize("words", [[], ["rebort"], ["report"], ["report", "x", "--jobs", "0"]])
def test_bad_usage_exits_with_2(words, capsys):
    with pytest.raises(SystemExit) as stop:
        main(words)
    assert stop.value.code == 2
    assert "usage" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        (["chek", "x"], "did you mean 'check' for 'chek'?"),
        (["--verison"], "did you mean '--version' for '--verison'?"),
        (["report", "x", "--jbos", "3"], "did you mean '--jobs' for '--jbos'?"),
        (["report", "x", "--frsh=1"], "did you mean '--fresh' for '--frsh'?"),
        (["plan", "x", "--dryrun"], "did you mean '--dry-run' for '--dryrun'?"),
        (["report", "x", "--jobs", "many"], "got 'many', wanted a whole number from 1"),
        (["check", "x", "y"], "unrecognized arguments: y"),
    ],
)
def test_a_misspelt_word_is_answered_with_the_nearest_one(words, meant, capsys):
    with pytest.raises(SystemExit) as stop:
        main(words)
    assert stop.value.code == 2
    said = capsys.readouterr().err
    assert meant in said and "Traceback" not in said
    assert said.startswith(
        f"usage: roundoval {'' if len(words) < 2 or words[0] == 'chek' else words[0]}".strip()
    )


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        (["report", "x", "--dry"], ""),  # an option of another command
        (["check", "x", "--ridr", "R03"], ""),
        (["check", "x", "--rider", "R03"], ""),
        (["demo", "--rider", "R03"], ""),
        (["verify", "x", "--stud", "y"], "did you mean '--study' for '--stud'?"),
        (["plan", "x", "--dry"], "did you mean '--dry-run' for '--dry'?"),
        (["report", "x", "--sched", "y"], "did you mean '--scheduler' for '--sched'?"),
        (["report", "x", "-j", "2"], "did you mean '--jobs' for '-j'?"),
        (["version"], "did you mean '--version' for 'version'?"),
        (["quality", "x"], ""),
    ],
)
def test_a_hint_is_an_option_of_that_command_or_none(words, meant, capsys):
    with pytest.raises(SystemExit) as stop:
        main(words)
    assert stop.value.code == 2
    said = capsys.readouterr().err
    assert (meant in said) if meant else ("did you mean" not in said)


def test_a_terminal_without_the_letters_ends_in_no_trace(tmp_path):
    run = subprocess.run(
        [sys.executable, "-m", "analysis_lib", "check", str(tmp_path)],
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        capture_output=True,
        text=True,
    )
    assert run.returncode == 2 and "riders.csv \\u2013 got no such file" in run.stderr
    assert "Traceback" not in run.stderr


def test_a_folder_without_a_study_exits_with_2_and_names_every_missing_part(tmp_path, capsys):
    assert main(["check", str(tmp_path)]) == 2
    message = capsys.readouterr().err
    for part in ("study.toml", "riders.csv", "trials.csv", "zero_checks.csv"):
        assert part in message


@pytest.mark.parametrize(
    "words",
    [["check"], ["plan"], ["plan", "--dry-run"], ["report"], ["verify"], ["verify", "REPORT", "--study"]],
)
def test_a_folder_that_is_not_there_or_is_a_file_is_said_in_one_line(words, study, tmp_path, capsys):
    """A report is looked at before the study that it is to be compared with, so any folder stands in for it."""
    words = [str(tmp_path) if word == "REPORT" else word for word in words]
    assert main([*words, str(tmp_path / "nosuch")]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and "nosuch – got no such folder – wanted a " in said
    assert main([*words, str(study / "riders.csv")]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and "riders.csv – got a file – wanted a " in said
    assert words[0] == "verify" or f"name the folder that it lies in: {study}" in said


def test_a_misspelt_folder_is_answered_with_the_nearest_study_beside_it(study, tmp_path, capsys):
    (tmp_path / "spring").mkdir()
    (tmp_path / "spring" / "study.toml").touch()
    (tmp_path / "sprint").mkdir()  # no study
    assert main(["check", str(tmp_path / "sprnt")]) == 2
    assert "did you mean 'spring'?" in capsys.readouterr().err


def test_check_of_a_clean_study_exits_with_0_and_tabulates_every_trial(study, capsys):
    assert main(["check", str(study)]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith("0 problems")
    table = shown.partition("Data quality")[2]
    assert sum(line.strip().startswith("R0") for line in table.splitlines()) == 24


def test_check_lists_every_problem_at_once_and_exits_with_2(study, tmp_path, capsys):
    import shutil

    spoilt = tmp_path / "spoilt"
    shutil.copytree(study, spoilt)
    text = (spoilt / "trials.csv").read_text()
    (spoilt / "trials.csv").write_text(text.replace("R01-P1-easy,R01,1,1,round", "R01-P1-easy,R01,1,1,ruond"))
    first = sorted((spoilt / "recordings").glob("R02-P1-easy*"))[0]
    first.write_bytes(b"")
    assert main(["check", str(spoilt)]) == 2
    shown = capsys.readouterr().out
    assert "ruond" in shown
    assert first.name in shown


def test_new_writes_a_folder_and_refuses_one_that_is_in_use(tmp_path, capsys):
    assert main(["new", str(tmp_path / "mine")]) == 0
    assert (tmp_path / "mine" / "study.toml").is_file()
    assert main(["new", str(tmp_path / "mine")]) == 2


def test_a_command_that_is_shown_can_be_pasted_also_for_a_folder_with_a_blank(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "my study"]) == 0
    assert "`roundoval plan 'my study' --dry-run`" in capsys.readouterr().out
    assert main(["check", "quite other"]) == 2
    assert "make one with: roundoval new 'quite other'" in capsys.readouterr().err


def test_a_run_stopped_by_the_user_exits_with_130_and_says_how_to_go_on(study, tmp_path, capsys, monkeypatch):
    def stopped(*_, **__):
        raise KeyboardInterrupt("the same command goes on from there")

    monkeypatch.setattr("analysis_lib.reports.running.runner.make_report", stopped)
    assert main(["report", str(study), "--out", str(tmp_path / "report")]) == 130
    assert "the same command goes on from there" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("faults", "of_report", "of_demo"),
    [
        ((), 0, 0),
        (
            ("R09-P3-hard.parquet, turns – got all 83 whole turns dropped",),
            1,
            0,
        ),  # what data_synthetic/README.md foresees
        (
            (
                "R09-P3-hard.parquet, turns – got all 83 whole turns dropped",
                "R01-P1-easy.parquet – got an empty file",
            ),
            1,
            1,
        ),
        (("R01-P1-easy.parquet – got an empty file",), 1, 1),
    ],
)
def test_a_recording_lost_to_a_fault_exits_with_1_but_for_the_one_that_the_demo_expects(
    faults, of_report, of_demo, study, tmp_path, capsys, monkeypatch
):
    made = Report(tmp_path, (PageState("R01", "Rider R01", "riders/R01.html", "", ""),), (), 0.0, faults)
    monkeypatch.setattr("analysis_lib.reports.running.runner.make_report", lambda *_, **__: made)
    assert main(["report", str(study)]) == of_report
    assert all(f"left out: {fault}" in capsys.readouterr().err for fault in faults[:1])
    assert main(["demo", str(study)]) == of_demo
    told = capsys.readouterr()
    assert ("on purpose: R09-P3-hard" in told.err) == any("R09-P3-hard" in fault for fault in faults)
    assert told.out.splitlines()[-1].startswith("pages: ")


def test_help_and_readme_say_the_same_of_exit_codes(capsys):
    with pytest.raises(SystemExit):
        main(["--help"])
    told = " ".join(capsys.readouterr().out.split())
    (codes,) = re.findall(r"Exit codes: (0 .*?), 130", told)
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")
    assert f"Exit codes: {codes}, 130 stopped" in " ".join(readme.split())
