"""Repeats of trials whose values are known, against textbook formulas done by hand in numpy."""

import numpy as np
import pytest
from fabricated import LEVEL_W, ORDERS, fabricate
from scipy import stats

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits import coverage_exhibits
from analysis_lib.reports.measurement import (
    agreement_exhibits,
    meter_readings,
    repeatability_exhibits,
    repeatability_words,
    turns_exhibits,
)
from analysis_lib.reports.measurement.repeated_trials import RepeatedTrials

MISSING = (("R02", 4, "hard"),)


@pytest.fixture(scope="module")
def repeats(tmp_path_factory):
    study = fabricate(tmp_path_factory.mktemp("repeats") / "study")
    return RepeatedTrials(study.study, study.tables, "power_W")


@pytest.fixture(scope="module")
def gappy(tmp_path_factory):
    study = fabricate(tmp_path_factory.mktemp("gappy") / "study", missing=MISSING)
    return RepeatedTrials(study.study, study.tables, "power_W")


def _differences(repeats, intensity, ring):
    wide = repeats.complete(intensity, ring).pivot_table(index="rider", columns="repeat", values="value")
    return (wide[1] - wide[2]).to_numpy()


def test_repeats_are_numbered_by_the_design_so_that_a_missed_period_leaves_a_gap(gappy):
    trials = gappy.trials
    for row in trials.itertuples():
        assert row.repeat == ORDERS[row.sequence][: row.period].count(row.ring)
    rider = trials[(trials["rider"] == "R02") & (trials["intensity"] == "hard")]
    lost = ORDERS[rider["sequence"].iloc[0]][3]
    assert list(rider.loc[rider["ring"] == lost, "repeat"]) == [1]
    assert "R02" not in set(gappy.complete("hard", lost)["rider"])
    assert "R02" in set(gappy.complete("easy", lost)["rider"])


def test_typical_error_is_the_sd_of_differences_over_the_root_of_two(repeats):
    # Hopkins, Sports Med 2000;30:1
    frame = repeatability_exhibits.error_table(repeats).frame.set_index(["intensity", "ring"])
    assert len(frame) == 2 * 4
    for intensity, ring in frame.index:
        expected = _differences(repeats, intensity, ring).std(ddof=1) / np.sqrt(2)
        assert frame.loc[(intensity, ring), "error"] == pytest.approx(expected, rel=1e-9)
        # Weir 2005: minimal difference 1.96 √2 SEM; 1.96 is the normal point, 1.95996
        assert frame.loc[(intensity, ring), "change"] == pytest.approx(1.96 * np.sqrt(2) * expected, rel=3e-5)


def test_error_in_percent_follows_the_error_in_watts(repeats):
    frame = repeatability_exhibits.error_table(repeats).frame
    assert np.allclose(frame["cv_pct"], 100 * frame["error"] / frame["mean"], rtol=0.1)


def test_riders_far_apart_give_six_high_correlations_with_their_meaning(repeats):
    frame = repeatability_exhibits.icc_table(repeats).frame
    assert list(frame["form"]) == ["ICC(1,1)", "ICC(2,1)", "ICC(3,1)", "ICC(1,k)", "ICC(2,k)", "ICC(3,k)"]
    assert (frame["icc"] > 0.9).all()
    assert frame["use"].str.len().min() > 20
    assert len(repeatability_exhibits.icc_by_cell_table(repeats).frame) == 2 * 2 * 4


def test_agreement_of_single_and_linked_pairs(repeats):
    found = agreement_exhibits.agreements(repeats)
    rows = [f"{name}, {ring} ring" for name in LEVEL_W for ring in ("round", "oval")]
    assert list(found)[:7] == [*rows, agreement_exhibits.LINKED]
    single = _differences(repeats, "easy", "oval")
    assert found["easy, oval ring"].bias == pytest.approx(single.mean(), abs=1e-9)
    assert found["easy, oval ring"].sd == pytest.approx(single.std(ddof=1), rel=1e-9)
    linked = found[agreement_exhibits.LINKED]
    assert (linked.n, linked.n_pairs) == (8, 48)
    pairs = repeats.pairs
    assert linked.bias == pytest.approx((pairs["first"] - pairs["second"]).mean(), abs=1e-9)
    assert "48 pairs" in agreement_exhibits.agreement_exhibit(repeats, linked).alt


