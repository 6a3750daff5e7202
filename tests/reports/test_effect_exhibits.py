"""What the study's page shows of an effect that is known."""

import re
from dataclasses import replace

import numpy as np
import pytest
from captions import LONGEST
from fabricated import EFFECT_W, ORDERS, fabricate

from analysis_lib.refusals import Refusal
from analysis_lib.reports.study import (
    curve_exhibits,
    effect_exhibits,
    individual_exhibits,
    sensitivity_exhibits,
    study_exhibits,
    study_words,
)
from analysis_lib.reports.study.sister_analyses import (
    FIXED,
    MIXED,
    MIXED_BY_INTENSITY,
    PRIMARY,
    RELABELLED,
    sister_analyses,
)

MISSING = (("R02", 4, "hard"), ("R03", 1, "easy"))


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return fabricate(tmp_path_factory.mktemp("fabricated") / "study")


@pytest.fixture(scope="module")
def gappy(tmp_path_factory):
    return fabricate(tmp_path_factory.mktemp("gappy") / "study", missing=MISSING)


@pytest.fixture(scope="module")
def sisters(study):
    return sister_analyses(study, study.outcomes[0])


def test_the_effect_by_intensity_is_what_was_put_in(study):
    outcome = study.outcomes[0]
    frame = effect_exhibits.effect_table(outcome, study.effect(outcome)).frame.set_index("intensity")
    for intensity, watts in EFFECT_W.items():
        assert frame.loc[intensity, "low"] < watts < frame.loc[intensity, "high"]
    assert frame.loc["overall", "p_holm"] != frame.loc["overall", "p_holm"]
    assert (frame["p_holm"].dropna() >= frame["p"].iloc[:3]).all()


def test_intervals_that_hold_together_are_longer_and_none_stands_beside_the_mean(study):
    frame = effect_exhibits.add_simultaneous(study.effect(study.outcomes[0])).set_index("intensity")
    singles = frame.loc[list(EFFECT_W)]
    assert (singles["low_together"] < singles["low"]).all()
    assert (singles["high_together"] > singles["high"]).all()
    assert np.isnan(frame.loc["overall", "low_together"])


def test_trend_and_interaction_stand_in_the_words(study):
    words = " ".join(study_words.intensity_sentences(study.effect(study.outcomes[0])))
    assert "per step of intensity" in words
    assert "Hotelling" in words


def test_every_ring_in_every_period_has_its_row(study):
    frame = effect_exhibits.period_means_table(study, study.outcomes[0]).frame
    assert len(frame) == 3 * 2 * 4
    assert (frame["n"] == 4).all()
    # Riders of one sequence ride one ring a period, as the design says
    for row in frame.itertuples():
        assert ORDERS[row.sequence][row.period - 1] == row.ring


def test_missing_cells_are_named_with_their_place(gappy):
    frame = study_exhibits.set_aside_table(gappy).frame
    found = {(row.rider, row.period, row.intensity) for row in frame.itertuples()}
    assert found == set(MISSING)
    assert (frame["reason"] == "not in trials.csv").all()
    flow = study_exhibits.flow_table(gappy).frame
    assert flow["not_listed"].sum() == 2
    assert (flow["trials_planned"] == flow["not_listed"] + flow["set_aside"] + flow["used"]).all()


def test_the_answer_begins_with_the_estimate_and_its_interval(study):
    outcome = study.outcomes[0]
    bounds = study.effect(outcome).to_frame().set_index("intensity").loc["overall"]
    shown = re.match(
        r"Primary outcome: .*, oval − round, overall: ([+−][\d.]+) W \(95 % interval (−?[\d.]+) to (−?[\d.]+) W;"
        r" n = 8, df = 6\)\. Verdict: (equivalent|difference|undecided)\. ",
        study_words.answer(study)[0],
    )
    numbers = [float(part.replace("−", "-")) for part in shown.groups()[:3]]
    # two digits of the standard error are shown
    assert numbers == pytest.approx(list(bounds[["estimate", "low", "high"]]), abs=0.05 * bounds["se"])


