"""Synthetic studies: same seed same bytes, independence of riders, and the demo as it is committed."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pyarrow import parquet

from analysis_lib.refusals import Refusal
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.planning.frozen_protocol import describe_promises
from analysis_lib.study.planning.protocol_deviations import compare_with_protocol
from analysis_lib.study.synthetic.study_truth import read_truth
from analysis_lib.study.synthetic.synthetic import small_study, write_demo
from analysis_lib.study.synthetic.synthetic_demo import GASES
from analysis_lib.study.synthetic.synthetic_plan import FaultyTrial, LeftOut, NotRidden

DEMO = Path(__file__).resolve().parents[2] / "data_synthetic" / "lantern_hill"


def bytes_below(root: Path) -> dict[str, bytes]:
    return {
        path.relative_to(root).as_posix(): path.read_bytes() for path in root.rglob("*") if path.is_file()
    }


def test_the_same_plan_gives_the_same_bytes_and_another_seed_does_not(tmp_path):
    for name, seed in (("a", 5), ("b", 5), ("c", 6)):
        small_study(tmp_path / name, riders=2, seed=seed)
    first, again, other = (bytes_below(tmp_path / name) for name in "abc")
    assert first == again
    assert first["recordings/R01-P1-easy.parquet"] != other["recordings/R01-P1-easy.parquet"]


def test_a_rider_does_not_depend_on_who_else_rides(tmp_path):
    few = small_study(tmp_path / "few", riders=2)
    many = small_study(tmp_path / "many", riders=4)
    recording = "recordings/R02-P4-hard.parquet"
    assert (tmp_path / "few" / recording).read_bytes() == (tmp_path / "many" / recording).read_bytes()
    assert many.riders[many.riders["rider"] == "R02"]["torque_phase_deg"].tolist() == (
        few.riders[few.riders["rider"] == "R02"]["torque_phase_deg"].tolist()
    )


def test_a_small_study_has_neither_error_nor_note(tmp_path):
    truth = small_study(tmp_path / "study")
    study = open_study(tmp_path / "study")
    assert study.problems == []
    assert len(study.trials) == 4 * 4 * 3 == len(truth.trials)
    assert study.trials["usable"].all()


def test_sequences_are_balanced(tmp_path):
    small_study(tmp_path / "study", riders=6, duration_s=3.0)
    assert open_study(tmp_path / "study").riders["sequence"].value_counts().to_dict() == {
        "ROOR": 3,
        "ORRO": 3,
    }


def test_mishaps_happen_where_they_are_planned(tmp_path):
    small_study(
        tmp_path / "study",
        riders=2,
        duration_s=30.0,
        spider_riders=(2,),
        not_ridden=(NotRidden(1, 4), NotRidden(2, 1, "easy")),
        left_out=(LeftOut(1, 1, "hard", "chain dropped"),),
        faults=(
            FaultyTrial(1, 2, "easy", "left channel stuck"),
            FaultyTrial(1, 3, "hard", "left channel saturated"),
        ),
    )
    study = open_study(tmp_path / "study")
    assert study.errors == []
    assert len(study.trials) == 24 - 3 - 1
    assert study.trials.loc[study.trials["exclude"], "trial"].tolist() == ["R01-P1-hard"]
    assert study.trials.groupby("rider")["recorder"].unique().map(list).to_dict() == {
        "R01": ["two_leg_crank"],
        "R02": ["spider"],
    }
    assert study.load_trial("R01-P2-easy").reasons["stuck channel"] > 5
    with pytest.raises(Refusal, match="saturated channel"):
        study.load_trial("R01-P3-hard")
    assert study.load_trial("R02-P2-easy").layout == "total only"


def test_the_ring_effect_is_a_factor_on_torque(tmp_path):
    # With nothing else varying, torque on the oval ring over torque on the round one is 1 + the rider's effect.
    truth = small_study(
        tmp_path / "study", riders=1, duration_s=3.0, period_effects=(), period_sd=0.0, trial_sd=0.0
    )
    factors = truth.trials.set_index("trial")["torque_factor"]
    rider = truth.riders.set_index("intensity")
    order = open_study(tmp_path / "study").trials.set_index("trial")["ring"]
    half_of_the_tenth_digit = 0.5e-9  # of numbers from 1 to 10: truth.json has ten
    for trial, factor in factors.items():
        effect = rider.loc[trial.split("-")[-1], "ring_effect"]
        wanted = 1 + (effect if order[trial] == "oval" else 0.0)
        assert factor == pytest.approx(wanted, rel=0, abs=half_of_the_tenth_digit)


def test_recordings_are_packed_whole_milli_units(tmp_path):
    small_study(tmp_path / "study", riders=1, duration_s=3.0)
    with parquet.ParquetFile(tmp_path / "study/recordings/R01-P1-easy.parquet") as file:
        assert {str(field.type) for field in file.schema_arrow} == {"int32"}
        group = file.metadata.row_group(0)
        for column in range(group.num_columns):
            assert group.column(column).compression == "ZSTD"
            assert "DELTA_BINARY_PACKED" in group.column(column).encodings
        angle = file.read(columns=["crank_mdeg"]).column(0).to_numpy()
    assert angle.min() >= 0 and angle.max() < 360_000


def test_gases_change_nothing_else_of_a_study(tmp_path):
    small_study(tmp_path / "without", riders=1, duration_s=3.0)
    small_study(tmp_path / "with", riders=1, duration_s=3.0, gases=GASES)
    without, breathed = (pd.read_csv(tmp_path / name / "trials.csv") for name in ("without", "with"))
    assert breathed[without.columns].equals(without)
    recording = "recordings/R01-P4-hard.parquet"
    assert (tmp_path / "with" / recording).read_bytes() == (tmp_path / "without" / recording).read_bytes()


def test_nothing_is_written_over(tmp_path):
    (tmp_path / "mine.txt").write_text("keep me", encoding="utf-8")
    with pytest.raises(Refusal, match="new or empty folder"):
        small_study(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_the_truth_is_read_back(tmp_path):
    written = small_study(tmp_path / "study", riders=2, duration_s=3.0)
    read = read_truth(tmp_path / "study")
    assert read.riders.equals(written.riders) and read.trials.equals(written.trials)
    assert json.loads((tmp_path / "study/generator.json").read_text(encoding="utf-8"))["riders"] == 2
    by_hand = np.mean(read.riders["power_W"] * read.riders["ring_effect"])
    assert read.ring_effect_W() == pytest.approx(by_hand, rel=1e-12)


# --- the demo as committed ---------------------------------------------------------------------------------------


def test_the_demo_is_small_and_complete():
    files = bytes_below(DEMO)
    assert sum(map(len, files.values())) < 8e6
    assert {
        "study.toml",
        "riders.csv",
        "trials.csv",
        "zero_checks.csv",
        "truth.json",
        "generator.json",
        "plan/protocol.json",
    } <= set(files)


def test_the_demo_has_no_error_and_says_what_is_missing():
    study = open_study(DEMO)
    assert study.errors == []
    notes = {note.rider: str(note) for note in study.notes}
    assert set(notes) == {"R02", "R07", "R10"}  # R04's trial is excluded with its reason
    assert study.settings.study.simulated
    assert "9 trials; missing: period 4 at easy, steady, hard –" in notes["R07"]
    assert len(study.riders) == 12 and len(study.trials) == 139


def test_the_demo_s_one_recording_that_cannot_be_used_is_the_one_that_its_readme_names():
    """R09's third trial there is saturated throughout; in the two before, the channel sticks after 20 s."""
    study = open_study(DEMO)
    with pytest.raises(Refusal, match="saturated channel"):
        study.load_trial("R09-P3-hard")
    for stuck in ("R09-P2-steady", "R09-P2-hard"):
        assert "stuck channel" in " ".join(study.load_trial(stuck).cautions)


