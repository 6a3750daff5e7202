"""The ring effect against published crossover trials, its invariants and its refusals."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
import worked_crossovers as worked
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import stats
from worked_crossovers import two_periods

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.contrasts import rider_contrasts
from analysis_lib.statistics.crossover import ring_effect
from analysis_lib.statistics.kept_periods import KeptPeriods, kept_periods
from analysis_lib.statistics.trial_table import check_trials

LITERATURE = {
    # Senn 2002 ch. 3, printed 46.6, SE 10.8, t 4.3, 11 df, p 0.0012, 22.9 to 70.3; more digits recomputed
    # in R
    "Senn": (worked.FORMOTEROL_FIRST, worked.SALBUTAMOL_FIRST, 46.607143, 10.776560, 11, 0.00120485),
    # Hills & Armitage 1979, printed t 3.29 on 27 df; more digits recomputed in R
    "Hills & Armitage": (worked.DRUG_FIRST, worked.PLACEBO_FIRST, 2.036765, 0.618601, 27, 0.002773),
    # Chow & Liu ch. 3, printed means 82.559 and 80.272, MSE 167.247: SE = sqrt(167.247 (1/12 + 1/12)/2)
    "Chow & Liu": (
        worked.TEST_FIRST, worked.REFERENCE_FIRST, 80.272 - 82.559, math.sqrt(167.247 / 12), 22, 0.546334,
    ),
    # Grizzle 1965, recomputed in R
    "Grizzle": (worked.GRIZZLE_A_FIRST, worked.GRIZZLE_B_FIRST, 0.720833, 0.426161, 12, 0.116532),
}  # fmt: skip


@pytest.mark.parametrize("trial", LITERATURE)
def test_published_trials(trial):
    oval_first, round_first, value, se, df, p = LITERATURE[trial]
    overall = ring_effect(two_periods(oval_first, round_first), "y").overall
    assert overall.value == pytest.approx(value, abs=6e-4 if trial == "Chow & Liu" else 5.1e-7)
    assert overall.se == pytest.approx(se, rel=2e-6)
    assert overall.df == df
    assert overall.p == pytest.approx(p, rel=2e-4 if trial == "Hills & Armitage" else 5e-6)


@pytest.mark.parametrize("trial", LITERATURE)
def test_it_is_the_two_sample_t_on_period_differences(trial):
    # Hills & Armitage 1979: the treatment test compares the period differences of the two sequence groups
    oval_first, round_first = (np.diff(np.array(pairs, float)).ravel() for pairs in LITERATURE[trial][:2])
    expected = stats.ttest_ind(round_first, oval_first)
    overall = ring_effect(two_periods(*LITERATURE[trial][:2]), "y").overall
    assert (overall.t, overall.p) == pytest.approx((expected.statistic, expected.pvalue), rel=1e-9)


def test_the_interval_of_the_formoterol_trial():
    frame = ring_effect(two_periods(worked.FORMOTEROL_FIRST, worked.SALBUTAMOL_FIRST), "y").to_frame()
    assert list(frame.columns) == ["intensity", "estimate", "se", "df", "t", "p", "low", "high", "n"]
    assert frame["intensity"].tolist() == ["one", "overall"]
    assert frame["low"].iloc[0] == pytest.approx(22.888095, abs=5e-7)
    assert frame["high"].iloc[0] == pytest.approx(70.326191, abs=5e-7)


def test_the_interval_of_the_enuresis_trial():
    # Hills & Armitage 1979; digits of the 95 % interval recomputed in R
    frame = ring_effect(two_periods(worked.DRUG_FIRST, worked.PLACEBO_FIRST), "y").to_frame()
    assert (frame["low"].iloc[-1], frame["high"].iloc[-1]) == pytest.approx((0.767502, 3.306027), abs=5.1e-7)
    assert frame["p"].iloc[-1] == pytest.approx(0.002773, abs=5.1e-7)
    assert frame["t"].iloc[-1] == pytest.approx(3.29, abs=5e-3)


def test_peak_flow_of_56_patients():
    # Jones & Kenward, Design and Analysis of Cross-Over Trials, sec. 2: 10.40, t 3.046, 54 df, p 0.0036; residual mean
    # square 326.24 of values, so that SE² = 326.24 (1/27 + 1/29)/2
    data = worked.read_shared("jk_copd_pefr.csv").rename(columns={"subject": "rider", "pefr": "y"})
    table = data.assign(ring=data["treatment"].map({"A": "oval", "B": "round"}), intensity="one")
    overall = ring_effect(table, "y").overall
    found = (overall.value, overall.se, overall.t, overall.p)
    # The difference is A − B where B is the drug, hence the sign
    sign = np.sign(overall.value)
    assert (sign * found[0], found[1], sign * found[2]) == pytest.approx((10.4026, 3.4156, 3.0456), abs=6e-5)
    assert found[3] == pytest.approx(0.003587, abs=5.1e-7)
    assert (overall.df, overall.n) == (54, 56)
    assert 2 * overall.se**2 / (1 / 27 + 1 / 29) == pytest.approx(326.2432, abs=5.1e-5)
    bounds = overall.interval()
    ends = sorted((abs(bounds.low), abs(bounds.high)))
    assert ends == pytest.approx([3.555, 17.250], abs=5.1e-4)


def test_log_scale_gives_the_printed_analysis_of_variance():
    # R-bloggers 2013-11-03: treatment F 0.073, p 0.7921, residual mean square 0.005417 (of 24 values)
    table = two_periods(worked.LOG_TEST_FIRST, worked.LOG_REFERENCE_FIRST)
    effect = ring_effect(table, "y", scale="log")
    assert effect.overall.t**2 == pytest.approx(0.073, abs=5e-4)
    assert effect.overall.p == pytest.approx(0.7921, abs=5e-5)
    assert effect.overall.se**2 * 6 == pytest.approx(0.005417, abs=5e-7)
    ratio = effect.ratios().iloc[-1]
    assert ratio["ratio"] == pytest.approx(math.exp(effect.overall.value), rel=1e-12)
    assert ratio["low"] < 1 < ratio["high"]
    with pytest.raises(Refusal, match="linear scale"):
        ring_effect(table, "y").ratios()


def test_bioequivalence_verdict_of_chow_and_liu():
    # ch. 4: 90 % interval −8.698 to 4.123, equivalent within 20 % of the reference mean
    verdicts = ring_effect(two_periods(worked.TEST_FIRST, worked.REFERENCE_FIRST), "y").verdicts(0.2 * 82.559)
    assert list(verdicts.columns) == ["intensity", "estimate", "low90", "high90", "verdict"]
    assert (verdicts["low90"].iloc[-1], verdicts["high90"].iloc[-1]) == pytest.approx(
        (-8.698, 4.123), abs=6e-4
    )
    assert verdicts["verdict"].iloc[-1] == "equivalent"
    # As a share of the reference mean, 82.559: 89.46 to 104.99 %
    shares = 100 * (1 + verdicts[["low90", "high90"]].iloc[-1].to_numpy(float) / 82.559)
    assert shares == pytest.approx([89.46, 104.99], abs=5.1e-3)


def test_a_smallest_effect_on_the_log_scale_is_a_ratio():
    effect = ring_effect(two_periods(worked.TEST_FIRST, worked.REFERENCE_FIRST), "y", scale="log")
    # 1.25 and 0.8 are the usual bounds; the 90 % interval of the ratio must lie inside for "equivalent"
    verdict = effect.verdicts(1.25).iloc[-1]
    inside = math.exp(verdict["low90"]) > 1 / 1.25 and math.exp(verdict["high90"]) < 1.25
    assert (verdict["verdict"] == "equivalent") == inside
    with pytest.raises(Refusal, match="smallest effect"):
        effect.verdicts(0.8)


def test_one_sequence_is_the_paired_t_and_says_what_it_cannot_do():
    pairs = np.array(worked.FORMOTEROL_FIRST, float)
    effect = ring_effect(two_periods(worked.FORMOTEROL_FIRST, []), "y")
    expected = stats.ttest_rel(pairs[:, 0], pairs[:, 1])
    assert (effect.overall.t, effect.overall.p) == pytest.approx((expected.statistic, expected.pvalue))
    assert effect.overall.df == 6
    assert "period effects not separated" in effect.method
    assert "period effects cannot be told from the ring" in effect.notes[0]


def simulate(seed=1, riders=8, sequences=("ABBA", "BAAB"), effects=(1.0, 3.0), spread=1.0):
    rng = np.random.default_rng(seed)
    rows = []
    for rider in range(riders):
        order = sequences[rider % len(sequences)]
        for intensity, effect in zip(("easy", "hard"), effects, strict=True):
            for period, letter in enumerate(order, start=1):
                y = 200 + 5 * rider + effect * (letter == "B") + spread * rng.normal()
                ring = {"A": "round", "B": "oval"}[letter]
                rows.append((f"R{rider:02d}", order, period, ring, intensity, y))
    return pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity", "y"])


@settings(max_examples=15, deadline=None)
@given(st.lists(st.floats(-20, 20), min_size=4, max_size=4), st.floats(-100, 100))
def test_period_effects_and_constants_cancel(drift, constant):
    table = simulate(riders=7)
    moved = table.assign(y=table["y"] + np.array(drift)[table["period"] - 1] + constant)
    before, after = ring_effect(table, "y").to_frame(), ring_effect(moved, "y").to_frame()
    numbers = ["estimate", "se", "p"]
    np.testing.assert_allclose(after[numbers], before[numbers], rtol=1e-9, atol=1e-11)


def test_swapping_the_rings_changes_the_sign_alone():
    table = simulate()
    swapped = table.assign(ring=table["ring"].map({"round": "oval", "oval": "round"}))
    before, after = ring_effect(table, "y").to_frame(), ring_effect(swapped, "y").to_frame()
    np.testing.assert_allclose(after["estimate"], -before["estimate"])
    np.testing.assert_allclose(after["p"], before["p"])


def test_order_of_rows_does_not_matter():
    table = simulate()
    shuffled = table.sample(frac=1, random_state=3)
    ordered = shuffled.assign(intensity=pd.Categorical(shuffled["intensity"], ["easy", "hard"], ordered=True))
    pd.testing.assert_frame_equal(ring_effect(table, "y").to_frame(), ring_effect(ordered, "y").to_frame())


def test_without_noise_the_truth_comes_back():
    effect = ring_effect(simulate(spread=0.0), "y")
    assert effect.at("easy").value == pytest.approx(1) and effect.at("hard").value == pytest.approx(3)
    assert effect.overall.value == pytest.approx(2)
    # All riders alike: no spread, so no p, and never p = 0
    assert effect.overall.se == 0 and math.isnan(effect.overall.p)
    assert "do not vary" in effect.sentence()
    assert effect.to_frame()["low"].isna().all()
    assert effect.holm()["p_holm"].isna().all()
    assert set(effect.verdicts(0.5)["verdict"]) == {"undecided"}


def test_a_study_with_missing_trials():
    effect = ring_effect(worked.twelve_riders(), "y")
    frame = effect.to_frame().set_index("intensity")
    assert list(frame.index) == ["low", "mid", "high", "overall"]
    # Rider S09 rode the oval ring at the low intensity alone
    assert frame["n"].tolist() == [12, 11, 11, 11] and frame["df"].tolist() == [10, 9, 9, 9]
    assert effect.left_out[["rider", "intensity"]].to_numpy().tolist() == [
        ["S09", "mid"],
        ["S09", "high"],
        ["S09", "overall"],
    ]
    assert len(effect.notes) == 4 and all("missing periods" in note for note in effect.notes)
    # By hand from rider S01's rows: (21.218 + 20.754)/2 − (21.541 + 20.916)/2
    first = effect.contrasts.iloc[0]
    assert first["contrast"] == pytest.approx(-0.2425, abs=1e-9)


def test_holm_counts_the_intensities_and_not_the_overall():
    effect = ring_effect(simulate(), "y")
    holm = effect.holm()
    assert holm["intensity"].tolist() == ["easy", "hard"]
    small, large = sorted(holm["p"])
    assert sorted(holm["p_holm"]) == pytest.approx([2 * small, max(2 * small, large)])


def test_a_lost_sequence_is_noted():
    table = simulate()
    gone = (table["sequence"] == "BAAB") & (table["ring"] == "oval") & (table["intensity"] == "hard")
    effect = ring_effect(table.assign(y=table["y"].mask(gone)), "y")
    assert any("hard: nobody of sequence BAAB is left" in note for note in effect.notes)
    assert effect.at("hard").df == 3


def test_sensitivity_is_at_hand():
    effect = ring_effect(simulate(), "y", unit="W")
    assert effect.trend().unit == "W per step of intensity"
    assert effect.interaction().df_numerator == 1
    assert len(effect.leave_one_out()) == 3 * 8
    assert (
        effect.sentence().startswith("y, oval − round, overall: +")
        and " W (95 % interval" in effect.sentence()
    )


@pytest.mark.parametrize(
    ("spoil", "what"),
    [
        (lambda t: t[t["rider"] == "R00"], "1 rider in 1 sequence"),
        (lambda t: t[t["rider"].isin(["R00", "R01"])], "2 riders in 2 sequences"),
        (
            lambda t: t.assign(y=t["y"].mask(t["intensity"] == "hard")),
            "hard – got no rider with a value on both rings",
        ),
        (
            lambda t: t.assign(y=t["y"].mask((t["intensity"] == "hard") & (t["ring"] == "oval"))),
            "hard – got no rider with a value on both rings",
        ),
        (lambda t: t.assign(ring=t["ring"].replace("oval", "ovale")), "'ovale'"),
    ],
)
def test_refusals(spoil, what):
    with pytest.raises(Refusal, match=what):
        ring_effect(spoil(simulate()), "y")


def test_refused_arguments():
    table = simulate()
    with pytest.raises(Refusal, match="confidence level"):
        ring_effect(table, "y", level=95)
    with pytest.raises(Refusal, match="scale"):
        ring_effect(table, "y", scale="sqrt")
    with pytest.raises(Refusal, match="above 0"):
        ring_effect(table.assign(y=table["y"] - 300), "y", scale="log")
    with pytest.raises(Refusal, match="intensity – got 'soft'"):
        ring_effect(table, "y").at("soft")


# ---- what stays of period effects ------------------------------------------------------------------------------------

DRIFT = {"easy": [0.0, 3.0, 5.0, 6.0], "hard": [0.0, -4.0, 1.0, 8.0]}
RINGS_OF = {"ROOR": ["round", "oval", "oval", "round"], "ORRO": ["oval", "round", "round", "oval"]}


def drifting(missing: list[tuple[str, int, str]], riders: int = 4, sequences=RINGS_OF) -> pd.DataFrame:
    """A noise-free study: rider's level + period's effect + 2 on the oval ring; `missing` has no value."""
    rows = [
        (f"{name}{k}", name, period, ring, intensity, 100.0 * k + drift[period - 1] + 2 * (ring == "oval"))
        for name, order in sequences.items()
        for k in range(1, riders // len(sequences) + 1)
        for intensity, drift in DRIFT.items()
        for period, ring in enumerate(order, start=1)
        if (f"{name}{k}", period, intensity) not in missing
    ]
    columns = ["rider", "sequence", "period", "ring", "intensity", "y"]
    return pd.DataFrame(rows, columns=columns)


def kept(table: pd.DataFrame) -> dict[object, KeptPeriods]:
    trials = check_trials(table, "y")
    contrasts, _ = rider_contrasts(trials)
    errors = dict.fromkeys(["easy", "hard", "overall"], 0.5)
    return {part.intensity: part for part in kept_periods(trials, contrasts, errors, "W")}


def test_what_stays_of_a_period_effect_is_said_in_the_unit_of_the_outcome():
    # Two riders a sequence; one of ROOR lacks period 2 at easy. His sequence's mean keeps −1/4 of period 2 and +1/4 of
    # period 3, the mean of both sequences half of that: 1/8 of 5 − 3 = 2 W.
    table = drifting([("ROOR1", 2, "easy")])
    found = kept(table)
    assert found["easy"].share == pytest.approx(0.125) and found["easy"].amount == pytest.approx(0.25)
    assert found["overall"].amount == pytest.approx(0.125) and set(found) == {"easy", "overall"}
    note = ring_effect(table, "y", unit="W").notes[0]
    assert note.startswith(
        "easy: the estimate keeps +0.25 W of the period effects estimated here (up to 0.12 of any"
    )
    assert kept(drifting([])) == {}


GAP = st.tuples(
    st.sampled_from(["ROOR1", "ROOR2", "ORRO1", "ORRO3"]),
    st.integers(1, 4),
    st.sampled_from(["easy", "hard"]),
)


@example([("ROOR1", 1, "easy"), ("ORRO1", 1, "hard")])
@given(st.lists(GAP, min_size=1, max_size=3, unique=True))
@settings(max_examples=12, deadline=None)
def test_without_noise_an_estimate_is_wrong_by_just_what_it_keeps(missing):
    table = drifting(missing, riders=6)
    effect = ring_effect(table, "y")
    found = kept(table)
    for intensity, estimate in effect.estimates.items():
        amount = found[intensity].amount if intensity in found else 0.0
        assert estimate.value - 2 == pytest.approx(amount, abs=1e-8)


def test_periods_that_cannot_be_told_from_rings_are_not_given_a_size():
    # Two sequences that ride the rings alike in every period but for their names: rings and periods are one.
    alike = {"first": ["round", "oval"], "second": ["round", "oval"]}
    found = kept(drifting([], sequences=alike))
    assert found["easy"].share == 1 and math.isnan(found["easy"].amount)
    assert "cannot be told from rings" in found["easy"].sentence()
