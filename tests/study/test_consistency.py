"""Whether the parts of a folder agree: one clear message each, laid at the smallest door."""

from __future__ import annotations

import pickle

import pandas as pd
import pytest

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.study.checks import trial_checks
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.declared.problems import Problem


def problems_of(tiny):
    return [problem for problem in open_study(tiny.root).problems if "age_band" not in problem.what]


def test_a_study_in_order_has_nothing_but_notes(tiny):
    study = open_study(tiny.root)
    assert study.errors == []
    assert [note.what for note in study.notes] == [
        "riders.csv, row 1, column age_band",
        "riders.csv",  # two riders in two sequences have no interval
    ]  # T8 is excluded with its reason, so it is not missing
    assert study.trials["usable"].tolist() == [True] * 7 + [False]
    assert study.trials["intensity"].cat.categories.tolist() == ["easy", "hard"]
    assert study.trials_of("R02")["trial"].tolist() == ["T5", "T6", "T7", "T8"]


TRIAL_FAULTS = [
    ("T3,R01,", "T3,R09,", "column rider", "riders.csv"),
    ("2,oval,75,easy", "2,ovel,75,easy", "column ring", "did you mean 'oval'?"),
    ("2,oval,75,easy", "2,oval,75,eassy", "column intensity", "did you mean 'easy'?"),
    ("75,easy,lab,crank", "75,easy,lab,krank", "column recorder", "did you mean 'crank'?"),
    ("75,easy,lab,crank", "75,easy,lab,", "column recorder", "study.toml: crank"),
    ("2,oval,75,easy", "2,oval,80,easy", "column mount_deg", "one of 60, 75"),
    ("2,oval,75,easy", "2,oval,,easy", "column mount_deg", "state how the oval ring sat"),
    ("recordings/T3.csv", "", "column file", "name the recording, or exclude the trial"),
    ("recordings/T3.csv", "recordings/T33.csv", "column file", "no such file"),
    ("09:20:00,,,no", "09:20:00,,,yes", "column exclude_reason", "the rule"),
    ("2026-03-02T09:20:00", "2026-03-04T09:20:00", "column started_at", "no zero check of crank within 4 h"),
    ("2026-03-02T09:20:00", "", "column started_at", "an empty cell"),
    ("recordings/T3.csv", "recordings/T1.csv", "column start_s", "where trial T1 has not ended"),
    ("T3,R01,1,2,", "T3,R01,1,5,", "column period", "1 to 2"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "column", "words"), TRIAL_FAULTS)
def test_a_fault_of_one_trial_stops_that_trial_alone(tiny, old, new, column, words):
    tiny.replace("trials.csv", old, new)
    study = open_study(tiny.root)
    (error,) = study.errors
    assert error.scope == "trial" and error.trial == "T3"
    assert error.what == f"trials.csv, row 4 (T3), {column}"
    assert words in str(error)
    assert study.trials.set_index("trial")["usable"].to_dict() == {
        f"T{number}": number not in (3, 8) for number in range(1, 9)
    }


def test_a_part_within_a_longer_one_does_not_hide_the_next(tiny):
    """T2 and T3 are both parts of T1's; T4 begins where T1 ends."""
    windows = {"T1": ("0", "8"), "T2": ("1", "2"), "T3": ("4", "5"), "T4": ("8", "9.5")}
    trials = pd.read_csv(tiny.root / "trials.csv", dtype=str, keep_default_na=False).set_index("trial")
    for trial, window in windows.items():
        trials.loc[trial, ["file", "start_s", "end_s"]] = ("recordings/T1.csv", *window)
    trials.to_csv(tiny.root / "trials.csv")
    found = [(error.trial, error.got) for error in open_study(tiny.root).errors]
    assert found == [
        ("T2", "recordings/T1.csv from 1 s, where trial T1 has not ended"),
        ("T3", "recordings/T1.csv from 4 s, where trial T1 has not ended"),
    ]


@pytest.mark.parametrize(("most", "suggested"), [(4, 2), (3, 0)])
def test_names_are_compared_where_few_recordings_lack(tiny, monkeypatch, most, suggested):
    """Two recordings lie there under other names: four pairs of names."""
    monkeypatch.setattr(trial_checks, "MOST_COMPARED", most)
    for name in ("T1", "T2"):
        (tiny.root / f"recordings/{name}.csv").rename(tiny.root / f"recordings/{name}_.csv")
    said = [str(error) for error in open_study(tiny.root).errors]
    assert len(said) == 2 and sum("did you mean" in line for line in said) == suggested