def test_the_floor_of_the_relabelling_test_is_said(study):
    words = " ".join(study_words.relabelled(study, study.outcomes[0]))
    # 2 of the 70 ways to choose 4 of 8 riders: 0.0286
    assert "0.029" in words
    assert "not quite the primary one" not in words


def test_the_relabelling_estimate_is_explained_where_trials_are_missing(gappy):
    assert "not quite the primary one" in " ".join(study_words.relabelled(gappy, gappy.outcomes[0]))


def test_complete_trials_give_one_estimate_by_every_analysis(sisters):
    overall = sisters.overall.set_index("analysis")["estimate"]
    assert {PRIMARY, RELABELLED, MIXED, FIXED} <= set(overall.index)
    assert np.allclose(overall, overall[PRIMARY], rtol=1e-6)


def test_agreement_is_said_only_where_it_is_there(sisters):
    alike = replace(sisters, frame=sisters.frame.assign(verdict="undecided"))
    assert "All 5 analyses say undecided" in alike.agreement_sentence()
    assert "mixed model agree:" in alike.fixed_against_mixed_sentence()
    assert not alike.single_sentences()
    torn = alike.frame.copy()
    torn.loc[torn["analysis"] == FIXED, "verdict"] = "difference"
    split = replace(sisters, frame=torn)
    assert "do not agree on the verdict" in split.agreement_sentence()
    assert "do not agree" in split.fixed_against_mixed_sentence()
    assert len(split.single_sentences()) == 3


def test_an_analysis_that_is_refused_keeps_its_reason(tmp_path):
    one = fabricate(tmp_path / "one", riders=4, orders={"ROOR": ORDERS["ROOR"]})
    sisters = sister_analyses(one, one.outcomes[0])
    assert RELABELLED in sisters.refused
    assert any("cannot be made" in line for line in sensitivity_exhibits.agreement_sentences(sisters))


def test_residuals_by_group_cover_every_trial(study):
    outcome = study.outcomes[0]
    frame = sensitivity_exhibits.residual_table(outcome, study.fixed_riders(outcome)).frame
    assert (frame.groupby("by")["trials"].sum() == 8 * 4 * 3).all()
    alt = sensitivity_exhibits.residual_exhibit(outcome, study.fixed_riders(outcome)).alt
    assert "96 residuals" in alt


def test_the_log_scale_says_nearly_the_same_in_percent(study):
    frame = sensitivity_exhibits.log_table(study, study.outcomes[0]).frame
    wide = frame.pivot_table(index="intensity", columns="scale", values="percent", observed=True)
    assert np.allclose(wide["log"], wide["linear"], atol=0.15)
    assert list(frame["intensity"].iloc[::2]) == ["easy", "steady", "hard", "overall"]


def test_riders_who_respond_alike_are_not_sorted(study):
    outcome = study.outcomes[0]
    individual = individual_exhibits.riders_of(study, outcome)
    words = " ".join(individual_exhibits.response_sentences(outcome, individual))
    assert "No difference between riders in their response is shown" in words
    assert "responder" not in words
    # Noise of SD 1 at three intensities: a mean with SD 1/√3 = 0.577
    assert individual.typical_error == pytest.approx(0.577, abs=0.2)
    frame = individual_exhibits.rider_table(outcome, individual).frame
    assert (
        abs(frame["shrunken"] - frame["effect"].mean()) <= abs(frame["effect"] - frame["effect"].mean())
    ).all()


def test_individual_response_needs_replicates(tmp_path):
    once = fabricate(tmp_path / "once", riders=4, orders={"RO": ("round", "oval"), "OR": ("oval", "round")})
    with pytest.raises(Refusal, match="replicate periods"):
        individual_exhibits.riders_of(once, once.outcomes[0])


def test_the_band_leaves_zero_where_torque_was_added(study):
    curves = {name: study.curve_effect(name) for name in study.intensities}
    frame = curve_exhibits.curve_table(curves).frame
    # 2 N m were added around 0°, so that the run goes over the end of the turn
    assert (frame["from_deg"] > 300).all()
    assert (frame["to_deg"] < 60).all()
    peak = (frame["at_deg"] + 180) % 360 - 180
    assert (peak.abs() < 10).all()
    assert np.allclose(frame["largest_Nm"], 2.0, atol=0.3)
    assert (frame["clear_of_zero_Nm"] > 0.5).all()
    # Eight riders: the smallest p of a curve is 2/256, three times that after Holm's adjustment
    assert "The torque curve differs between rings" in curve_exhibits.curve_sentence(curves)
    assert "p = 0.023" in curve_exhibits.curve_sentence(curves)
    field = curve_exhibits.random_field_table(study, curves).frame
    assert field["field_leaves"].all()


