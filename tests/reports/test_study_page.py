"""What the study's page says when the design or the recorder cannot carry an answer."""

import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.reports import rider_exhibits, rider_words, study_exhibits, study_words
from analysis_lib.reports.rider_analysis import analyse_rider
from analysis_lib.reports.study_analysis import analyse_study
from analysis_lib.study.folder import open_study
from analysis_lib.study.synthetic import small_study


@pytest.fixture(scope="module")
def one_sequence(tmp_path_factory):
    folder = tmp_path_factory.mktemp("one") / "study"
    small_study(folder, riders=4, duration_s=6.0, sequences={"RO": ("round", "oval")})
    return analyse_study(str(folder))


@pytest.fixture(scope="module")
def left_only(tmp_path_factory):
    folder = tmp_path_factory.mktemp("left") / "study"
    small_study(
        folder, riders=2, duration_s=6.0, sequences={"RO": ("round", "oval"), "OR": ("oval", "round")}
    )
    settings = (folder / "study.toml").read_text().splitlines()
    (folder / "study.toml").write_text("\n".join(line for line in settings if "torque_right_Nm" not in line))
    (folder / "datapackage.json").unlink()
    return open_study(folder)


def test_one_sequence_is_said_in_the_answer_itself(one_sequence):
    answer = " ".join(study_words.answer(one_sequence))
    assert "one sequence (RO)" in answer
    assert "none of them can be ascribed to the ring" in answer


def test_one_sequence_has_a_flow_table_that_accounts_for_every_planned_trial(one_sequence):
    flow = study_exhibits.flow_table(one_sequence).frame
    assert list(flow["trials_planned"]) == [12, 12]
    assert list(flow["used"]) == [12, 12]


def test_axes_near_the_end_of_the_half_turn_are_neighbours(one_sequence):
    phase = next(part for part in one_sequence.outcomes if part.name == "torque_phase_deg")
    rows = one_sequence.quantities
    turned = rows.assign(
        value=rows["value"].where(rows["quantity"] != phase.name, (rows["value"] + 80) % 180)
    )
    one_sequence.__dict__["quantities"] = turned
    values = one_sequence.outcome_table(phase)[phase.label]
    one_sequence.__dict__["quantities"] = rows
    assert values.max() - values.min() < 30


def test_one_leg_gives_a_page_that_draws_that_leg_and_invents_no_other(left_only):
    analysis = analyse_rider(left_only, "R01")
    assert "left leg alone" in rider_exhibits.torque_exhibit(analysis).caption
    assert any("doubles the recorded leg" in line for line in rider_words.answer(analysis))
    known = set(analysis.quantities["quantity"])
    assert not {"left_share_pct", "torque_phase_deg", "mean_torque_Nm"} & known
    assert "power_W" in known
    assert any("twice the left leg's" in line for line in rider_words.trust(analysis))
    with pytest.raises(Refusal, match="total"):
        _ = analysis.mount_advice
    assert analysis.tables.meter.empty