def test_turns_needed_are_the_fewest_that_are_enough(repeats):
    frame = turns_exhibits.turns_table(repeats).frame.set_index("intensity")
    # Standard error 0.5 of 80 turns worth 40: SD between turns 0.5 √40, half of them independent
    assert np.allclose(frame["turn_sd"], 0.5 * np.sqrt(40))
    assert np.allclose(frame["share"], 0.5)
    for intensity, row in frame.iterrows():
        margin = 0.5 * row["error"]
        half = [stats.t.ppf(0.975, m - 1) * row["turn_sd"] / np.sqrt(m) for m in range(2, 4000)]
        fewest = 2 + int(np.argmax(np.array(half) <= margin))
        assert row["median_0.5"] == 2 * fewest, intensity


def test_an_outcome_without_turns_is_refused(repeats):
    bare = RepeatedTrials(repeats.study, repeats.riders, "power_W")
    bare.__dict__["trials"] = repeats.trials.assign(se=np.nan)
    with pytest.raises(Refusal, match="no standard error from turns"):
        turns_exhibits.turns_table(bare)


def test_an_unknown_quantity_is_refused_with_the_known_ones(repeats):
    with pytest.raises(Refusal, match="power_W"):
        _ = RepeatedTrials(repeats.study, repeats.riders, "pwr").trials


def test_a_design_without_repeats_is_refused(tmp_path):
    once = fabricate(tmp_path / "once", riders=4, orders={"RO": ("round", "oval"), "OR": ("oval", "round")})
    with pytest.raises(Refusal, match="two periods"):
        repeatability_words.answer(RepeatedTrials(once.study, once.tables, "power_W"))


def test_meters_read_wrong_on_the_oval_ring_alone(repeats):
    readings = meter_readings.meter_readings(repeats)
    assert len(readings) == 96 * 6
    errors = readings["meter_W"] / readings["power_W"] - 1
    on_round = readings["ring"] == "round"
    assert errors[on_round].abs().max() < 1e-12
    one = ~on_round & (readings["sectors"] == 1)
    # To first order −0.03 ⟨T cos 2θ⟩/⟨T⟩, with torque 20 [1 + 0.6 cos 2(θ − 100°)] and a bump of 2 N m and SD 15° at 0°
    bump = 2 * 15 * np.sqrt(2 * np.pi) / 360
    lean = 6 * np.cos(np.radians(200)) + bump * np.exp(-2 * np.radians(15) ** 2)
    assert errors[one].mean() == pytest.approx(-0.03 * lean / (20 + bump), rel=0.02)
    # Half a turn repeats itself but for the noise, so two readings tell no more than one
    two = ~on_round & (readings["sectors"] == 2)
    assert errors[two].mean() == pytest.approx(errors[one].mean(), rel=0.02)


def test_the_study_with_each_meter_stands_beside_the_study(repeats):
    readings = meter_readings.meter_readings(repeats)
    frame = meter_readings.meter_effect_table(readings).frame.set_index("readings")
    assert list(frame.index) == ["measured", "1", "2", "4", "8", "16", "32"]
    oval = readings[(readings["ring"] == "oval") & (readings["sectors"] == 1)]
    added = (oval["meter_W"] - oval["power_W"]).mean()
    assert frame.loc["1", "estimate"] - frame.loc["measured", "estimate"] == pytest.approx(added, rel=1e-6)


def test_words_say_what_one_rider_can_show(repeats):
    words = " ".join(repeatability_words.beside_what_matters(repeats) + repeatability_words.doubts(repeats))
    assert "declared as 4 W" in words
    assert "smallest cell rests on 8 riders" in words


def test_the_committed_error_rates_are_those_promised():
    frame = coverage_exhibits.coverage_table().frame
    assert set(frame["riders"]) == {6, 8, 12, 20}
    # Least squares over several rings takes riders' responses to all of them for alike; what it costs where they are
    # not is shown, and stays below two in a hundred
    unlike = frame["analysis"].str.endswith("on one ring alone")
    assert (frame.loc[unlike, "coverage"] > 0.93).all()
    kept = frame[~frame["analysis"].str.startswith("warning") & ~unlike]
    held = kept.dropna(subset=["coverage"])
    assert (held["coverage"] >= held["promised_coverage"] - 4 * held["simulation_se"]).all()
    tested = kept.dropna(subset=["type_1_error"])
    assert (tested["type_1_error"] <= tested["promised_error"] + 4 * tested["simulation_se"]).all()
    warned = frame[frame["analysis"].str.startswith("warning")]
    assert (warned["coverage"] < 0.85).all()
