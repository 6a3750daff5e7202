"""The measuring floor of an effect, worked out by hand."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.reports.rider.budget_exhibits import budget_sentences, budget_table, drawn_table
from analysis_lib.reports.rider.budgets import BUDGET_COLUMNS, usual_drift_Nm
from analysis_lib.reports.rider.measuring_floor import measuring_floor, zeroed_between
from analysis_lib.reports.rider.rider_analysis import analyse_rider
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.synthetic import small_study
from analysis_lib.study.synthetic.synthetic_plan import DEMO_INTENSITIES


def _budgets(rows):
    columns = ["rider", "ring", "trial", "input", "contribution"]
    frame = pd.DataFrame(rows, columns=columns).assign(intensity="easy", quantity="power", unit="W")
    return frame.assign(period=frame["trial"], zeroed=frame["trial"])


def _two_intensities(between):
    """One rider, one period a ring, turns of 3 W and zeros of 4 W a trial; `between` names its zero checks."""
    rows = [
        (ring, level, part, size)
        for ring in ("round", "oval")
        for level in ("easy", "hard")
        for part, size in (("turn to turn, torque", 3.0), ("zero torque between checks", 4.0))
    ]
    frame = pd.DataFrame(rows, columns=["ring", "intensity", "input", "contribution"]).assign(rider="A")
    frame = frame.assign(trial=frame["ring"] + frame["intensity"], period=frame["ring"])
    return frame.assign(zeroed=frame[between])


@pytest.mark.parametrize(("between", "overall"), [("period", 41**0.5), ("trial", 5.0)])
def test_overall_turns_average_out_and_a_shared_zero_does_not(between, overall):
    # A ring's mean of two: turns (9 + 9)/4; zeros ((4 + 4)/2)² = 16 where shared, (16 + 16)/4 where not; two rings.
    levels = pd.DataFrame({"rider": "A", "intensity": ["easy", "hard", "overall"]})
    floor = measuring_floor(_two_intensities(between), levels).set_index("intensity")["floor"]
    assert floor["easy"] == pytest.approx(50**0.5, rel=1e-12)
    assert floor["overall"] == pytest.approx(overall, rel=1e-12)


def test_riders_weigh_as_in_the_mean_of_sequence_means():
    # Each rider's contrast has 1 + 1; weights 1/4, 1/4 and 1/2, squared 3/8.
    rows = [(rider, ring, rider + ring, "zero", 1.0) for rider in "ABC" for ring in ("round", "oval")]
    three = _contrasts(*"ABC").assign(sequence=["s", "s", "t"])
    assert measuring_floor(_budgets(rows), three)["floor"].iloc[0] == pytest.approx(0.75**0.5, rel=1e-12)
    # Without a budget of C the others' stand for it, and it is not counted.
    less = measuring_floor(_budgets(rows[:4]), three).iloc[0]
    assert less["floor"] == pytest.approx(0.75**0.5, rel=1e-12) and less["riders"] == 2


def test_the_floor_is_what_drawn_errors_do_to_the_estimate():
    """20 000 draws: an error of a trial's turns, of a period's zero and of a period's warmth; SD within 4/√40 000 = 2 %."""
    rng = np.random.default_rng(5)
    rings = {"s": ["round", "oval", "oval", "round"], "t": ["oval", "round", "round", "oval"]}
    sequence = {"A": "s", "B": "s", "C": "t"}
    rows, estimate = [], 0.0
    for rider, order in sequence.items():
        weight = {"s": 1 / 4, "t": 1 / 2}[order]
        for period, ring in enumerate(rings[order]):
            zero, warmth = rng.normal(size=20_000), rng.normal(size=20_000)
            for level in ("easy", "steady", "hard"):
                sizes = rng.uniform(0.5, 2, size=3)
                error = sizes @ np.array([rng.normal(size=20_000), zero, warmth])
                estimate = estimate + weight * (1 if ring == "oval" else -1) * error / (2 * 3)
                inputs = (
                    "turn to turn, torque",
                    "zero torque between checks",
                    "slope's change with temperature",
                )
                labels = (f"{rider}{period}{level}", rider, period, f"{rider}{period}", ring, level)
                rows += [(*labels, part, size) for part, size in zip(inputs, sizes, strict=True)]
    columns = ["trial", "rider", "period", "zeroed", "ring", "intensity", "input", "contribution"]
    everyone = [(r, s, level) for r, s in sequence.items() for level in ("easy", "steady", "hard", "overall")]
    contrasts = pd.DataFrame(everyone, columns=["rider", "sequence", "intensity"])
    floor = measuring_floor(pd.DataFrame(rows, columns=columns), contrasts).set_index("intensity")
    assert floor.loc["overall", "floor"] == pytest.approx(np.std(estimate), rel=0.02)


def test_trials_between_the_same_zero_checks_are_told_apart_from_others(tmp_path):
    """As in a small study: one check before a period's three trials, one after them."""
    small_study(tmp_path / "study", riders=1, duration_s=3.0)
    between = zeroed_between(open_study(tmp_path / "study"))
    assert len(between) == 12 and len(set(between.values())) == 4
    assert between["R01-P1-easy"] == between["R01-P1-hard"] != between["R01-P2-easy"]


