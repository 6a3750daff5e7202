"""Zero checks of force channels, from zero_checks.csv to the trial's torque."""

import numpy as np
import pandas as pd
import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.corrections.trial_budget import trial_budgets

FORCES = """columns.force_fore_aft_left_N = { column = "al", unit = "N" }
columns.force_vertical_left_N = { column = "vl", unit = "N" }
columns.force_tangential_right_N = { column = "tr", unit = "N" }"""
ZERO_AFT_N, ZERO_UP_N, ZERO_ACROSS_N = 6.0, -4.0, 3.0
LENGTH_M = 0.1725  # crank of R01


@pytest.fixture
def forces(tiny):
    """Trial T1 with forces instead of torque, each with a constant zero of its own."""
    tiny.replace("study.toml", 'columns.torque_Nm = { column = "torque", unit = "N m" }', FORCES)
    time = np.arange(0, 20, 0.01)
    crank = 2 * np.pi * 1.5 * time
    left = 120 * (1 + np.sin(crank + np.pi)) / 2
    table = {
        "t": time,
        "angle": np.degrees(crank) % 360,
        # Tangential force of the left leg, whose own crank is half a turn on: (F cos θ, −F sin θ).
        "al": left * np.cos(crank - np.pi) + ZERO_AFT_N,
        "vl": -left * np.sin(crank - np.pi) + ZERO_UP_N,
        "tr": 130 * (1 + np.sin(crank)) / 2 + ZERO_ACROSS_N,
    }
    pd.DataFrame(table).to_csv(tiny.root / "recordings" / "T1.csv", index=False)
    (tiny.root / "zero_checks.csv").write_text(
        "recorder,checked_at,temperature_C,zero_left_Nm,zero_right_Nm,zero_total_Nm,note,"
        "zero_force_fore_aft_left_N,zero_force_vertical_left_N,zero_force_tangential_right_N\n"
        f"crank,2026-03-02T08:55:00,18,,,,,{ZERO_AFT_N},{ZERO_UP_N},{ZERO_ACROSS_N}\n"
        f"crank,2026-03-02T09:05:00,18,,,,,{ZERO_AFT_N},{ZERO_UP_N},{ZERO_ACROSS_N}\n"
    )
    return tiny


def test_forces_lose_their_zero_before_they_count_as_torque(forces):
    result = open_study(forces.root).load_trial("T1")
    # Means of the forces over whole turns: 60 and 65 N.
    assert result.value("mean_torque_left_Nm") == pytest.approx(60 * LENGTH_M, rel=1e-4)
    assert result.value("mean_torque_right_Nm") == pytest.approx(65 * LENGTH_M, rel=1e-4)
    profile = result.profile("left")
    expected = 120 * LENGTH_M * (1 + np.sin(np.radians(profile.crank_deg))) / 2
    np.testing.assert_allclose(profile.mean, expected, atol=0.01)
    assert not [said for said in result.assumptions if "never checked" in said]
    assert result.quality["zero_drift_Nm"] == 0.0


def test_a_tangential_force_may_still_have_its_zero_as_torque(forces):
    table = pd.read_csv(forces.root / "zero_checks.csv").drop(columns="zero_force_tangential_right_N")
    table["zero_right_Nm"] = ZERO_ACROSS_N * LENGTH_M
    table.to_csv(forces.root / "zero_checks.csv", index=False)
    result = open_study(forces.root).load_trial("T1")
    assert result.value("mean_torque_right_Nm") == pytest.approx(65 * LENGTH_M, rel=1e-4)


def test_a_misspelt_force_column_is_told_its_right_name(forces):
    forces.replace("zero_checks.csv", "zero_force_vertical_left_N", "zero_force_vertcal_left_N")
    notes = [str(note) for note in open_study(forces.root).notes]
    (said,) = [note for note in notes if "vertcal" in note]
    assert "rename 'zero_force_vertcal_left_N' to 'zero_force_vertical_left_N'" in said


def test_a_misspelt_column_is_renamed_forwards(tiny):
    tiny.replace("trials.csv", "mount_deg", "mount_dg")
    with pytest.raises(ValueError, match="rename 'mount_dg' to 'mount_deg'"):
        open_study(tiny.root)


CHECKED = [("08:00", 15), ("08:20", 21), ("08:40", 17), ("09:05", 18), ("09:20", 22), ("09:40", 16)]