def test_the_demo_left_its_frozen_protocol_in_two_places():
    deviations = [str(deviation.sentence()) for deviation in compare_with_protocol(open_study(DEMO))]
    assert deviations == [
        "Rider R06, period 3, order of intensities: planned Hard (RPE 16), Steady (RPE 13), Easy (RPE 11); found Easy"
        " (RPE 11), Steady (RPE 13), Hard (RPE 16).",
        "Trial R04-P1-hard: planned exclusion by a rule of the protocol; found excluded: chain dropped during the"
        " effort.",
    ]


def test_the_demo_was_ridden_as_its_protocol_allocated():
    protocol = json.loads((DEMO / "plan/protocol.json").read_text(encoding="utf-8"))
    assert protocol["trials_listed_when_frozen"] == 0
    assert protocol["promised"] == describe_promises(open_study(DEMO).settings)
    concealed = (DEMO / "plan/allocation_concealed.csv").read_text(encoding="utf-8")
    assert "ROOR" not in concealed and "ORRO" not in concealed
    rings = pd.read_csv(DEMO / "plan/schedule_open.csv").query("ride == 'trial'")
    ridden = pd.read_csv(DEMO / "trials.csv").merge(rings, on=["rider", "period", "intensity"])
    assert len(ridden) == 139 and (ridden["ring_x"] == ridden["ring_y"]).all()


def test_the_demo_holds_no_path_outside_itself():
    for name, content in bytes_below(DEMO).items():
        if not name.endswith((".parquet", ".csv")):
            assert b"/home" not in content and b"/tmp" not in content and b"C:\\" not in content


def test_the_generator_still_writes_the_committed_demo(tmp_path):
    write_demo(tmp_path / "demo")
    fresh, committed = bytes_below(tmp_path / "demo"), bytes_below(DEMO)
    assert set(fresh) == set(committed)
    text = [name for name in fresh if not name.endswith(".parquet") and name != "datapackage.json"]
    assert [name for name in text if fresh[name] != committed[name]] == []
    # Another version of the Parquet writer may pack the same numbers into other bytes, so numbers are compared.
    for name in fresh:
        if name.endswith("P3-hard.parquet"):
            assert parquet.read_table(tmp_path / "demo" / name).equals(parquet.read_table(DEMO / name)), name
