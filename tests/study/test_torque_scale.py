"""A torque scale held against gas exchange and against the power that was asked for."""

from __future__ import annotations

import math

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis_lib.study.declared.protocol import Metabolism, Outcome
from analysis_lib.study.declared.settings import StudySettings, read_settings
from analysis_lib.study.doubts import torque_scale
from analysis_lib.study.doubts.scale_check import ASKED, GASES
from analysis_lib.study.doubts.torque_scale import (
    cautions_of,
    check_scales,
    efficiency_band_pct,
    recorders_in_doubt,
)

NM_IN_LBF_IN = 0.112984829  # 1 lbf·in in N·m, NIST SP 811, appendix B.8
NM_IN_LBF_FT = 1.3558179  # 1 lbf·ft in N·m, likewise
KJ_PER_LITRE = 16.58 + 4.51 * 0.9  # Brockway at an exchange ratio of 0.90


# Metabolic power is power over efficiency. Moseley & Jeukendrup 2001: 19.8 %, from about 165 W on; Leirdal & Ettema 2011:
# 21.7 % at 279 W; Lucía et al. 2002: 24.5 % at 385 W (from memory); Gaesser & Brooks 1975: 20.4 % at 131 W and 60 rpm, the
# most efficient of theirs (from memory); 15 % at 80 W is what an equation of rest and work gives a heavy rider.
@pytest.mark.parametrize(
    ("power_W", "efficiency_pct"), [(165, 19.8), (279, 21.7), (385, 24.5), (131, 20.4), (80, 15.0)]
)
def test_published_efficiencies_are_plausible(power_W, efficiency_pct):
    low, high = efficiency_band_pct(100 * power_W / efficiency_pct)
    assert low < efficiency_pct < high


# American College of Sports Medicine, equation of leg cycling (from memory, very sure): oxygen uptake is 10.8 mL a minute
# and watt, and 7 mL a minute and kg; 20.6 J a millilitre at an exchange ratio of 0.90.
@given(st.floats(45, 100), st.floats(80, 350))
def test_riders_after_the_colleges_equation_are_plausible(mass_kg, power_W):
    metabolic = (10.8 * power_W + 7 * mass_kg) * KJ_PER_LITRE / 60
    low, high = efficiency_band_pct(metabolic)
    assert low < 100 * power_W / metabolic < high


# Rest and unloaded legs 170 W, 4 W a watt: between the published means above.
@given(st.floats(120, 350))
def test_the_smallest_wrong_unit_leaves_the_band_of_a_usual_rider(power_W):
    metabolic = 170 + 4 * power_W
    low, high = efficiency_band_pct(metabolic)
    efficiency = 100 * power_W / metabolic
    assert efficiency * NM_IN_LBF_FT > high
    assert efficiency / NM_IN_LBF_FT < low


EFFICIENCY = Outcome(
    name="gross_efficiency_pct",
    label="Gross efficiency",
    unit="%",
    source="derived",
    better="higher",
    smallest_effect=0.6,
    intensities=("easy",),
)


@pytest.fixture
def declared(tiny) -> StudySettings:
    """The settings of a small study with gases at easy; its recorder writes torque of both legs in N·m."""
    settings = read_settings(tiny.root / "study.toml")
    rules = Metabolism(equation="brockway", steady_change_pct=5.0)
    return settings.model_copy(update={"outcomes": [*settings.outcomes, EFFICIENCY], "metabolism": rules})


def in_unit(settings: StudySettings, unit: str) -> StudySettings:
    """The same with torque declared in another unit."""
    ((name, recorder),) = settings.recorders.items()
    columns = {
        key: part.model_copy(update={"unit": unit}) if key.startswith("torque") else part
        for key, part in recorder.columns.items()
    }
    return settings.model_copy(update={"recorders": {name: recorder.model_copy(update={"columns": columns})}})


def ridden(settings: StudySettings, factor: float = 1.0, apart: float = 1.0, trials: int = 6):
    """Trials at easy with the gases of a usual rider (170 W and 4 W a watt), recorded `factor` times; and one at hard.

    The last of those at easy is recorded `apart` times besides.
    """
    ((recorder, _),) = settings.recorders.items()
    true = [160.0 + 10 * place for place in range(trials)]
    litres = [(170 + 4 * power) * 60 / 1000 / KJ_PER_LITRE for power in true]
    rows = [(f"T{place}", "easy", recorder, vo2, 0.9 * vo2) for place, vo2 in enumerate(litres)]
    rows.append(("TH", "hard", recorder, 9.0, 8.1))  # gases at an intensity for which nobody wants them
    powers = {f"T{place}": factor * power for place, power in enumerate(true)}
    powers[f"T{trials - 1}"] *= apart
    columns = ["trial", "intensity", "recorder", "vo2_L_min", "vco2_L_min"]
    return pd.DataFrame(rows, columns=columns), {**powers, "TH": factor * 260.0}


def test_honest_trials_raise_no_caution(declared):
    trials, powers = ridden(declared)
    (whole,) = check_scales(declared, trials, powers)
    # Six trials of 160 to 210 W: the median of 160/810 to 210/1010, the two in the middle being 180/890 and 190/930.
    assert whole.n == 6 and not whole.in_doubt
    assert whole.found_pct == pytest.approx((100 * 180 / 890 + 100 * 190 / 930) / 2)
    assert recorders_in_doubt([whole]) == [] and cautions_of([whole], whole.recorder, "T0") == []


