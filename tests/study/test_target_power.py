"""Recorded power against the power asked for."""

import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.corrections.target_power import check_target


@pytest.mark.parametrize("power", [140.0, 200.0, 290.0])
def test_power_near_its_target_is_passed_over(power):
    assert check_target(power, 200.0, "T1") == []


@pytest.mark.parametrize("power", [100.0, 400.0])
def test_half_or_twice_the_target_is_a_caution(power):
    (said,) = check_target(power, 200.0, "T1")
    assert f"{power:.0f} W where 200 W were asked for" in said


@pytest.mark.parametrize("factor", [8.85, 0.113, 1000.0, 0.001, -1.0])
def test_a_wrong_unit_or_sign_is_refused(factor):
    with pytest.raises(Refusal, match="unit and scale") as caught:
        check_target(200.0 * factor, 200.0, "T1")
    assert (caught.value.scope, caught.value.trial) == ("trial", "T1")


def test_the_target_of_study_toml_reaches_the_trial(tiny):
    study = open_study(tiny.root)
    row = study.trials[study.trials["trial"] == "T1"].iloc[0]
    power = study.load_trial("T1").value("power_W")
    name = f'name = "{row["intensity"]}"'
    tiny.replace("study.toml", name, f"{name}\ntarget_power_W = {power / 8.85:.1f}")
    with pytest.raises(Refusal, match=r"8\.85 times as much"):
        open_study(tiny.root).load_trial("T1")