def by_temperature(forces, checked=CHECKED):
    """A force zero that follows temperature; the trial is ridden at 19 °C. Newtons at 18 °C and a degree from there."""
    forces.replace(
        "study.toml", "[recorders.crank]", '[rules]\nzero_model = "temperature"\n[recorders.crank]'
    )
    forces.replace(
        "study.toml", FORCES, FORCES + '\ncolumns.temperature_C = { column = "warm", unit = "degC" }'
    )
    path = forces.root / "recordings" / "T1.csv"
    table = pd.read_csv(path).assign(warm=19.0)
    slopes = {"al": 0.5, "vl": -0.3, "tr": 0.8}
    table[list(slopes)] += list(slopes.values())  # one degree above 18 °C
    table.to_csv(path, index=False)
    zero = {"al": ZERO_AFT_N, "vl": ZERO_UP_N, "tr": ZERO_ACROSS_N}
    lines = (forces.root / "zero_checks.csv").read_text().splitlines()[:1]
    for at, warm in checked:
        read = [f"{zero[name] + slopes[name] * (warm - 18):.3f}" for name in slopes]
        lines.append(f"crank,2026-03-02T{at}:00,{warm},,,,,{','.join(read)}")
    (forces.root / "zero_checks.csv").write_text("\n".join([*lines, ""]))
    return open_study(forces.root)


def test_force_zeros_may_follow_temperature(forces):
    study = by_temperature(forces)
    result = study.load_trial("T1")
    assert result.value("mean_torque_left_Nm") == pytest.approx(60 * LENGTH_M, rel=1e-4)
    assert result.value("mean_torque_right_Nm") == pytest.approx(65 * LENGTH_M, rel=1e-4)
    profile = result.profile("left")
    expected = 120 * LENGTH_M * (1 + np.sin(np.radians(profile.crank_deg))) / 2
    np.testing.assert_allclose(profile.mean, expected, atol=0.01)
    (said,) = [said for said in result.assumptions if "fit of all zero checks" in said]
    assert said.startswith("Zero of pedal forces")
    inputs = trial_budgets(result, study.settings.recorders["crank"])["power"].to_frame()["input"].tolist()
    assert "zero torque, fit of all checks" in inputs


def test_scatter_of_the_force_checks_reaches_the_budget(forces):
    """Checks of the tangential force 0.5 N too high and too low by turns: its least squares, redone by numpy."""
    by_temperature(forces)
    path = forces.root / "zero_checks.csv"
    table = pd.read_csv(path)
    table["zero_force_tangential_right_N"] += [0.5, -0.5, 0.5, -0.5, 0.5, -0.5]
    table.to_csv(path, index=False)
    study = open_study(forces.root)
    result = study.load_trial("T1")
    hours = np.array([int(at[:2]) + int(at[3:]) / 60 for at, _ in CHECKED])
    design = np.column_stack([np.ones(6), [warm for _, warm in CHECKED], hours])
    _, squares, *_ = np.linalg.lstsq(design, table["zero_force_tangential_right_N"].to_numpy())
    here = np.array([1, 19.0, 9 + 10 / 3600])  # the middle of twenty seconds from nine o'clock
    force_N = np.sqrt(here @ np.linalg.inv(design.T @ design) @ here * squares[0] / 3)
    assert result.quality["zero_fit_right_Nm"] == pytest.approx(force_N * LENGTH_M, rel=1e-3)
    assert (result.quality["zero_fit_left_Nm"], result.quality["zero_fit_df"]) == (0.0, 3.0)
    budget = trial_budgets(result, study.settings.recorders["crank"])["torque"].to_frame().set_index("input")
    assert budget.loc["zero torque, fit of all checks", "contribution"] == pytest.approx(
        force_N * LENGTH_M, rel=1e-3
    )


def test_too_few_force_checks_are_refused_by_the_name_of_their_channel(forces):
    study = by_temperature(forces, CHECKED[2:4])
    with pytest.raises(Refusal, match="zero checks of channel 'fore_aft_left' – got 2 checks") as caught:
        study.load_trial("T1")
    assert (caught.value.scope, caught.value.trial) == ("trial", "T1")


def test_a_zero_force_is_held_to_the_torque_that_it_makes_on_a_crank(forces):
    """20 N·m on a crank of 170 mm are 117.6 N, and the 300 N·m that no riding reaches 1765 N."""
    forces.replace("zero_checks.csv", f"{ZERO_AFT_N},{ZERO_UP_N},{ZERO_ACROSS_N}", f"110,{ZERO_UP_N},125")
    (caution,) = open_study(forces.root).cautions
    assert "column zero_force_tangential_right_N – got 125 N – wanted at most 117.6 N" in str(caution)
    forces.replace("zero_checks.csv", f"110,{ZERO_UP_N},125", f"110,{ZERO_UP_N},1800")
    errors = [error for error in open_study(forces.root).errors if "got 1800 N – wanted" in str(error)]
    assert "T1" in {error.trial for error in errors} and "write it in N, whatever" in str(errors[0])
