"""A recorder's power beside what trials ask for, and beside that of other recorders at the same intensities."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis_lib.reports.trials.scale_cautions import doubt_recorders
from analysis_lib.study.declared.settings import StudySettings, read_settings
from analysis_lib.study.doubts.recorder_power import pairs_apart, used_powers
from analysis_lib.study.doubts.scale_check import FAINT, OTHERS
from analysis_lib.study.doubts.torque_scale import cautions_of, check_scales, recorders_in_doubt
from analysis_lib.study.synthetic.synthetic import small_study

LBF_FT_IN_LBF_IN = 12.0  # a foot has twelve inches
POWERS = {"easy": 150.0, "hard": 260.0}


@pytest.fixture(scope="module")
def settings(tmp_path_factory) -> StudySettings:
    """A study of three recorders in pounds-force inch, without gases or a power asked for."""
    folder = tmp_path_factory.mktemp("recorders") / "study"
    small_study(folder, riders=2, duration_s=3.0)
    known = read_settings(folder / "study.toml")
    (recorder, *_) = known.recorders.values()
    columns = {
        name: part.model_copy(update={"unit": "lbf in"}) if name.startswith("torque") else part
        for name, part in recorder.columns.items()
    }
    recorder = recorder.model_copy(update={"columns": columns})
    return known.model_copy(
        update={"recorders": dict.fromkeys(("one", "two", "three"), recorder), "metabolism": None}
    )


def ridden(times: dict[str, float], riders: int = 2, spread: float = 0.0, seed: int = 0):
    """Two trials at each intensity of `riders` riders on each recorder, whose power is recorded `times` too large."""
    rng = np.random.default_rng(seed)
    rows, powers = [], {}
    for recorder, factor in times.items():
        for place in range(riders):
            rider = f"{recorder}{place}"
            level = np.exp(spread * rng.normal())
            for intensity, watts in POWERS.items():
                for repeat in range(2):
                    trial = f"{rider}-{intensity}-{repeat}"
                    rows.append((trial, rider, intensity, recorder, "used", ""))
                    powers[trial] = factor * level * watts
    columns = ["trial", "rider", "intensity", "recorder", "state", "reason"]
    return pd.DataFrame(rows, columns=columns), powers


def test_the_factor_is_of_riders_means_at_each_intensity_and_the_median_of_these():
    rows = [
        *[("one", "A", "easy", 100.0)] * 3,
        ("one", "B", "easy", 300.0),
        ("one", "A", "hard", 400.0),
        ("two", "C", "easy", 20.0),
        ("two", "C", "easy", 60.0),
        ("two", "C", "hard", 40.0),
    ]
    (pair,) = pairs_apart(pd.DataFrame(rows, columns=["recorder", "rider", "intensity", "power_W"]))
    # Easy: riders' means 100 and 300, so 200, over 40 is 5; hard: 400 over 40 is 10; the median of 5 and 10.
    assert (pair.higher, pair.lower, pair.riders) == ("one", "two", (2, 1))
    assert pair.times == pytest.approx(7.5) and not pair.is_weak


def test_a_recorder_with_less_power_than_trials_ask_for_is_named_with_its_power_and_the_other(settings):
    trials, powers = ridden({"one": 1 / LBF_FT_IN_LBF_IN, "two": 1.0})
    (check,) = check_scales(settings, trials, powers)
    # 150/12 and 260/12 W, as many of either: their median is 17.08 W.
    assert (check.recorder, check.by, check.n) == ("one", FAINT, 8) and check.in_doubt
    assert check.power_W == pytest.approx((150 + 260) / 2 / 12)
    assert "its power is 17.1 W (median, n = 8 trials)" in check.sentence()
    assert "8.3 % of what recorder two gives" in check.sentence()
    assert "a file in lbf·ft that is declared as lbf·in would explain it" in check.sentence()
    # also the trials at hard, 21.7 W, and none of the other recorder
    told = [bool(cautions_of([check], row.recorder, row.trial)) for row in trials.itertuples()]
    assert told == list(trials["recorder"] == "one")


def test_the_least_power_alone_is_enough(settings):
    (check,) = check_scales(settings, *ridden({"one": 0.1}))
    assert check.by == FAINT and check.other == "" and "other" not in check.doubt()
    (nothing,) = check_scales(settings, *ridden({"one": 0.0}))
    assert nothing.in_doubt and "No unit that study.toml may name explains it" in nothing.sentence()
    assert check_scales(settings, *ridden({"one": -1.0})) == []  # a matter of signs, told as that


def test_of_two_recorders_too_far_apart_either_may_be_wrong(settings):
    checks = check_scales(settings, *ridden({"one": 4.2, "two": 1.0}))
    assert [(part.recorder, part.by) for part in recorders_in_doubt(checks)] == [
        ("two", OTHERS),
        ("one", OTHERS),
    ]
    assert checks[0].other_pct == pytest.approx(100 / 4.2) and checks[1].other_pct == pytest.approx(420)


def test_of_three_recorders_the_one_apart_from_both_others_is_in_doubt(settings):
    (check,) = recorders_in_doubt(check_scales(settings, *ridden({"one": 1.0, "two": 8.85, "three": 1.1})))
    assert check.recorder == "two"


@pytest.mark.parametrize(("times", "named"), [(1.4, False), (1.6, True), (3.9, True)])
def test_what_riders_may_differ_by_is_weak_evidence_and_no_doubt(settings, times, named):
    trials, powers = ridden({"one": 1.0, "two": times})
    checks = check_scales(settings, trials, powers)
    assert recorders_in_doubt(checks) == [] and [part.is_weak for part in checks] == [True] * named
    assert not any(cautions_of(checks, row.recorder, row.trial) for row in trials.itertuples())
    if named:
        assert "weak evidence" in checks[0].sentence() and checks[0].recorder == "one"


def test_one_or_two_trials_are_no_recorder(settings):
    trials, powers = ridden({"one": 0.1, "two": 1.0})
    few = trials.groupby("recorder").head(2)
    assert check_scales(settings, few, powers) == []


def test_riders_who_differ_as_people_do_are_never_doubted(settings):
    # A quarter of the mean: wider than the power of trained riders spreads at one intensity (from memory).
    found = [
        check_scales(settings, *ridden({"one": 1.0, "two": 1.0}, riders, spread=0.25, seed=seed))
        for seed in range(100)
        for riders in (1, 2, 6)
    ]
    assert not any(part.in_doubt for checks in found for part in checks)
    assert any(checks for checks in found) and sum(map(bool, found)) < 0.2 * len(found)


def test_all_trials_of_a_doubted_recorder_stand_under_caution_together(settings):
    trials, powers = ridden({"one": 1 / LBF_FT_IN_LBF_IN, "two": 1.0})
    # A rider so strong that his own trials on it do not look faint.
    powers |= {trial: 30.0 for trial in powers if trial.startswith("one1-easy")}
    trials.loc[0, "state"] = "not used"
    checks = check_scales(settings, trials, powers)
    found = doubt_recorders(checks, trials, dict(zip(trials["trial"], trials["recorder"], strict=True)))
    assert found.groupby("recorder")["state"].value_counts().to_dict() == {
        ("one", "caution"): 7,
        ("one", "not used"): 1,
        ("two", "used"): 8,
    }
    again = doubt_recorders(checks, found, dict(zip(trials["trial"], trials["recorder"], strict=True)))
    assert (again["reason"] == found["reason"]).all()


def test_powers_without_a_number_are_passed_over():
    trials, powers = ridden({"one": 1.0})
    powers[str(trials["trial"].iloc[0])] = float("nan")
    assert len(used_powers(trials, powers)) == len(trials) - 1