def test_a_mount_is_an_axis(tiny):
    # Trial T4 of the tiny study sits at 255 degrees, which is 75 on the other side of the same axis.
    assert open_study(tiny.root).trials.set_index("trial").loc["T4", "usable"]


def test_a_round_ring_with_a_mount_is_under_caution_and_stops_nothing(tiny):
    tiny.replace("trials.csv", "T1,R01,1,1,round,,easy", "T1,R01,1,1,round,75,easy")
    study = open_study(tiny.root)
    (caution,) = study.cautions
    assert study.errors == [] and caution.trial == "T1"
    assert str(caution) == (
        "trials.csv, row 2 (T1), column mount_deg – got 75 with ring round, which has no major axis – wanted an empty"
        " cell – correct the ring if it was another one; otherwise empty the cell"
    )


def test_an_excluded_trial_and_a_round_ring_that_stands_for_an_oval_may_have_any_mount(tiny):
    tiny.replace("trials.csv", "T8,R02,1,2,round,,hard", "T8,R02,1,2,round,75,hard")
    tiny.replace("study.toml", "axis_ratio = 1.10", 'axis_ratio = 1.0\nrole = "oval"')
    assert open_study(tiny.root).cautions == []


def exchange(tiny, *columns: str) -> None:
    """Give every trial the other ring, and the mounts along with the rings or not."""
    trials = pd.read_csv(tiny.root / "trials.csv", dtype=str, keep_default_na=False)
    trials["ring"] = trials["ring"].map({"round": "oval", "oval": "round"})
    if "mount_deg" in columns:
        trials["mount_deg"] = trials["ring"].map({"round": "", "oval": "75"})
    trials.assign(exclude="", exclude_reason="").to_csv(tiny.root / "trials.csv", index=False)


def test_rings_exchanged_throughout_are_one_message_that_stops_every_rider(tiny):
    exchange(tiny, "ring", "mount_deg")
    study = open_study(tiny.root)
    assert [(error.scope, error.rider) for error in study.errors] == [("rider", "R01"), ("rider", "R02")]
    assert {str(error) for error in study.errors} == {
        "trials.csv, column ring, against riders.csv, column sequence – got the other ring in all 4 periods of 2 riders –"
        " wanted the ring that the sequence names – the two rings look exchanged throughout: correct ring or sequence,"
        " whichever is wrong"
    }
    assert not study.trials["usable"].any()
    mended = study.without(lambda problem: problem.scope == "rider")
    assert mended.errors == [] and mended.trials["usable"].all()


def test_rings_exchanged_without_their_mounts_are_one_more_message_that_stops_every_trial_on_the_oval(tiny):
    exchange(tiny, "ring")
    study = open_study(tiny.root)
    of_trials = [error for error in study.errors if error.scope == "trial"]
    assert [error.trial for error in of_trials] == ["T1", "T2", "T7", "T8"]  # round before
    assert {str(error) for error in of_trials} == {
        "trials.csv, column ring, against column mount_deg – got a mount with all 4 trials on the round ring and with none"
        " of 4 on the oval ring – wanted the mount of the oval ring – the two rings look exchanged throughout: correct"
        " ring or mount_deg, whichever is wrong"
    }
    assert study.cautions == []


def test_one_cell_ridden_twice_stops_both_trials(tiny):
    tiny.replace("trials.csv", "T2,R01,1,1,round,,hard", "T2,R01,1,1,round,,easy")
    errors = [problem for problem in problems_of(tiny) if problem.severity == "error"]
    assert [error.trial for error in errors] == ["T1", "T2"]
    assert "a second trial of R01 in period 1 on round at easy" in str(errors[0])


@pytest.mark.parametrize("twin", ["T1", "t1"])
def test_a_trial_listed_twice_stops_both(tiny, twin):
    tiny.replace("trials.csv", "T2,R01,", f"{twin},R01,")
    errors = open_study(tiny.root).errors
    assert [error.trial for error in errors] == ["T1", twin]
    assert "each trial once" in str(errors[0])


def test_a_ring_against_the_sequence_stops_the_rider_with_one_message(tiny):
    tiny.replace("riders.csv", "R01,RO", "R01,OR")
    study = open_study(tiny.root)
    assert [error.what for error in study.errors] == [
        "riders.csv, row 2 (R01), column sequence"
    ] * 2  # one a period
    assert "round in period 1 (T1, T2)" in str(study.errors[0])
    assert "oval, as OR says" in str(study.errors[0])
    assert study.errors[0].scope == "rider" and study.errors[0].rider == "R01"
    usable = study.trials.groupby("rider")["usable"].sum()
    assert usable.to_dict() == {"R01": 0, "R02": 3}