def test_the_curve_does_not_change_with_intensity_and_each_leg_has_half(study):
    assert "includes zero all around the turn" in curve_exhibits.trend_sentence(study.curve_trend())
    legs = curve_exhibits.leg_curves(study)
    assert list(legs) == [f"{leg} leg, {name}" for leg in ("left", "right") for name in EFFECT_W]
    both = study.curve_effect("easy").mean
    assert np.allclose(legs["left leg, easy"].mean, both / 2)


def test_curves_that_the_ring_does_not_change_show_nothing(study):
    quiet = replace(study, tables={rider: _without_bump(table) for rider, table in study.tables.items()})
    curves = {name: quiet.curve_effect(name) for name in quiet.intensities}
    assert "No difference between the rings' torque curves is shown" in curve_exhibits.curve_sentence(curves)


def _without_bump(tables):
    """The same profiles with the rings' names dealt anew, so that the ring does nothing."""
    profiles = tables.profiles
    dealt = profiles["period"].map({1: "round", 2: "oval", 3: "round", 4: "oval"})
    return replace(tables, profiles=profiles.assign(ring=dealt))


def _leaving(curve, runs: int):
    """The same curve with a band that leaves zero at so many places of ten degrees, wide apart."""
    t = np.zeros_like(curve.t)
    for run in range(runs):
        t[30 * run : 30 * run + 10] = 2 * curve.critical_t
    return replace(curve, t=t)


@pytest.mark.parametrize("counts", [(8,) * 6, (8, 7, 8, 6, 8, 7)])
def test_a_caption_of_many_panels_that_leave_zero_counts_places_and_the_table_names_each(study, counts):
    labels = {
        name: f"{name.title()} pace (RPE {rpe})" for name, rpe in zip(EFFECT_W, (11, 13, 16), strict=True)
    }
    legs = {
        panel: replace(_leaving(curve, runs), n=n)
        for (panel, curve), runs, n in zip(
            curve_exhibits.leg_curves(study).items(), (3, 0, 2, 2, 3, 1), counts, strict=True
        )
    }
    exhibit = curve_exhibits.leg_curve_exhibit(legs, labels)
    assert exhibit.caption.endswith(
        "Where the band leaves zero: at 11 places in 5 of 6 panels, see the table."
    )
    assert ("Riders: 8 in each." if len(set(counts)) == 1 else "Riders: 6 to 8.") in exhibit.caption
    assert len(exhibit.caption.split()) <= LONGEST
    assert exhibit.alt.count("–") >= 11  # who cannot see the picture is told each place
    table = curve_exhibits.leg_curve_table(legs).frame
    assert table["from_deg"].notna().sum() == 11 and dict(
        zip(table["intensity"], table["riders"], strict=True)
    ) == {panel: curve.n for panel, curve in legs.items()}


def test_a_caption_of_few_places_names_them(study):
    one = {"hard": _leaving(study.curve_effect("hard"), 2)}
    caption = curve_exhibits.curve_exhibit(one).caption
    assert caption.endswith("Where the band leaves zero: hard: 0–10°, 30–40°.") and "table" not in caption


def test_analyses_whose_names_hold_commas_stay_apart_where_the_verdict_hangs_on_them(sisters):
    frame = sisters.frame
    hard = frame["intensity"] == "hard"
    other = hard & (frame["analysis"] == MIXED_BY_INTENSITY)
    split = frame.assign(verdict=frame["verdict"].mask(hard, "undecided").mask(other, "difference"))
    said = " ".join(replace(sisters, frame=split).single_sentences({"hard": "Hard (RPE 16)"}))
    assert f"undecided by “{PRIMARY}”, “" in said and f"; difference by “{MIXED_BY_INTENSITY}”)" in said
