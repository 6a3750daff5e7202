"""What the study's page says when the design or the recorder cannot carry an answer."""

import json
import tracemalloc
from dataclasses import replace

import pandas as pd
import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.packed_rows import BATCH
from analysis_lib.reports.rider import rider_exhibits, rider_words
from analysis_lib.reports.rider.rider_analysis import analyse_rider
from analysis_lib.reports.study import curve_exhibits, study_exhibits, study_words
from analysis_lib.reports.study.study_gathering import analyse_study
from analysis_lib.reports.study.study_results import write_results
from analysis_lib.statistics.curves import paired_curves
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.synthetic import small_study
from analysis_lib.study.synthetic.synthetic_plan import DEMO_INTENSITIES


@pytest.fixture(scope="module")
def one_sequence(tmp_path_factory):
    folder = tmp_path_factory.mktemp("one") / "study"
    orders = {"RO": ("round", "oval")}
    small_study(folder, riders=4, duration_s=6.0, sequences=orders, intensities=DEMO_INTENSITIES[:1])
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
    assert list(flow["trials_planned"]) == [4, 4]
    assert list(flow["used"]) == [4, 4]


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


@pytest.fixture(scope="module")
def two_sequences(tmp_path_factory):
    folder = tmp_path_factory.mktemp("two") / "study"
    orders = {"RO": ("round", "oval"), "OR": ("oval", "round")}
    small_study(folder, riders=6, duration_s=6.0, sequences=orders, intensities=DEMO_INTENSITIES[:2])
    return analyse_study(str(folder))


def test_the_row_without_cautions_leaves_out_the_doubtful_trials_and_no_other(two_sequences):
    """By hand: oval − round of each rider, the mean of the two sequences' means; R01 loses one intensity."""
    power = two_sequences.outcomes[0]
    trials = two_sequences.trials
    doubtful = trials["trial"] == trials.loc[trials["rider"] == "R01", "trial"].iloc[0]
    two_sequences.__dict__["trials"] = trials.assign(state=doubtful.map({True: "caution", False: "used"}))
    effect = two_sequences.effect_without_caution(power)
    two_sequences.__dict__["trials"] = trials.assign(state="used")
    assert two_sequences.effect_without_caution(power) is None
    two_sequences.__dict__["trials"] = trials
    lost = trials.loc[doubtful, "intensity"].iloc[0]
    rows = two_sequences.quantities.query("quantity == 'power_W' and intensity == @lost and rider != 'R01'")
    wide = rows.pivot_table(index=["sequence", "rider"], columns="ring", values="value")
    by_hand = (wide["oval"] - wide["round"]).groupby("sequence").mean().mean()
    assert effect.estimates[lost].value == pytest.approx(by_hand, rel=1e-9)
    assert effect.estimates[lost].n == 5


def test_results_hold_the_tests_that_the_page_states(two_sequences, tmp_path):
    write_results(two_sequences, str(tmp_path))
    first = json.loads((tmp_path / "results.json").read_text())["outcomes"][0]
    tests = {row.get("question"): row for row in first["tests"]}
    assert {"too small to matter, overall", "change per step of intensity", "relabelling"} <= set(tests)
    assert tests["relabelling"]["p"] >= tests["relabelling"]["smallest possible p"] > 0


def test_curves_are_adjusted_for_sequence_only_where_three_riders_share_one(two_sequences):
    """Six riders in two sequences are three a sequence; without the last of each, flips can cancel every pair."""
    riders = two_sequences.quantities.drop_duplicates("rider").set_index("rider")["sequence"]
    assert list(two_sequences.sequences_of(riders.index)) == list(riders)
    pairs = riders.groupby(riders).head(2)
    assert list(pairs.value_counts()) == [2, 2]
    assert two_sequences.sequences_of(pairs.index) is None


def test_a_band_says_whether_it_is_adjusted_for_sequence(two_sequences):
    curve = two_sequences.curve_effect("easy")
    assert "or signs, adjusted for sequence)" in curve_exhibits.curve_exhibit({"easy": curve}).caption
    plain = paired_curves(two_sequences.curve_differences("easy").to_numpy())
    assert "not adjusted for sequence" in curve_exhibits.curve_exhibit({"easy": plain}).caption


def test_memory_hardly_grows_with_riders(two_sequences):
    """Twelve trials a rider, as in the demo: profiles of 4320 rows with five numbers of 8 bytes hold 173 kB, the mean
    curves of 2 rings, 3 intensities and 3 channels 52 kB; neither may be kept. Trials, outcomes and the budgets of one
    of them hold some 8 kB, their words aside. Those of a batch, or one rider's profiles, stand beside them while they
    are gathered."""
    one = two_sequences.tables["R01"]
    profiles = pd.concat([one.profiles.assign(trial=one.profiles["trial"] + again) for again in "abc"])
    whole = replace(one, profiles=profiles)
    peaks = [
        _peak_bytes(replace(two_sequences, tables=dict.fromkeys(range(riders), whole)))
        for riders in (BATCH, 3 * BATCH)
    ]
    assert (peaks[1] - peaks[0]) / (2 * BATCH) < 20_000


def _peak_bytes(analysis):
    tracemalloc.start()
    try:
        _ = (
            analysis.trials,
            analysis.quantities,
            analysis.mean_curves("total", "steady"),
            analysis.budgets_of(analysis.outcomes[0]),
        )
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
