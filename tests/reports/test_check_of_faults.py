"""Ten faults in one study folder: each is told once, and what has no fault is analysed."""

from __future__ import annotations

import shutil

import numpy as np
import pandas as pd
import pytest
from edits import edit_table

from analysis_lib.refusals import Refusal
from analysis_lib.reports.rider.rider_analysis import analyse_rider
from analysis_lib.reports.rider.rider_tables import faults_of_recordings
from analysis_lib.reports.rider.rider_words import doubts
from analysis_lib.reports.running.check import check_study
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.synthetic import small_study
from analysis_lib.study.synthetic.synthetic_plan import DEMO_INTENSITIES

LBF_IN_IN_NM = 0.112984829  # 1 lbf·in in N·m, NIST SP 811, appendix B.8
TOLD = {
    "R01-P1-steady": "got an empty file",
    "R01-P2-steady": "8.85 times too much",
    "R01-P3-steady": "column 'right_mNm' – got no such column",
    "R01-P4-steady": "samples without an angle or a torque",
    "R02-P1-steady": "got no readable Parquet file",
    "R04-P1-steady": "a second trial of R04 in period 1 on round at steady",
    "R04-P1-again": "a second trial of R04 in period 1 on round at steady",
    "R05-P1-steady": "left and right seem swapped",
    "R05-P2-steady": "set scale = -0.001 for the angle",
}