@pytest.mark.parametrize(
    ("declared_as", "written_in", "factor"),
    [
        ("lbf in", "N·m", NM_IN_LBF_IN),
        ("lbf ft", "N·m", NM_IN_LBF_FT),
        ("N m", "lbf·ft", 1 / NM_IN_LBF_FT),
        ("N m", "lbf·in", 1 / NM_IN_LBF_IN),
        ("kgf cm", "N·m", 0.0980665),
    ],
)
def test_a_wrong_unit_puts_all_trials_of_the_recorder_under_caution(
    declared, declared_as, written_in, factor
):
    settings = in_unit(declared, declared_as)
    trials, powers = ridden(settings, factor)
    checks = check_scales(settings, trials, powers)
    (whole,) = recorders_in_doubt(checks)
    assert (whole.by, whole.n) == (GASES, 6)
    said = whole.sentence()
    assert f"A file in {written_in} that is declared as {declared_as.replace(' ', '·')}" in said
    assert f"recorder {whole.recorder} is in doubt" in said and "median, n = 6 trials" in said
    for trial in trials["trial"]:  # that at hard too, of which no gases are wanted
        (caution,) = cautions_of(checks, whole.recorder, trial)
        assert caution == whole.doubt()
    assert cautions_of(checks, "another", "T0") == []


def test_one_trial_apart_is_its_own_caution(declared):
    trials, powers = ridden(declared, apart=1.5)
    whole, apart = check_scales(declared, trials, powers)
    assert not whole.in_doubt and apart.trial == "T5"
    # 210 W at 1010 W, one and a half times: 31.2 %; 22 · (1 − 240/1010) = 16.77 and 28 · (1 − 110/1010) = 24.95, each wider
    # by twice 4.2 %, the spread of a rider's trials (Moseley & Jeukendrup 2001)
    (said,) = cautions_of([whole, apart], whole.recorder, "T5")
    assert "31.2 %" in said and "15.4 to 27.0 %" in said
    assert cautions_of([whole, apart], whole.recorder, "T0") == []
    assert "gases" in apart.sentence() and recorders_in_doubt([whole, apart]) == []


def test_a_trial_that_scatters_as_trials_do_is_none_apart(declared):
    (whole,) = check_scales(declared, *ridden(declared, apart=1.22))  # 25.4 %, beyond 24.95 but within 27.0 %
    assert whole.n == 6 and not whole.in_doubt


def test_two_trials_do_not_judge_a_recorder(declared):
    trials, powers = ridden(declared, factor=1.5, trials=2)
    found = check_scales(declared, trials, powers)
    assert [part.trial for part in found] == ["T0", "T1"] and recorders_in_doubt(found) == []


def test_trials_without_power_or_gases_are_passed_over(declared):
    trials, powers = ridden(declared)
    powers["T0"] = math.nan
    del powers["T1"]
    trials.loc[trials["trial"] == "T2", "vco2_L_min"] = 99.0  # an exchange ratio that tells no energy
    (whole,) = check_scales(declared, trials, powers)
    assert whole.n == 3
    bare = declared.model_copy(update={"metabolism": None})
    assert check_scales(bare, trials, powers) == []


def asking(settings: StudySettings, target_W: float) -> StudySettings:
    """The same study without gases, had power been set at easy."""
    asked = [
        part.model_copy(update={"target_power_W": target_W if part.name == "easy" else None})
        for part in settings.intensities
    ]
    return settings.model_copy(update={"intensities": asked, "metabolism": None})


@pytest.mark.parametrize("factor", [0.9, 1.0, 1.1])
def test_power_near_what_was_asked_for_speaks_for_the_scale(declared, factor):
    trials, powers = ridden(declared, factor)
    (whole,) = check_scales(asking(declared, 185.0), trials, powers)
    assert (whole.by, whole.in_doubt) == (ASKED, False)


@pytest.mark.parametrize(
    ("declared_as", "factor", "percent"),
    [("lbf ft", NM_IN_LBF_FT, "135.6 %"), ("N m", 1 / NM_IN_LBF_FT, "73.8 %")],
)
def test_power_far_from_what_was_asked_for_names_the_recorder(declared, declared_as, factor, percent):
    settings = asking(in_unit(declared, declared_as), 185.0)
    trials, powers = ridden(settings, factor)
    (whole,) = recorders_in_doubt(check_scales(settings, trials, powers))
    assert percent in whole.sentence() and "whether the power was held" in whole.sentence()
    assert "lbf·ft" in whole.sentence()


def test_the_bounds_about_a_target_lie_halfway_to_the_nearest_unit():
    halfway = math.sqrt(NM_IN_LBF_FT)
    low, high = torque_scale.ASKED_PCT
    assert (low, high) == pytest.approx((100 / halfway, 100 * halfway), abs=0.5)


@pytest.mark.parametrize(
    ("column", "factor", "words"),
    [
        ("torque_Nm", 0.5, "one leg's torque that is declared as that of both"),
        ("torque_left_Nm", 2.0, "declared as one leg's"),
    ],
)
def test_legs_counted_wrongly_are_named(declared, column, factor, words):
    ((name, recorder),) = declared.recorders.items()
    torque = next(part for key, part in recorder.columns.items() if key.startswith("torque"))
    rest = {key: part for key, part in recorder.columns.items() if not key.startswith("torque")}
    one = recorder.model_copy(update={"columns": {**rest, column: torque}})
    settings = declared.model_copy(update={"recorders": {name: one}})
    (whole,) = recorders_in_doubt(check_scales(settings, *ridden(settings, factor)))
    assert words in whole.explained_by[0]


def test_what_no_unit_explains_is_said(declared):
    settings = in_unit(declared, "N m")
    (whole,) = recorders_in_doubt(check_scales(settings, *ridden(settings, 0.3)))
    assert "No unit that study.toml may name explains it; look at" in whole.sentence()
    (negative,) = recorders_in_doubt(check_scales(settings, *ridden(settings, -1.0)))
    assert negative.explained_by == ()
