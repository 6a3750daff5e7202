"""Another meter's power of the same trials, put into the study by arithmetic or into its trials.csv."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from edits import edit_table
from fabricated import fabricate

from analysis_lib.refusals import Refusal
from analysis_lib.reports.measurement import second_meter
from analysis_lib.reports.measurement.repeated_trials import RepeatedTrials, gather_repeats
from analysis_lib.study.synthetic.synthetic import small_study

MORE_W, MORE_ON_OVAL_W = 3.0, 4.0


@pytest.fixture(scope="module")
def repeats(tmp_path_factory):
    """A meter that shows 3 W more than the recorder, on the oval ring 7 W, give or take 0.5 W."""
    study = fabricate(tmp_path_factory.mktemp("second") / "study")
    rng = np.random.default_rng(8)
    tables = {}
    for rider, parts in study.tables.items():
        power = parts.quantities["value"] + MORE_W + MORE_ON_OVAL_W * (parts.quantities["ring"] == "oval")
        shown = (power + 0.5 * rng.standard_normal(len(power))).round(2)
        tables[rider] = replace(parts, trials=parts.trials.assign(other=shown.to_numpy().astype(str)))
    return RepeatedTrials(study.study, tables, "power_W")


def test_bias_and_limits_by_ring_are_those_of_the_differences(repeats):
    """Bland & Altman 2007, their eq. for varying truth, done again from the one-way analysis of variance."""
    both = second_meter.second_meter(repeats, "other")
    found = second_meter.second_meter_agreements(both)
    assert found["round"].bias == pytest.approx(MORE_W, abs=0.3)
    assert found["oval"].bias == pytest.approx(MORE_W + MORE_ON_OVAL_W, abs=0.3)
    here = both[both["ring"] == "oval"]
    riders = [group.to_numpy() for _, group in here.groupby("rider")["difference"]]
    each = len(riders[0])
    within = np.mean([one.var(ddof=1) for one in riders])
    between = each * np.var([one.mean() for one in riders], ddof=1)
    sd = np.sqrt(within + (between - within) / each)
    assert found["oval"].upper - found["oval"].bias == pytest.approx(1.96 * sd, rel=3e-5)  # 1.95996
    frame = second_meter.second_meter_table(found).frame
    assert frame["compared"].tolist() == ["round", "oval", "both rings"]
    assert (frame["pairs"].tolist(), frame["riders"].tolist()) == ([48, 48, 96], [8, 8, 8])
    assert len(second_meter.second_meter_exhibit(both, found).data) == 96


def test_a_ring_that_changes_the_meter_is_said(repeats):
    said = second_meter.ring_change_sentence(second_meter.second_meter(repeats, "other"))
    moved = float(said.split("moves by +")[1].split(" W")[0])
    assert moved == pytest.approx(MORE_ON_OVAL_W, abs=0.3)
    assert "the ring changes what it reads" in said


def test_a_meter_that_the_ring_leaves_alone(repeats):
    steady = second_meter.second_meter(repeats, "other")
    steady["difference"] -= MORE_ON_OVAL_W * (steady["ring"] == "oval")
    assert "no change with the ring is shown" in second_meter.ring_change_sentence(steady)


def test_trials_without_the_other_meter_are_left_out_and_what_is_no_number_is_named(repeats):
    tables = dict(repeats.riders)
    shown = tables["R01"].trials["other"].copy()
    shown.iloc[0] = ""
    tables["R01"] = replace(tables["R01"], trials=tables["R01"].trials.assign(other=shown))
    assert len(second_meter.second_meter(replace(repeats, riders=tables), "other")) == 95
    shown.iloc[1] = "212,5"
    tables["R01"] = replace(tables["R01"], trials=tables["R01"].trials.assign(other=shown))
    with pytest.raises(Refusal, match=r"trial R01-P1-steady, column other – got '212,5'"):
        second_meter.second_meter(replace(repeats, riders=tables), "other")


def test_no_column_and_too_few_riders_are_refused(repeats):
    with pytest.raises(Refusal, match="no column named"):
        second_meter.second_meter(repeats, "")
    with pytest.raises(Refusal, match=r"no column 'othr' in trials\.csv"):
        second_meter.second_meter(repeats, "othr")
    both = second_meter.second_meter(repeats, "other")
    with pytest.raises(Refusal, match="2 riders with both"):
        second_meter.second_meter_agreements(both[both["rider"].isin(["R01", "R02"])])


def test_the_column_of_a_study_folder_reaches_the_comparison(tmp_path):
    small_study(tmp_path / "study", riders=3, duration_s=12.0)
    shown = {}

    def add(table):
        shown.update({trial: 200.0 + place % 5 for place, trial in enumerate(table["trial"])})
        return table.assign(wheel_W=[f"{shown[trial]:.1f}" for trial in table["trial"]])

    edit_table(tmp_path / "study", "trials.csv", add)
    both = second_meter.second_meter(gather_repeats(str(tmp_path / "study"), "power_W"), "wheel_W")
    assert dict(zip(both["trial"], both["other_W"], strict=True)) == shown
    np.testing.assert_allclose(both["difference"], both["other_W"] - both["power_W"])
    assert both["power_W"].between(100, 400).all()
    assert set(second_meter.second_meter_agreements(both)) == {"round", "oval", "both rings"}