@pytest.fixture(scope="module")
def faulty(tmp_path_factory):
    """Empty, other unit, a column short, no numbers, cut short, one ring only, a cell twice, swapped, backwards, typo."""
    root = tmp_path_factory.mktemp("faulty") / "study"
    one = tuple(part for part in DEMO_INTENSITIES if part.name == "steady")
    small_study(root, riders=6, duration_s=90.0, rate_hz=50.0, intensities=one)
    (root / "datapackage.json").unlink()
    settings = (root / "study.toml").read_text(encoding="utf-8")
    (root / "study.toml").write_text(settings.replace("full_scale_Nm = 200.0\n", ""), encoding="utf-8")

    def change(trial, by):
        path = root / f"recordings/{trial}.parquet"
        by(pd.read_parquet(path)).to_parquet(path)

    legs = ["left_mNm", "right_mNm"]
    (root / "recordings/R01-P1-steady.parquet").write_bytes(b"")
    change("R01-P2-steady", lambda table: table.assign(**{leg: table[leg] / LBF_IN_IN_NM for leg in legs}))
    change("R01-P3-steady", lambda table: table.drop(columns="right_mNm"))
    change("R01-P4-steady", lambda table: table.assign(left_mNm=np.nan))
    whole = (root / "recordings/R02-P1-steady.parquet").read_bytes()
    (root / "recordings/R02-P1-steady.parquet").write_bytes(whole[: len(whole) // 2])
    shutil.copy(root / "recordings/R04-P1-steady.parquet", root / "recordings/R04-P1-again.parquet")
    change("R04-P1-again", lambda table: table.assign(left_mNm=table["left_mNm"] + 1))
    change("R05-P1-steady", lambda table: table.rename(columns=dict(zip(legs, legs[::-1], strict=True))))
    change("R05-P2-steady", lambda table: table.assign(crank_mdeg=-table["crank_mdeg"] % 360_000))

    def list_trials(trials):
        again = trials[trials["trial"] == "R04-P1-steady"].assign(
            trial="R04-P1-again", file="recordings/R04-P1-again.parquet"
        )
        one_ring = (trials["rider"] == "R03") & (trials["ring"] == "oval")
        return pd.concat([trials[~one_ring], again])

    def misspell_the_rider(trials):
        row = trials[trials["trial"] == "R06-P1-steady"].assign(trial="R07-P1-steady", rider="r07", file="")
        return pd.concat([trials, row.assign(exclude="yes", exclude_reason="flat tyre")])

    edit_table(root, "trials.csv", list_trials)
    edit_table(root, "trials.csv", misspell_the_rider)
    edit_table(root, "riders.csv", lambda riders: pd.concat([riders, riders.tail(1).assign(rider="R07")]))
    return root


def test_each_fault_is_told_once_and_loses_nothing_else(faulty, capsys):
    assert check_study(faulty) == 2
    said, _, table = capsys.readouterr().out.partition("Data quality")
    for trial, words in TOLD.items():
        lines = [line for line in said.splitlines() if trial in line]
        assert len(lines) == 1 and words in lines[0], (trial, lines)
    (one_ring,) = [line for line in said.splitlines() if "(R03)" in line and "round only" in line]
    assert "rings cannot be compared within this rider" in one_ring
    misspelt, without_trials = (line for line in said.splitlines() if "R07" in line)
    assert "(R07-P1-steady), column rider – got 'r07'" in misspelt and "did you mean 'R07'?" in misspelt
    assert "(R07), column rider – got a rider without trials" in without_trials
    states = {
        row.split()[0]: row.split()[5] if "not used" not in row else "not used"
        for row in table.splitlines()
        if row.strip().startswith("R0")
    }
    assert {trial for trial, state in states.items() if state != "used"} == set(TOLD)
    assert states["R05-P1-steady"] == "caution"
    assert sum(state == "used" for state in states.values()) == 6 * 4 - 2 - (len(TOLD) - 1)


def test_the_page_of_a_rider_without_trials_says_that_none_is_listed(faulty):
    with pytest.raises(Refusal, match=r"rider R07 – got no trial in trials\.csv") as refused:
        analyse_rider(open_study(faulty), "R07")
    assert (refused.value.scope, refused.value.rider) == ("rider", "R07")


def test_recordings_of_riders_and_rows_at_fault_are_read_and_told_with_the_tables(tmp_path, capsys):
    root = tmp_path / "study"
    one = tuple(part for part in DEMO_INTENSITIES if part.name == "hard")
    small_study(root, riders=5, duration_s=6.0, rate_hz=50.0, intensities=one, rules={"min_turns": 5})
    (root / "datapackage.json").unlink()
    spoilt = {
        "R01-P1-hard": "R01, no sequence",
        "R02-P1-hard": "no such mount",
        "R03-P3-hard": "no such visit",
    }
    for trial in spoilt:
        (root / f"recordings/{trial}.parquet").write_bytes(b"")
    (root / "recordings/R04-P1-hard.parquet").unlink()

    def change(table, key, row, column, cell):
        edit_table(
            root, table, lambda rows: rows.assign(**{column: rows[column].mask(rows[key] == row, cell)})
        )

    change("riders.csv", "rider", "R01", "sequence", "RRRR")
    change("riders.csv", "rider", "R05", "mass_kg", "83,5")
    change("trials.csv", "trial", "R02-P1-hard", "mount_deg", "77")
    change("trials.csv", "trial", "R03-P3-hard", "visit", "two")
    assert check_study(root) == 2
    said, _, table = capsys.readouterr().out.partition("Data quality")
    problems, _, notes = said.partition("cautions")
    for trial in spoilt:
        assert problems.count(f"  {trial}.parquet – got an empty file") == 1, trial
    assert problems.count("R04-P1-hard") == 2  # its row and the file that is not there: told once
    assert "8 problems:" in problems and "missing: " not in notes and "no trial names" not in notes
    kept = {
        words[0]: words[-5] for words in map(str.split, table.splitlines()) if words and words[0][0] == "R"
    }
    assert kept["R01-P2-hard"].isdigit()  # read, though the rider's sequence lets none of his trials be used
    assert table.count("not used") == 4 + 1 + 1


def test_a_rider_of_unknown_mass_has_a_page_that_says_what_it_lacks(tmp_path):
    root = tmp_path / "study"
    one = tuple(part for part in DEMO_INTENSITIES if part.name == "hard")
    small_study(root, riders=1, duration_s=6.0, rate_hz=50.0, intensities=one, rules={"min_turns": 5})
    before = doubts(analyse_rider(open_study(root), "R01"))
    edit_table(root, "riders.csv", lambda rows: rows.assign(mass_kg="eighty"))
    analysis = analyse_rider(open_study(root), "R01")
    assert len(analysis.used) == 4 and analysis.legs_if_known is None
    (added,) = [line for line in doubts(analysis) if line not in before]
    assert added.startswith("riders.csv is at fault in mass_kg of this rider")


def test_a_whole_recorder_in_another_unit_is_told_in_one_line(tmp_path, capsys):
    root = tmp_path / "study"
    one = tuple(part for part in DEMO_INTENSITIES if part.name == "hard")
    small_study(root, riders=3, duration_s=6.0, rate_hz=50.0, intensities=one, rules={"min_turns": 5})
    settings = (root / "study.toml").read_text(encoding="utf-8").replace("full_scale_Nm = 200.0\n", "")
    (root / "study.toml").write_text(settings.replace('"mN m"', '"N m"'), encoding="utf-8")
    assert check_study(root) == 2
    said = capsys.readouterr().out.partition("Data quality")[0].splitlines()
    assert said[:2] == ["12 problems:", "  recorder two_leg_crank, 12 of its 12 trials cannot be used:"]
    assert "the values look 1000 times too large" in said[2] and "and 11 more like it: R01-P2-hard" in said[3]
    assert said[4:6] == ["0 cautions", "1 note:"] and "not frozen" in said[6]


def test_a_report_names_what_stopped_recordings_once_and_neither_rules_nor_other_riders(tmp_path):
    """Two rings share a round trial, so its fault stands in both tables; the tables' own faults are told elsewhere."""
    rows = [
        ("used", "", True),
        ("not used", "T2.csv – got an empty file", True),
        ("not used", "excluded: chain dropped", True),
        ("not used", "excluded by rule: 12 kept turns", True),
        ("not used", "trials.csv, row 5 – got 'ovall'", False),
    ]
    for folder in ("R01.late", "R01.early", "R02", "R01/as_shown"):
        path = tmp_path / "tables" / "riders" / folder
        path.mkdir(parents=True)
        pd.DataFrame(rows, columns=["state", "reason", "usable"]).to_csv(path / "trials.csv", index=False)
    assert faults_of_recordings(str(tmp_path), {"R01"}) == ("T2.csv – got an empty file",)
    assert faults_of_recordings(str(tmp_path), {"R03"}) == ()