def test_an_unknown_sequence_stops_the_rider(tiny):
    tiny.replace("riders.csv", "R01,RO", "R01,RQ")
    (error,) = open_study(tiny.root).errors
    assert error.scope == "rider" and "did you mean 'RO'?" in str(error)


def test_a_bad_cell_that_may_be_empty_stops_only_what_needs_it_and_is_told_once(tiny):
    tiny.replace("riders.csv", "70.5", "7o.5")
    study = open_study(tiny.root)
    (error,) = study.errors  # his trials are not also called trials of an unknown rider
    assert (error.rider, error.scope, error.column) == ("R01", "cell", "mass_kg")
    assert error.what == "riders.csv, row 2 (R01), column mass_kg"
    assert study.riders["rider"].tolist() == ["R01", "R02"]
    assert study.riders["mass_kg"].isna().tolist() == [True, True]
    assert study.trials.groupby("rider")["usable"].sum().to_dict() == {"R01": 4, "R02": 3}


def test_an_outcome_s_bad_cell_leaves_its_trial_usable_and_is_not_counted_among_empty_cells_too(tiny):
    tiny.replace("trials.csv", ",no,,121", ",no,,1a1")
    study = open_study(tiny.root)
    (error,) = study.errors
    assert (error.scope, error.trial, error.column) == ("cell", "T3", "hr_bpm")
    assert study.trials.set_index("trial").loc["T3", "usable"]
    assert not [note for note in study.notes if "empty cell" in note.got]


def test_a_trial_set_aside_for_a_cell_leaves_no_gap_and_no_unlisted_recording(tiny):
    tiny.replace("trials.csv", "T3,R01,1,2,oval,75", "T3,R01,one,2,oval,75")
    study = open_study(tiny.root)
    assert [error.column for error in study.errors] == ["visit"]
    assert study.set_aside[["trial", "period", "file"]].values.tolist() == [["T3", 2, "recordings/T3.csv"]]
    assert not [note for note in study.notes if "missing: " in note.got or "no trial names" in note.got]


def test_a_rider_without_a_sequence_or_with_an_impossible_name(tiny):
    tiny.replace("riders.csv", "R01,RO", "R01,")
    tiny.replace("riders.csv", "R02,OR", "Anna Lund,OR")
    study = open_study(tiny.root)
    assert study.riders["rider"].tolist() == ["R01"]
    by_rider = {error.rider: str(error) for error in study.errors if error.scope == "rider"}
    assert "got an empty cell" in by_rider["R01"] and "pseudonym" in by_rider["Anna Lund"]
    assert not study.trials["usable"].any()


def test_riders_listed_twice(tiny):
    tiny.replace("riders.csv", "R02,OR", "r01,OR")
    errors = [error for error in open_study(tiny.root).errors if error.what.startswith("riders.csv")]
    assert [error.rider for error in errors] == ["R01", "r01"]


def notes_of(tiny):
    return [str(note) for note in problems_of(tiny) if note.severity == "note"]


def test_notes_stop_nothing(tiny):
    (tiny.root / "recordings" / "extra.csv").write_text("t\n", encoding="utf-8")
    tiny.replace("riders.csv", "R02,OR,,170,", "R02,RO,,170,\nR03,OR,60,170,")
    tiny.replace("trials.csv", "\nT5,R02,1,1,oval,60", "\nT5,R02,1,2,oval,60")
    tiny.replace("trials.csv", "\nT6,R02,1,1,oval,60", "\nT6,R02,1,2,oval,60")
    tiny.replace("trials.csv", "T7,R02,1,2,round", "T7,R02,1,1,round")
    tiny.replace(
        "trials.csv",
        "T8,R02,1,2,round,,hard,lab,crank,recordings/T8.csv,2026-03-03T09:30:00,,,yes,chain dropped,",
        "",
    )
    tiny.replace("trials.csv", ",no,,120", ",no,wind,")
    notes = notes_of(tiny)
    for words in (
        "(R03), column rider – got a rider without trials",
        "3 trials; missing: period 1 at hard",
        "give each a row in trials.csv with exclude = yes, the reason in exclude_reason and no file",
        "recordings/extra.csv – got a recording that no trial names",
        "recordings/T8.csv – got a recording that no trial names",
        "no, beside a reason",
        "1 empty cell: T1",
    ):
        assert any(words in note for note in notes), words
    assert open_study(tiny.root).errors == []


