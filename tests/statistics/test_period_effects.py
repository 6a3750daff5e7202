"""Period effects and carry-over against published two-period trials, and known truths in longer designs."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import worked_crossovers as worked
from scipy import stats
from worked_crossovers import two_periods

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.crossover import ring_effect
from analysis_lib.statistics.period_effects import carry_over, period_effects
from analysis_lib.statistics.ring_model import fit_ring_model
from analysis_lib.statistics.trial_table import check_trials

# Period 2 − period 1 with its t and p, and carry-over (difference of totals) with its t and p; recomputed
# in R from the published tables. Printed: Hills & Armitage 1979 interaction t 1.30, p 0.20.
LITERATURE = {
    "Senn": (
        worked.FORMOTEROL_FIRST, worked.SALBUTAMOL_FIRST, 15.892857, 1.4748, 0.168314, 14.404762, 0.179152,
        0.861076,
    ),
    "Hills & Armitage": (
        worked.DRUG_FIRST, worked.PLACEBO_FIRST, -0.786765, -1.2718, 0.214267, -3.171569, -1.299674, 0.204699,
    ),
    "Grizzle": (
        worked.GRIZZLE_A_FIRST, worked.GRIZZLE_B_FIRST, 0.954167, 2.2390, 0.04488, 1.633333, 2.137877, 0.05379,
    ),
}  # fmt: skip


@pytest.mark.parametrize("trial", LITERATURE)
def test_published_trials(trial):
    oval_first, round_first, period, period_t, period_p, carry, carry_t, carry_p = LITERATURE[trial]
    table = two_periods(oval_first, round_first)
    row = period_effects(table, "y").iloc[0]
    assert (row["period"], row["versus"]) == (2, 1)
    assert row["estimate"] == pytest.approx(period, abs=5.1e-7)
    # R's t and p of Hills & Armitage and Grizzle come from a search that stops within 1e-4; exact tests stand below
    assert row["t"] == pytest.approx(period_t, abs=6e-5)
    assert row["p"] == pytest.approx(period_p, abs=2e-5)
    left = carry_over(table, "y")
    assert left.value == pytest.approx(carry, abs=5.1e-7)
    assert left.t == pytest.approx(carry_t, abs=1e-4)
    assert left.p == pytest.approx(carry_p, abs=2e-5)


def test_asthma_trial_of_patel():
    # Patel 1983: A − B −0.25653, SE 0.11863, t −2.1624, p 0.0472; carry-over t −1.6235, p 0.1253, recomputed in R
    table = two_periods(worked.PATEL_A_FIRST, worked.PATEL_B_FIRST)
    effect, left = ring_effect(table, "y").overall, carry_over(table, "y")
    assert (effect.value, effect.se) == pytest.approx((-0.25653, 0.11863), abs=5.1e-6)
    assert (effect.t, effect.df) == pytest.approx((-2.1624, 15), abs=5.1e-5)
    assert effect.p == pytest.approx(0.0472, abs=5.1e-5)
    assert left.t == pytest.approx(-1.6235, abs=5.1e-5)
    assert left.p == pytest.approx(0.1253, abs=5.1e-5)


@pytest.mark.parametrize("trial", LITERATURE)
def test_both_are_two_sample_t_tests(trial):
    # Hills & Armitage 1979: carry-over compares totals; the period test compares the treatment differences
    oval_first, round_first = (np.array(pairs, float) for pairs in LITERATURE[trial][:2])
    table = two_periods(*LITERATURE[trial][:2])
    expected = stats.ttest_ind(oval_first.sum(axis=1), round_first.sum(axis=1))
    assert carry_over(table, "y").p == pytest.approx(expected.pvalue, rel=1e-9)
    expected = stats.ttest_ind(oval_first @ [-1, 1], round_first @ [1, -1])
    assert period_effects(table, "y")["p"].iloc[0] == pytest.approx(expected.pvalue, rel=1e-9)


def test_log_scale_gives_the_printed_period_row():
    # R-bloggers 2013-11-03: period F 3.784, p 0.0804; sequence F 0.014, p 0.907
    table = two_periods(worked.LOG_TEST_FIRST, worked.LOG_REFERENCE_FIRST)
    logs = table.assign(y=np.log(table["y"]))
    row, left = period_effects(logs, "y").iloc[0], carry_over(logs, "y")
    assert (row["t"] ** 2, row["p"]) == pytest.approx((3.784, 0.0804), abs=6e-4)
    assert (left.t**2, left.p) == pytest.approx((0.014, 0.907), abs=5e-4)


def test_peak_flow_of_56_patients():
    # Jones & Kenward sec. 2: carry-over 38.89, t 0.948, p 0.347; period −3.77, t −1.10
    data = worked.read_shared("jk_copd_pefr.csv").rename(columns={"subject": "rider", "pefr": "y"})
    table = data.assign(ring=data["treatment"].map({"A": "oval", "B": "round"}), intensity="one")
    left, row = carry_over(table, "y"), period_effects(table, "y").iloc[0]
    assert (abs(left.value), abs(left.t), left.p) == pytest.approx((38.8885, 0.9483, 0.3472), abs=6e-5)
    assert (abs(row["estimate"]), abs(row["t"])) == pytest.approx((3.7672, 1.1029), abs=6e-5)
    assert row["p"] == pytest.approx(0.27495, abs=5.1e-6)


def simulate(orders, ring=2.0, carry=0.0, drift=(0, 0, 0, 0, 0), spread=1.0, riders=3, seed=5):
    rng = np.random.default_rng(seed)
    rows = []
    for order in orders:
        for i in range(riders):
            level = 5 * rng.normal()
            before = 0.0
            for period, letter in enumerate(order, start=1):
                oval = letter == "O"
                y = level + ring * oval + before + drift[period - 1] + spread * rng.normal()
                before = carry / 2 if oval else -carry / 2
                rows.append((f"{order}{i}", order, period, "oval" if oval else "round", "one", y))
    return pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity", "y"])


def test_period_effects_of_a_longer_design_without_noise():
    drift = (0.0, 1.0, -2.0, 4.0)
    frame = period_effects(simulate(["ROOR", "ORRO"], drift=drift, spread=0.0), "y")
    one = frame[frame["intensity"] == "one"]
    assert one["estimate"].tolist() == pytest.approx(drift[1:])
    # Periods 1 and 4 carry the same ring, so all riders count: n − 1 degrees of freedom; the others cost
    # one more
    noisy = period_effects(simulate(["ROOR", "ORRO"]), "y")
    assert noisy[noisy["intensity"] == "one"]["df"].tolist() == [4, 4, 5]


def test_riders_who_all_drift_alike_give_no_p():
    frame = period_effects(two_periods([(1.0, 2.0)] * 3, [(1.0, 2.0)] * 3), "y")
    assert frame["estimate"].tolist() == pytest.approx([1.0, 1.0]) and frame["p"].isna().all()


def test_an_intensity_without_values_has_a_note_and_no_number():
    table = two_periods(worked.FORMOTEROL_FIRST, worked.SALBUTAMOL_FIRST)
    both = pd.concat([table, table.assign(intensity="hard", y=np.nan)])
    frame = period_effects(both, "y").set_index("intensity")
    assert frame.loc["one", "n"] == 13
    assert np.isnan(frame.loc["hard", "p"]) and frame.loc["hard", "note"].startswith("values in 0 periods")


def test_a_period_effect_that_cannot_be_told_from_the_ring_is_not_given():
    frame = period_effects(two_periods(worked.FORMOTEROL_FIRST, []), "y")
    assert frame["estimate"].isna().all()
    assert frame["note"].str.contains("cannot be told from the ring").all()


def test_carry_over_of_longer_designs_comes_back():
    drift = (0.0, 1.0, -2.0, 4.0)
    table = simulate(["ROOR", "ORRO"], carry=1.5, drift=drift, spread=0.01, riders=4)
    assert carry_over(table, "y").value == pytest.approx(1.5, abs=0.05)


# Variance of the carry-over difference in units of σ²/N, fixed riders and periods: Jones & Kenward 2014,
# sec. 3 (Balaam 16; ABB/BAA 2; ABBA/BAAB 1.6; ABAB/BABA 8), on the scale in which ABB/BAA has 2
@pytest.mark.parametrize(
    ("orders", "variance"), [(["ROO", "ORR"], 2.0), (["ROOR", "ORRO"], 1.6), (["RORO", "OROR"], 8.0)]
)
def test_precision_of_carry_over_follows_the_design(orders, variance):
    # Strongly different riders make the mixed model with riders alone equal to fixed riders
    table = simulate(orders, riders=5)
    table["y"] += 50 * table["rider"].map({name: i for i, name in enumerate(table["rider"].unique())})
    model, _ = fit_ring_model(
        check_trials(table, "y"), "satterthwaite", random_terms=("rider",), carry_over=True
    )
    estimate = model.contrast({"carry-over": 1.0})
    assert estimate.se**2 / model.variance_components["residual"] * 10 == pytest.approx(variance, rel=1e-3)


def test_refusals():
    with pytest.raises(Refusal, match="carry-over – got one sequence"):
        carry_over(two_periods(worked.FORMOTEROL_FIRST, []), "y")
    with pytest.raises(Refusal, match="with the oval ring first"):
        carry_over(two_periods(worked.FORMOTEROL_FIRST[:1], [(1.0, np.nan)]), "y")
    with pytest.raises(Refusal, match="cannot be told from ring and period"):
        # The oval ring comes last alone, so it leaves nothing behind that could be seen
        carry_over(simulate(["RRO", "RRR"]), "y")
