"""A period at half scale, two recordings exchanged and a recording that breaks off: in `check` and on the pages."""

from __future__ import annotations

import shutil

import pandas as pd
import pytest
from edits import edit_table
from said_numbers import names_with_numbers, page_of, sentences_without_rows

from analysis_lib.reports.running.check import check_study
from analysis_lib.reports.study import exclusion_exhibits, study_words
from analysis_lib.reports.study.study_gathering import gather_study
from analysis_lib.reports.trials.power_cautions import few_turns
from analysis_lib.reports.trials.power_exhibits import power_doubts, power_tables
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.synthetic import small_study


@pytest.fixture(scope="module")
def honest(tmp_path_factory):
    folder = tmp_path_factory.mktemp("power") / "honest"
    small_study(folder, riders=2, duration_s=6.0, rate_hz=50.0, rules={"min_turns": 3})
    (folder / "datapackage.json").unlink(missing_ok=True)
    return folder


def recordings(folder, *trials):
    files = pd.read_csv(folder / "trials.csv").set_index("trial")["file"]
    return [folder / files[trial] for trial in trials]


@pytest.fixture(scope="module")
def spoilt(honest):
    """R01's period 2 at half of its stored torque; R02's easy and hard recordings of period 3 exchanged."""
    folder = shutil.copytree(honest, honest.parent / "spoilt")
    for path in recordings(folder, *(f"R01-P2-{name}" for name in ("easy", "steady", "hard"))):
        stored = pd.read_parquet(path)
        torque = [name for name in stored if "torque" in name or name.endswith("mNm")]
        assert len(torque) == 2
        stored.assign(**{name: stored[name] / 2 for name in torque}).to_parquet(path)

    def exchange(trials):
        first, last = trials["trial"] == "R02-P3-easy", trials["trial"] == "R02-P3-hard"
        easy, hard = trials.loc[first, "file"].item(), trials.loc[last, "file"].item()
        return trials.assign(file=trials["file"].mask(first, hard).mask(last, easy))

    edit_table(folder, "trials.csv", exchange)
    return folder


@pytest.fixture(scope="module")
def analysis(spoilt):
    return gather_study(open_study(spoilt))


def test_an_honest_study_has_no_doubt(honest, capsys):
    assert check_study(honest) == 0
    assert capsys.readouterr().out.startswith("0 problems\n0 cautions\n")
    found = gather_study(open_study(honest))
    assert power_doubts(found) == [] and power_tables(found) == []


def test_check_says_each_error_once(spoilt, capsys):
    assert check_study(spoilt) == 0
    said, _, table = capsys.readouterr().out.partition("Data quality")
    cautions = said.partition("cautions:\n")[2].partition(" note")[0]
    assert cautions.count("Rider R01, period 2: power is 0.") == 1
    assert cautions.count("Rider R02: R02-P3-easy and R02-P3-hard look exchanged") == 1
    assert said.startswith("0 problems\n2 cautions:\n")
    assert sum(" caution " in line for line in table.splitlines()) == 5


def test_the_answer_names_them_first_and_the_trials_stay_in_use(analysis):
    for words in (study_words.answer(analysis), exclusion_exhibits.answer(analysis)):
        assert words[0].startswith("Not to be relied on as it stands: Rider R01, period 2: power is 0.")
        assert "R02-P3-easy and R02-P3-hard look exchanged" in words[1]
    assert set(analysis.trials["state"]) == {"used", "caution"}
    (table,) = power_tables(analysis)
    assert table.frame["together"].iloc[0] == pytest.approx(
        0.5, abs=0.1
    )  # half, but for the zero that was not halved
    assert list(table.frame["doubt"]) == ["period off"] * 3 + ["exchanged"] * 2


def test_the_numbers_said_lead_to_a_row(spoilt, analysis, monkeypatch):
    text = page_of("05_data_quality.ipynb", monkeypatch, analysis=analysis)
    left = sentences_without_rows(text, names_with_numbers(spoilt))
    assert [line for line in left if "power is" in line or "exchanged" in line] == []


def test_a_trial_of_few_turns_is_named_with_both_numbers():
    """Of 90, 88 and 89 turns the median is 89; 44 are less than half of it, 45 are not. Sprints are short by themselves."""
    trials = pd.DataFrame({"trial": list("abcdxy"), "intensity": ["easy"] * 4 + ["sprint"] * 2})
    turns = {"a": 90, "b": 88, "c": 89, "x": 9, "y": 8}
    told = few_turns(trials, turns | {"d": 44})
    assert list(told) == ["d"]
    assert "It has 44 whole turns" in told["d"] and "have 89 (median, n = 3 trials)" in told["d"]
    assert "exclude_below_turns" in told["d"]
    assert few_turns(trials, turns | {"d": 45}) == few_turns(trials, turns) == {}