def test_a_trial_that_was_not_ridden_may_have_a_row_with_its_reason_and_nothing_else(tiny):
    tiny.replace(
        "trials.csv",
        "T4,R01,1,2,oval,255,hard,lab,crank,recordings/T4.csv,2026-03-02T09:30:00,,,no,,",
        "T4,R01,,2,oval,,hard,,,,,,,yes,ill that day,",
    )
    (tiny.root / "recordings" / "T4.csv").unlink()
    study = open_study(tiny.root)
    assert study.errors == [] and not any("missing" in note for note in notes_of(tiny))
    assert study.trials.set_index("trial").loc["T4", "exclude_reason"] == "ill that day"


def test_one_ring_or_one_sequence_is_noted(tiny):
    tiny.replace("trials.csv", "T3,R01,1,2,oval,75,easy", "T3,R01,1,2,oval,75,easy")
    text = (tiny.root / "trials.csv").read_text(encoding="utf-8")
    kept = [line for line in text.splitlines() if not line.startswith(("T3", "T4"))]
    (tiny.root / "trials.csv").write_text("\n".join(kept), encoding="utf-8")
    riders = (tiny.root / "riders.csv").read_text(encoding="utf-8").splitlines()
    (tiny.root / "riders.csv").write_text("\n".join(riders[:2]), encoding="utf-8")
    notes = notes_of(tiny)
    assert any("trials on round only" in note for note in notes)
    assert any("only RO" in note and "two sequences or more" in note for note in notes)


def test_an_outcome_without_its_column_is_an_error_of_the_study(tiny):
    tiny.replace("trials.csv", "hr_bpm", "hr_pbm")
    (error,) = open_study(tiny.root).errors
    assert error.scope == "study" and "rename 'hr_pbm' to 'hr_bpm'" in str(error)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('name = "power_W"', 'name = "powr_W"', "did you mean 'power_W'?"),
        ('unit = "W"', 'unit = "kW"', "'W', the unit in which it is measured"),
    ],
)
def test_a_measured_outcome_must_be_one_in_its_own_unit(tiny, old, new, words):
    tiny.replace("study.toml", old, new)
    (error,) = open_study(tiny.root).errors
    assert error.scope == "study" and words in str(error)


def test_zero_checks_can_be_done_without_when_the_rules_say_so(tiny):
    header = (tiny.root / "zero_checks.csv").read_text(encoding="utf-8").splitlines()[0]
    (tiny.root / "zero_checks.csv").write_text(header + "\n", encoding="utf-8")
    assert len(open_study(tiny.root).errors) == 7
    tiny.replace("study.toml", "[recorders.crank]", "[rules]\nzero_check_required = false\n[recorders.crank]")
    study = open_study(tiny.root)
    assert study.errors == [] and study.trials["usable"].sum() == 7


def test_a_zero_check_of_another_channel_does_not_count(tiny):
    tiny.replace("zero_checks.csv", "18.5,,,0.4", "18.5,0.4,,")
    tiny.replace("zero_checks.csv", "09:45:00,,,,0.6", "09:45:00,,0.6,,")
    assert [error.trial for error in open_study(tiny.root).errors] == ["T5", "T6", "T7"]


def test_faults_of_whole_files_are_told_together(tiny):
    tiny.replace("study.toml", "seed = 7", "")
    (tiny.root / "riders.csv").unlink()
    tiny.replace("zero_checks.csv", "temperature_C", "temp")
    with pytest.raises(Refusals) as caught:
        open_study(tiny.root)
    assert [refusal.what.split(",")[0] for refusal in caught.value.refusals] == [
        "study.toml",
        "riders.csv",
        "zero_checks.csv",
    ]


def test_a_problem_survives_being_sent_between_processes(tiny):
    tiny.replace("riders.csv", "R01,RO", "R01,RQ")
    (error,) = open_study(tiny.root).errors
    again = pickle.loads(pickle.dumps(error))
    assert (str(again), again.severity, again.scope, again.rider) == (str(error), "error", "rider", "R01")
    several = Problem(
        "trials", "two faults", "none", "mend both", severity="caution", each=("T1: late", "T2: short")
    )
    assert pickle.loads(pickle.dumps(several)).each == several.each


def test_a_folder_that_is_no_study_says_how_to_make_one(tmp_path):
    with pytest.raises(Refusals, match="roundoval new"):
        open_study(tmp_path)


def test_an_unknown_rider_is_refused(tiny):
    with pytest.raises(Refusal, match="did you mean 'R01'"):
        open_study(tiny.root).trials_of("R1")
