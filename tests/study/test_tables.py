"""The tables: types, missing values, and every bad cell with its place."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis_lib.refusals import Refusals
from analysis_lib.study.tables.rows import RIDERS, TRIALS, UNREAD, ZERO_CHECKS
from analysis_lib.study.tables.tables import read_table


def trials_of(tiny):
    return read_table(tiny.root, TRIALS, ("hr_bpm",))


def test_columns_have_their_types_and_absent_values_are_absent(tiny):
    table = trials_of(tiny)
    assert table.problems == []
    frame = table.frame
    assert list(frame["row"]) == [2, 3, 4, 5, 6, 7, 8, 9]  # the header is row 1, as an editor counts
    assert frame["period"].dtype == "Int64"
    assert frame["exclude"].tolist() == [False] * 7 + [True]
    assert frame["mount_deg"].dtype == "float64"
    assert np.isnan(frame["mount_deg"][0]) and frame["mount_deg"][2] == 75.0
    assert frame["start_s"][1] == 1.0
    assert frame["exclude_reason"].tolist() == [""] * 7 + ["chain dropped"]
    assert frame["started_at"][0] == pd.Timestamp(2026, 3, 2, 9, 0)
    assert frame["hr_bpm"].isna().tolist() == [False] * 7 + [True]


def test_a_further_column_stays_text_and_is_noted(tiny):
    table = read_table(tiny.root, RIDERS)
    assert table.frame["age_band"].tolist() == ["30-39", ""]
    assert [(problem.severity, problem.what) for problem in table.problems] == [
        ("note", "riders.csv, row 1, column age_band")
    ]


def test_date_times_with_a_blank_for_the_t_are_read(tiny):
    frame = read_table(tiny.root, ZERO_CHECKS).frame
    assert frame["checked_at"].iloc[-1] == pd.Timestamp(2026, 3, 3, 9, 45)
    assert np.isnan(frame["temperature_C"].iloc[-1])


@pytest.mark.parametrize(
    ("old", "new", "place", "words"),
    [
        ("T3,R01,1,2,oval,75,", 'T3,R01,1,2,oval,"75,5",', "row 4, column mount_deg", "write 75.5"),
        ("T3,R01,1,2,oval,75,", "T3,R01,1,2,oval,NA,", "row 4, column mount_deg", "leave the cell empty"),
        ("T3,R01,1,2,oval,75,", "T3,R01,1,2,oval,nan,", "row 4, column mount_deg", "a finite number"),
        ("T3,R01,1,2,", "T3,R01,1,two,", "row 4, column period", "a whole number"),
        ("T3,R01,1,2,", "T3,R01,1,,", "row 4, column period", "got an empty cell"),
        ("T3,R01,1,2,", f"T3,R01,1,{10**20},", "row 4, column period", "a whole number of at most 1000000"),
        ("T3,R01,1,2,", f"T3,R01,{10**20},2,", "row 4, column visit", "a whole number of at most 1000000"),
        ("T3,R01,", "T3,Anna Lund,", "row 4, column rider", "pseudonym"),
        ("T3,R01,", "3rd,R01,", "row 4, column trial", "pattern"),
        ("2026-03-02T09:20:00", "2026-03-02", "row 4, column started_at", "2026-03-02T09:14:00"),
        ("2026-03-02T09:20:00", "2.3.2026 9:20", "row 4, column started_at", "2026-03-02T09:14:00"),
        ("2026-03-02T09:20:00", "2026-03-02T09:20:00Z", "row 4, column started_at", "without time zone"),
        ("recordings/T3.csv", "../T3.csv", "row 4, column file", "inside the study folder"),
        ("recordings/T3.csv", "/data/T3.csv", "row 4, column file", "inside the study folder"),
        ("recordings/T3.csv", "C:\\T3.csv", "row 4, column file", "inside the study folder"),
        (",,,no,,121", ",,,maybe,,121", "row 4, column exclude", "yes, no or an empty cell"),
        (",,,no,,121", ",9,2,no,,121", "row 4, start_s to end_s", "an end after the start"),
        (",no,,121", ",no,,121,", "row 4", "17 cells"),
        (",no,,121", ",no,", "row 4", "15 cells"),
    ],
)
def test_a_bad_cell_stops_its_row_alone(tiny, old, new, place, words):
    tiny.replace("trials.csv", old, new)
    table = trials_of(tiny)
    (problem,) = table.problems
    assert problem.what.replace(f" ({problem.trial})", "") == f"trials.csv, {place}"
    assert words in str(problem)
    assert problem.scope == "trial" and problem.severity == "error"
    assert len(table.frame) == 7 and "T3" not in set(table.frame["trial"])


@pytest.mark.parametrize(
    ("cell", "words"), [('"121,5"', "write 121.5"), ("abc", "got 'abc' – wanted a number")]
)
def test_a_bad_cell_of_an_outcome_costs_that_outcome_of_its_trial_alone(tiny, cell, words):
    tiny.replace("trials.csv", ",no,,121", f",no,,{cell}")
    table = trials_of(tiny)
    (problem,) = table.problems
    assert problem.what == "trials.csv, row 4 (T3), column hr_bpm" and words in str(problem)
    assert (problem.scope, problem.severity, problem.trial, problem.rider) == ("cell", "error", "T3", "R01")
    row = table.frame.set_index("trial").loc["T3"]
    assert np.isnan(row["hr_bpm"]) and row[UNREAD] == "hr_bpm" and row["mount_deg"] == 75.0
    assert table.set_aside.empty and (table.frame[UNREAD] != "").sum() == 1


def test_a_bad_cell_of_an_outcome_beside_another_stops_the_row(tiny):
    tiny.replace("trials.csv", "T3,R01,1,2,", "T3,R01,1,two,")
    tiny.replace("trials.csv", ",no,,121", ",no,,abc")
    table = trials_of(tiny)
    assert {problem.column: problem.scope for problem in table.problems} == {
        "hr_bpm": "cell",
        "period": "trial",
    }
    assert "T3" not in set(table.frame["trial"])


@pytest.mark.parametrize("volume", ["-3.1", "0"])
def test_a_volume_of_gas_is_above_zero(tiny, volume):
    tiny.replace("trials.csv", "hr_bpm", "vo2_L_min")
    tiny.replace("trials.csv", ",no,,121", f",no,,{volume}")
    (problem,) = read_table(tiny.root, TRIALS, ("vo2_L_min",)).problems
    assert problem.scope == "cell" and f"got '{volume}' – wanted a number above 0" in str(problem)


def test_all_bad_cells_are_reported_and_each_names_its_trial(tiny):
    tiny.replace("trials.csv", "T1,R01,1,1,", "T1,R01,0,x,")
    tiny.replace("trials.csv", ",60,easy", ",400,easy")
    problems = trials_of(tiny).problems
    assert [(problem.trial, problem.what.split("column ")[1]) for problem in problems] == [
        ("T1", "visit"),
        ("T1", "period"),
        ("T5", "mount_deg"),
    ]
    assert {problem.rider for problem in problems} == {"R01", "R02"}


def test_rows_are_counted_as_an_editor_counts_lines(tiny):
    tiny.replace("trials.csv", "T1,R01,1,1,round,,easy,lab", '\nT1,R01,1,1,round,,easy,"lab,\nroom 2"')
    tiny.replace("trials.csv", "T3,R01,1,2,", "T3,R01,1,x,")
    table = trials_of(tiny)
    # A blank line before T1 and a line break inside its cell push T3 from line 4 to line 6.
    assert table.problems[0].what == "trials.csv, row 6 (T3), column period"
    assert table.frame["row"].tolist()[:2] == [3, 5]


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda text: text.replace(",", ";").encode(), "semicolons"),
        (lambda text: text.replace(",", "\t").encode(), "tabs"),
        (lambda text: text.replace("sequence", "séquence").encode("latin-1"), "UTF-8"),
        (lambda text: text.replace("mass_kg", "masskg").encode(), "rename 'masskg' to 'mass_kg'"),
        (lambda text: text.replace("age_band", "mass_kg").encode(), "'mass_kg' twice"),
        (lambda text: b"\n\n", "an empty file"),
        (lambda text: text.replace("70.5", '"70.5').encode(), "stray quotation mark"),
    ],
)
def test_a_table_that_cannot_be_used_is_refused_whole(tiny, spoil, words):
    path = tiny.root / "riders.csv"
    path.write_bytes(spoil(path.read_text(encoding="utf-8")))
    with pytest.raises(Refusals, match=words):
        read_table(tiny.root, RIDERS)


def test_a_missing_table_is_refused_and_a_byte_order_mark_is_not(tiny):
    path = tiny.root / "riders.csv"
    path.write_text(path.read_text(encoding="utf-8"), encoding="utf-8-sig")
    assert read_table(tiny.root, RIDERS).frame["rider"].tolist() == ["R01", "R02"]
    path.unlink()
    with pytest.raises(Refusals, match="no such file"):
        read_table(tiny.root, RIDERS)


def test_a_header_without_rows_is_an_empty_table(tiny):
    (tiny.root / "zero_checks.csv").write_text(",".join(ZERO_CHECKS.columns) + "\n", encoding="utf-8")
    frame = read_table(tiny.root, ZERO_CHECKS).frame
    assert frame.empty and frame["zero_total_Nm"].dtype == "float64"
