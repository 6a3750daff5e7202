"""A mount that is wrong in trials.csv, or a crank angle with a wrong zero: said in `check`, and first on every page."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest
from edits import edit_table, replace_in_settings, spoiled
from gathering import gathered
from said_numbers import names_with_numbers, page_of, sentences_without_rows

from analysis_lib.mechanics.periodic import axial_change_deg
from analysis_lib.reports.rider import rider_words
from analysis_lib.reports.rider.joined_rings import join_rings
from analysis_lib.reports.rider.rider_analysis import analyse_rider
from analysis_lib.reports.rider.speed_fit import compare_trial_speeds
from analysis_lib.reports.running.check import check_study
from analysis_lib.reports.several_rings import rings_words
from analysis_lib.reports.several_rings.rings_analysis import RingsAnalysis
from analysis_lib.reports.single_rider import single_rider_words
from analysis_lib.reports.single_rider.single_rider_analysis import SingleRiderAnalysis
from analysis_lib.reports.study import exclusion_exhibits, meter_words, study_words
from analysis_lib.reports.trials.turned_exhibits import turn_tables
from analysis_lib.reports.trials.turned_trials import TURNED_BY, fit_turn_deg
from analysis_lib.reports.trials.turned_words import turned_riders
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.synthetic import small_rings_study, small_study
from analysis_lib.study.synthetic.synthetic_plan import DEMO_INTENSITIES

ONE = DEMO_INTENSITIES[2:]
RIDDEN_DEG, TOLD_DEG = 70.0, 160.0
SHIFTED_DEG = 40.0
NEAR_DEG = 1.0
"""Six seconds at 50 Hz tell an axis to a fraction of a degree."""


@pytest.fixture(scope="module")
def honest(tmp_path_factory):
    """Four riders, each with two trials on the round ring and two on the oval one."""
    folder = tmp_path_factory.mktemp("turned") / "honest"
    small_study(folder, riders=4, duration_s=6.0, rate_hz=50.0, intensities=ONE, rules={"min_turns": 5})
    return folder


def tell_mount(folder, ring: str) -> None:
    """Write the wrong mount in every trial on a ring."""
    edit_table(
        folder,
        "trials.csv",
        lambda trials: trials.assign(
            mount_deg=trials["mount_deg"].mask(trials["ring"] == ring, f"{TOLD_DEG}")
        ),
    )


def shift_angle(folder, rider: str, by_deg: float) -> None:
    """Add to the crank angle of every recording of a rider."""
    for path in (folder / "recordings").glob(f"{rider}-*.parquet"):
        samples = pd.read_parquet(path)
        shifted = (samples["crank_mdeg"] + round(1000 * by_deg)) % 360_000
        samples.assign(crank_mdeg=shifted.astype(samples["crank_mdeg"].dtype)).to_parquet(path, index=False)


@pytest.fixture(scope="module")
def wrong_mount(honest):
    folder = spoiled(honest, "mount")
    replace_in_settings(folder, "115.0]", f"115.0, {TOLD_DEG}]")
    tell_mount(folder, "oval")
    return folder, *gathered(folder)


@pytest.fixture(scope="module")
def wrong_angle(honest):
    folder = spoiled(honest, "angle")
    shift_angle(folder, "R02", SHIFTED_DEG)
    return folder, *gathered(folder)


def test_an_honest_study_is_not_doubted(honest, capsys):
    riders, analysis = gathered(honest)
    assert set(analysis.trials["state"]) == {"used"} and analysis.trials[TURNED_BY].isna().all()
    assert turned_riders(analysis.trials).empty and turn_tables(analysis.trials) == []
    said = [*study_words.answer(analysis), *exclusion_exhibits.answer(analysis)]
    said += [line for found in riders.values() for line in rider_words.answer(found)]
    assert "turned" not in " ".join(said)
    assert "the error lies" in " ".join(meter_words.meter_sentences(analysis))
    assert check_study(honest) == 0
    assert "0 cautions\n" in capsys.readouterr().out


def test_a_mount_that_is_wrong_throughout_is_found_by_as_much_as_it_is_wrong(wrong_mount, capsys):
    folder, _, analysis = wrong_mount
    turns = analysis.trials.set_index("ring")[TURNED_BY]
    assert turns["round"].isna().all() and len(turns["oval"]) == 8
    off = [axial_change_deg(turn - (RIDDEN_DEG - TOLD_DEG)) for turn in turns["oval"]]
    assert np.abs(off).max() < NEAR_DEG
    assert dict(analysis.trials.groupby("ring")["state"].agg(set)) == {"oval": {"caution"}, "round": {"used"}}
    assert check_study(folder) == 0  # a caution is no fault
    cautions = capsys.readouterr().out.partition("caution:\n")[2]
    assert cautions.strip().startswith(
        "In 8 of 8 trials on an oval ring the crank's speed is that of a ring turned by "
    )
    assert "look first at what all share" in cautions


def test_the_range_of_a_quarter_turn_does_not_go_around(wrong_mount):
    """Turns of −90° and +89.9° are neighbours."""
    table = turned_riders(wrong_mount[2].trials)
    assert list(table["rider"]) == ["R01", "R02", "R03", "R04", "all together"]
    assert ((table["to_deg"] - table["from_deg"]) < 2 * NEAR_DEG).all()
    assert (table["turned_deg"].abs() - 90).abs().max() < NEAR_DEG


def test_the_study_s_page_says_it_first_and_asserts_nothing_of_a_meter(wrong_mount):
    analysis = wrong_mount[2]
    for said in (study_words.answer(analysis), exclusion_exhibits.answer(analysis)):
        assert said[0].startswith("Not to be relied on as it stands: in 8 of 8 trials on an oval ring")
    *_, last = meter = meter_words.meter_sentences(analysis)
    assert "contradict in 8 of 8 trials" in last
    assert "the error lies" not in " ".join(meter)


def test_one_rider_s_angle_is_found_on_that_rider_s_pages_alone(wrong_angle, capsys):
    folder, riders, analysis = wrong_angle
    turned = analysis.trials.dropna(subset=[TURNED_BY])
    assert set(turned["rider"]) == {"R02"} and set(turned["ring"]) == {"oval"} and len(turned) == 2
    assert np.abs(turned[TURNED_BY] + SHIFTED_DEG).max() < NEAR_DEG
    first = study_words.answer(analysis)[0]
    assert "in 2 of 8 trials" in first and re.search(
        r"By rider: R02 −(39\.\d|40\.\d)° \(2 of 2 trials\)\.", first
    )
    own = rider_words.answer(riders["R02"])[0]
    assert own.startswith("Not to be relied on as it stands: in 2 of 2 trials") and "turned by −" in own
    assert not [line for line in rider_words.answer(riders["R01"]) if "turned" in line]
    assert check_study(folder) == 0
    assert "In 2 of 8 trials on an oval ring" in capsys.readouterr().out
    assert (
        f"mounted at 30°, not {RIDDEN_DEG:g}°"
        in exclusion_exhibits.cautions_table(analysis).frame["reason"].iloc[0]
    )


def test_the_numbers_said_lead_to_a_row(wrong_angle, monkeypatch):
    folder, riders, analysis = wrong_angle
    names = names_with_numbers(folder)
    known = {"05_data_quality": analysis, "03_rider_report": riders["R02"], "04_study_report": analysis}
    for template, here in known.items():
        text = page_of(f"{template}.ipynb", monkeypatch, analysis=here)
        assert 'href="#table-turned--' in text
        assert [line for line in sentences_without_rows(text, names) if "turned" in line] == []
        if template != "05_data_quality":  # its own table names each trial
            count = int((here.trials["state"] == "caution").sum())
            link = f'<a class="row" href="#table-cautions--used-under-caution">{count}</a> of {len(here.trials)} trials'
            assert 0 < count < len(here.trials)
            assert (
                f"{link} behind these numbers"
                in text.partition('<div class="answer">')[2].partition("</div>")[0]
            )


def test_a_wrong_inertia_turns_the_speed_too_but_is_no_wrong_mount(honest):
    folder = spoiled(honest, "inertia")
    replace_in_settings(folder, "crank_inertial_load_kgm2 = 30.0", "crank_inertial_load_kgm2 = 2.0")
    found = analyse_rider(open_study(folder), "R01")
    speeds = compare_trial_speeds(found)
    assert speeds.loc[speeds["ring"] == "oval", "verdict"].str.contains("turned").any()
    assert found.trials[TURNED_BY].isna().all()


def test_the_pages_of_one_rider_and_of_several_rings_say_it_too(wrong_angle, tmp_path):
    analysis = wrong_angle[2]
    alone = SingleRiderAnalysis(analysis.study, {"R02": analysis.tables["R02"]}, {}, False)
    assert "in 2 of 2 trials on an oval ring" in single_rider_words.answer(alone)[0]

    root = tmp_path / "rings"
    small_rings_study(root, riders=6, duration_s=6.0, rate_hz=50.0, intensities=ONE)
    (root / "datapackage.json").unlink(missing_ok=True)
    shift_angle(root, "R01", SHIFTED_DEG)
    study = open_study(root)
    tables = {name: analyse_rider(study.comparing(name), "R01").tables for name in study.settings.oval_rings}
    joined = RingsAnalysis(study, {"R01": join_rings(study.settings, tables)}, {})
    turns = joined.trials.set_index("ring")[TURNED_BY]
    assert set(turns.dropna().index) == {"oval", "strong"}
    assert np.abs(turns.dropna() + SHIFTED_DEG).max() < NEAR_DEG
    assert "in 2 of 2 trials on an oval ring" in rings_words.answer(joined)[0]
    assert "contradict" in rings_words.meter_sentences(joined)[-1]


def test_the_turn_is_fitted_from_the_ring_s_own_part_of_the_speed():
    """A speed in closed form: what torque does, and a ring's two waves a turn that a later mount brings earlier."""
    crank = np.radians(np.arange(360))

    def predict(turned_deg: float):
        of_ring = 0.05 * np.cos(2 * (crank + np.radians(turned_deg)))
        return 9.0 * (1 + 0.03 * np.cos(2 * crank - 1.0) + 0.01 * np.cos(crank) + of_ring)

    for turn in (-61.0, -12.0, 0.0, 37.0, 89.0):
        assert fit_turn_deg(predict, predict(turn)) == pytest.approx(turn, abs=1e-6)