def _contrasts(*riders):
    return pd.DataFrame({"rider": riders, "intensity": "easy"})


def test_two_riders_with_one_trial_a_ring_each():
    rows = [
        (rider, ring, f"{rider}-{ring}", "zero", 1.0) for rider in ("A", "B") for ring in ("round", "oval")
    ]
    floor = measuring_floor(_budgets(rows), _contrasts("A", "B"))
    assert floor["floor"].iloc[0] == pytest.approx(1.0, rel=1e-12)
    assert floor["riders"].iloc[0] == 2


def test_repeats_on_a_ring_halve_its_variance_and_inputs_add_by_squares():
    # Oval: two trials of 3 and 4 W (5 W each), so 25/2; round: one trial of 5 W, 25. Root of 37.5.
    rows = [
        ("A", "oval", trial, part, size)
        for trial in ("1", "2")
        for part, size in (("zero", 3.0), ("turns", 4.0))
    ]
    rows.append(("A", "round", "3", "zero", 5.0))
    assert measuring_floor(_budgets(rows), _contrasts("A"))["floor"].iloc[0] == pytest.approx(
        37.5**0.5, rel=1e-12
    )


def test_what_both_rings_have_in_common_is_no_part_of_it():
    rows = [("A", ring, ring, "calibration slope", 9.0) for ring in ("round", "oval")]
    rows += [("A", ring, ring, "zero", 1.0) for ring in ("round", "oval")]
    assert measuring_floor(_budgets(rows), _contrasts("A"))["floor"].iloc[0] == pytest.approx(
        2**0.5, rel=1e-12
    )


def test_drift_of_tangential_force_counts_by_the_crank_it_turns():
    # Changes of 10 and −20 N on 170 mm: 1.7 and 3.4 N m, root mean square √((1.7² + 3.4²)/2). Upright forces count nothing.
    checks = pd.DataFrame(
        {
            "recorder": "pedals",
            "checked_at": pd.to_datetime(["2026-03-02", "2026-03-03", "2026-03-04"]),
            "zero_left_Nm": float("nan"),
            "zero_force_tangential_left_N": [0.0, 10.0, -10.0],
            "zero_force_vertical_right_N": [0.0, 50.0, -50.0],
        }
    )
    assert usual_drift_Nm(checks, "pedals", 0.17) == pytest.approx(((1.7**2 + 3.4**2) / 2) ** 0.5, rel=1e-12)
    assert usual_drift_Nm(checks, "pedals") == 0.0  # of no known crank


def test_the_law_is_held_against_drawing_at_the_least_certain_trial(tmp_path):
    """JCGM 101:2008, clause 8: both intervals' ends agree within a twentieth of the interval, for nearly linear models."""
    small_study(tmp_path / "study", riders=2, duration_s=60.0, rate_hz=50.0, intensities=DEMO_INTENSITIES[:1])
    analysis = analyse_rider(open_study(tmp_path / "study"), "R01")
    frame = drawn_table(analysis).frame.set_index("quantity")
    assert list(frame.index) == ["torque", "power", "torque phase"]
    totals = analysis.budgets.drop_duplicates(["trial", "quantity"]).set_index("trial")
    for quantity, row in frame.iterrows():
        own = totals[totals["quantity"] == quantity.replace(" ", "_")]["total"]
        assert row["trial"] == own.idxmax()
        width = row["law_high"] - row["law_low"]
        assert width > 2 * 1.95 * own.max()
        assert abs(row["drawn_low"] - row["law_low"]) < 0.05 * width
        assert abs(row["drawn_high"] - row["law_high"]) < 0.05 * width


def test_an_input_that_nothing_tells_is_a_dash_and_no_zero(tmp_path):
    """The demo's recorder declares every input; its line on the delay is taken out."""
    small_study(tmp_path / "study", riders=1, duration_s=20.0, rate_hz=50.0, intensities=DEMO_INTENSITIES[:1])
    settings = tmp_path / "study" / "study.toml"
    kept = [
        line
        for line in settings.read_text(encoding="utf-8").splitlines()
        if "delay_uncertainty_ms" not in line
    ]
    settings.write_text("\n".join(kept) + "\n", encoding="utf-8")
    (tmp_path / "study" / "datapackage.json").unlink()
    frame = budget_table(analyse_rider(open_study(tmp_path / "study"), "R01")).frame
    (delay,) = frame[frame["input"].str.startswith("delay")].to_dict("records")
    assert delay["input"] == "delay of torque, not declared" and np.isnan(delay["contribution"])
    known = frame[(frame["quantity"] == "torque phase") & ~frame["input"].str.startswith("delay")]
    assert known["contribution"].notna().all() and not known["input"].str.contains("not declared").any()
    assert (known["contribution"].iloc[:-1] ** 2).sum() == pytest.approx(
        known["contribution"].iloc[-1] ** 2, rel=1e-9
    )


def test_a_rider_without_a_budget_is_told_why():
    empty = SimpleNamespace(budgets=pd.DataFrame(columns=BUDGET_COLUMNS))
    for said in (budget_table, budget_sentences):
        with pytest.raises(Refusal, match="no trial with turns enough"):
            said(empty)
