"""A torque that no rider gives is refused, whatever unit was declared."""

from dataclasses import replace

import numpy as np
import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.signals.plausibility import WRONG_UNIT, highest_power_W
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.trial import analyse_trial
from analysis_lib.signals.units import unit_factor


def _ride(mean_Nm, rpm=90.0, duration_s=30):
    time_s = np.arange(0, duration_s, 0.01)
    crank = 2 * np.pi * rpm / 60 * time_s
    return Recording(time_s, crank, {"total": mean_Nm * (1 + 0.5 * np.cos(2 * crank))}, name="ride")


def test_newton_metres_recorded_in_thousandths_are_refused_with_the_unit_named():
    with pytest.raises(Refusal, match=r"scale = 0\.001") as refused:
        analyse_trial(_ride(25_000.0))
    assert refused.value.scope == "trial"


def test_a_sprint_of_a_champion_is_believed():
    # 1600 W at 129.8 rpm: the group mean of Dorel et al. 2005.
    assert analyse_trial(_ride(117.7, rpm=129.8)).value("power_W") == pytest.approx(1600, rel=0.01)


# NIST SP 811, appendix B.8, as printed there: foot pound-force, inch pound-force and kilogram-force meter in N·m.
TORQUE_UNITS = {"lbf ft": 1.355818, "lbf in": 0.1129848, "kgf cm": 9.80665 / 100}
LBF_IN_IN_NM = 0.112984829  # 1 lbf·in in N·m, NIST SP 811, appendix B.8


def test_pounds_force_inch_declared_as_newton_metres_are_refused():
    """120 W at 90 rpm for three minutes, 12.7 N·m: 112.7 lbf·in, which would be 1062 N·m·rad/s."""
    torque = 120 / (3 * np.pi)
    assert analyse_trial(_ride(torque, duration_s=180)).value("power_W") == pytest.approx(120, rel=0.01)
    with pytest.raises(Refusal, match=r"8\.85 times too much"):
        analyse_trial(_ride(torque / LBF_IN_IN_NM, duration_s=180))


# Mean power (W) that riders have held for so long (s): Wingate test of sprinters, 1-km and 4-km pursuit riders and the hour
# records of 1993 to 1996, all from memory (Craig & Norton 2001, Sports Med 31:457; Bassett et al. 1999, MSSE 31:1665).
@pytest.mark.parametrize(
    ("duration_s", "power_W"), [(30, 1100), (60, 800), (250, 570), (3600, 442), (3600, 510)]
)
def test_what_champions_have_held_is_believed(duration_s, power_W):
    assert highest_power_W(duration_s) > power_W


def test_the_limit_never_rises_with_duration():
    limits = [highest_power_W(duration) for duration in (1, 10, 25, 30, 60, 600, 3600)]
    assert limits == sorted(limits, reverse=True)


def test_newton_metres_declared_as_thousandths_leave_no_turn_and_the_message_names_the_unit():
    with pytest.raises(Refusal, match="N·m declared as mN·m"):
        analyse_trial(_ride(0.02))


def test_a_torque_of_the_wrong_sign_is_told_so_and_no_unit_is_blamed():
    with pytest.raises(
        Refusal, match=r"the torque is negative \(mean of a turn: total −16\.0 N·m\)"
    ) as refused:
        analyse_trial(_ride(-16.0))
    assert (
        "sign of the torque" in refused.value.remedy
        and "direction of the crank angle" in refused.value.remedy
    )
    assert "mN·m" not in refused.value.remedy


def test_the_leg_whose_torque_has_the_wrong_sign_is_named():
    time_s = np.arange(0, 30, 0.01)
    crank = 3 * np.pi * time_s
    legs = {"left": -12 * (1 + np.cos(crank)), "right": 8 * (1 - np.cos(crank))}
    with pytest.raises(Refusal, match=r"left −12\.0 N·m, right 8\.0 N·m, total −4\.0 N·m\).*sign of left"):
        analyse_trial(Recording(time_s, crank, legs, name="ride"))


def test_a_power_that_hardly_drives_anything_carries_a_caution():
    """200 W declared in pounds-force inch, 0.113 times as much: 22.6 W."""
    cautions = analyse_trial(_ride(200 / (3 * np.pi) * LBF_IN_IN_NM)).cautions
    assert [said for said in cautions if "22.6 W" in said and "unit and scale" in said]
    assert not [said for said in analyse_trial(_ride(20.0)).cautions if "unit and scale" in said]


def test_milliseconds_declared_as_seconds_are_told_the_unit():
    ride = _ride(20.0)
    slow = Recording(1000 * ride.time_s, ride.crank_rad, ride.torque, name="ride")
    with pytest.raises(Refusal, match="milliseconds declared as s"):
        analyse_trial(slow)


@pytest.mark.parametrize(
    ("duration_s", "power_W", "doubted"), [(60, 800, False), (60, 1200, True), (250, 570, False)]
)
def test_more_than_any_record_for_as_long_carries_a_caution(duration_s, power_W, doubted):
    """510 + 35 000/60 = 1093 W for a minute: 150 W declared in pounds-force inch are 1328 W, below the refusal."""
    result = analyse_trial(_ride(power_W / (3 * np.pi), duration_s=duration_s + 2))
    assert any("published stores of work" in said for said in result.cautions) == doubted


def test_a_channel_beyond_its_full_scale_is_told_to_look_at_unit_and_full_scale():
    recording = _ride(25.0)
    everywhere = {"total": np.arange(recording.time_s.size)}
    with pytest.raises(Refusal, match="look at full_scale_Nm, and at unit and scale"):
        analyse_trial(replace(recording, saturated=everywhere))


@pytest.mark.parametrize(("unit", "newton_metres"), TORQUE_UNITS.items())
def test_torque_units_are_those_of_the_handbook(unit, newton_metres):
    assert unit_factor("torque_Nm", unit, "ride.csv") == pytest.approx(newton_metres, rel=5e-7)


def test_the_hint_says_how_far_each_unit_is_off():
    """1/0.1129848 = 8.851, 1/0.0980665 = 10.197, 1/1.355818 = 0.7376."""
    for words in ("inch declared as N·m read 8.85 times", "centimetres 10.2 times", "foot are 0.74 times"):
        assert words in WRONG_UNIT
