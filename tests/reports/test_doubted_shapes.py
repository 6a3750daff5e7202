"""An axis ratio that is wrong in study.toml: said in `check`, first on every page, and nothing is said of a meter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from edits import replace_in_settings, spoiled
from gathering import gathered
from said_numbers import names_with_numbers, page_of, sentences_without_rows

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.periodic import crank_angles
from analysis_lib.mechanics.ring import Ring
from analysis_lib.mechanics.ring_factor import inertia_share, speed_waves
from analysis_lib.reports.rider import prediction_words, rider_words
from analysis_lib.reports.rider.joined_rings import join_rings
from analysis_lib.reports.rider.rider_analysis import analyse_rider
from analysis_lib.reports.rider.speed_fit import compare_trial_speeds
from analysis_lib.reports.running.check import check_study
from analysis_lib.reports.several_rings import rings_words
from analysis_lib.reports.several_rings.rings_analysis import RingsAnalysis
from analysis_lib.reports.single_rider import single_rider_words
from analysis_lib.reports.single_rider.single_rider_analysis import SingleRiderAnalysis
from analysis_lib.reports.study import answer_cautions, exclusion_exhibits, meter_words, study_words
from analysis_lib.reports.study.sensitivity_exhibits import agreement_sentences
from analysis_lib.reports.study.sister_analyses import sister_analyses
from analysis_lib.reports.trials.ring_shapes import INERTIA_SHARE, RING_FACTOR, doubt_shapes, doubtful_factors
from analysis_lib.reports.trials.shape_exhibits import shape_tables
from analysis_lib.reports.trials.shape_words import doubted_shapes, shape_doubts
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.synthetic import small_rings_study, small_study
from analysis_lib.study.synthetic.synthetic_plan import DEMO_INTENSITIES

ONE = DEMO_INTENSITIES[2:]
RIDDEN, TOLD = 1.13, 1.30
"""Axis ratios: of the ring that the virtual riders rode (`SyntheticStudy.axis_ratio`), and written into study.toml."""

OVAL_BY = (RIDDEN - 1) / (RIDDEN + 1) / ((TOLD - 1) / (TOLD + 1))
"""Swing of the true ellipse's arm over that of the stated one: 0.47."""


@pytest.fixture(scope="module")
def honest(tmp_path_factory):
    """Four riders, each with two trials on the round ring and two on the oval one."""
    folder = tmp_path_factory.mktemp("shapes") / "honest"
    small_study(folder, riders=4, duration_s=6.0, rate_hz=50.0, intensities=ONE, rules={"min_turns": 5})
    return folder


def told(honest, name: str, old: str, new: str):
    """Copy a study with one line of study.toml changed."""
    folder = spoiled(honest, name)
    replace_in_settings(folder, old, new)
    return folder


@pytest.fixture(scope="module")
def wrong_shape(honest):
    folder = told(honest, "shape", f"axis_ratio = {RIDDEN}", f"axis_ratio = {TOLD}")
    return folder, *gathered(folder)


def test_an_honest_study_is_not_doubted(honest):
    riders, analysis = gathered(honest)
    assert analysis.trials[RING_FACTOR].isna().all() and set(analysis.trials["state"]) == {"used"}
    assert shape_tables(analysis) == []
    assert "the error lies" in " ".join(meter_words.meter_sentences(analysis))
    said = [*study_words.answer(analysis), *exclusion_exhibits.answer(analysis)]
    assert "as oval" not in " ".join([*said, *rider_words.answer(riders["R01"])])


@pytest.mark.parametrize("inertia_kgm2", [2.0, 21.0, 39.0])
def test_a_wrong_inertia_is_no_wrong_shape(honest, inertia_kgm2):
    folder = told(honest, f"inertia {inertia_kgm2:g}", "load_kgm2 = 30.0", f"load_kgm2 = {inertia_kgm2}")
    assert analyse_rider(open_study(folder), "R01").trials[RING_FACTOR].isna().all()


def test_a_wrong_axis_ratio_is_found_and_what_the_true_one_is(wrong_shape, capsys):
    folder, _, analysis = wrong_shape
    factors = analysis.trials.set_index("ring")[RING_FACTOR]
    assert factors["round"].isna().all() and len(factors["oval"]) == 8
    assert factors["oval"].to_numpy() == pytest.approx(OVAL_BY, rel=0.05)
    table = doubted_shapes(analysis.study.settings, analysis.trials)
    assert list(table["whose"]) == ["R01", "R02", "R03", "R04", "all together"]
    assert table["looks"].to_numpy() == pytest.approx(RIDDEN, abs=0.01)
    assert dict(analysis.trials.groupby("ring")["state"].agg(set)) == {"oval": {"caution"}, "round": {"used"}}
    assert check_study(folder) == 0  # a caution is no fault
    cautions = capsys.readouterr().out.partition("1 caution:\n")[2]
    assert cautions.strip().startswith(
        "In 8 of 8 trials on the ring oval the crank's speed swings as with a ring 0.4"
    )
    assert "where 1.30 is declared. Look at axis_ratio in [rings.oval]" in cautions
    assert "The inertia does not explain it" in cautions and "These are all riders' trials" in cautions


def test_every_page_says_it_first_and_asserts_nothing_of_a_meter(wrong_shape):
    _, riders, analysis = wrong_shape
    alone = SingleRiderAnalysis(analysis.study, {"R02": analysis.tables["R02"]}, {}, False)
    studies = (study_words.answer(analysis), exclusion_exhibits.answer(analysis))
    own = (single_rider_words.answer(alone), rider_words.answer(riders["R02"]))
    for trials, (first, *_) in [*((8, said) for said in studies), *((2, said) for said in own)]:
        assert first.startswith(
            "What is predicted for an oval ring, and what a meter would show, is not to be relied on as it stands:"
            f" in {trials} of {trials} trials on the ring oval the crank's speed swings as with"
        )
    meter = " ".join(meter_words.meter_sentences(analysis))
    assert "contradict in 8 of 8 trials" in meter and "the error lies" not in meter
    speed = " ".join(prediction_words.speed(compare_trial_speeds(riders["R01"])))
    assert "as with a rounder ring: look at axis_ratio" in speed and "more inertia" not in speed


def test_what_to_do_about_a_ring_without_any_firm_trial_is_to_measure_it_not_to_ride_more(wrong_shape):
    analysis = wrong_shape[2]
    outcome = analysis.outcomes[0]
    (said,) = answer_cautions.without_cautions(analysis, outcome)
    assert said.startswith(
        "Without trials under caution nothing can be said: trials that nothing speaks against"
    )
    assert (
        "got none on oval" in said
        and "measure the ring and correct axis_ratio, or outline, in study.toml" in said
    )
    assert "add the missing trials" not in " ".join(study_words.answer(analysis))
    agreement = " ".join(agreement_sentences(sister_analyses(analysis, outcome)))
    assert "Primary, without cautions cannot be made" in agreement and "measure the ring" in agreement
    assert "add the missing trials" not in agreement


def test_of_trials_doubted_for_many_reasons_the_table_of_cautions_says_what_to_mend(wrong_shape):
    analysis = wrong_shape[2]
    other = replace(analysis)
    other.__dict__["trials"] = analysis.trials.assign(**{RING_FACTOR: np.nan}, reason="Few turns.")
    (said,) = answer_cautions.without_cautions(other, analysis.outcomes[0])
    assert "mend what the table of cautions says" in said and "axis_ratio" not in said


def test_where_the_round_ring_s_trials_are_doubted_too_each_ring_has_its_remedy(wrong_shape):
    analysis = wrong_shape[2]
    other = replace(analysis)
    other.__dict__["trials"] = analysis.trials.assign(state="caution", reason="Few turns.")
    (said,) = answer_cautions.without_cautions(other, analysis.outcomes[0])
    assert "got none on oval or round" in said
    assert "on oval: measure the ring and correct axis_ratio" in said
    assert "on round: mend what the table of cautions says of them" in said


def test_without_the_round_ring_the_inertia_is_not_known_and_that_is_said(wrong_shape):
    rider = wrong_shape[1]["R01"]
    oval = rider.trials[rider.trials["ring"] == "oval"]
    settings = rider.study.settings
    found = doubt_shapes(settings, oval, rider.results)
    assert found[INERTIA_SHARE].isna().all()
    assert found[RING_FACTOR].to_numpy() == pytest.approx(OVAL_BY, rel=0.1)
    assert "No trial on the round ring tells the inertia" in shape_doubts(settings, found)[0]


def test_the_numbers_said_lead_to_a_row(wrong_shape, monkeypatch):
    folder, riders, analysis = wrong_shape
    names = names_with_numbers(folder)
    known = {"05_data_quality": analysis, "03_rider_report": riders["R02"], "04_study_report": analysis}
    for template, here in known.items():
        text = page_of(f"{template}.ipynb", monkeypatch, analysis=here)
        assert 'href="#table-ring_shape--' in text
        assert [line for line in sentences_without_rows(text, names) if "as oval" in line] == []


def test_of_several_ovals_the_wrong_one_is_named(tmp_path):
    root = tmp_path / "rings"
    small_rings_study(root, riders=6, duration_s=6.0, rate_hz=50.0, intensities=ONE)
    study = open_study(told(root, "told", "axis_ratio = 1.25", "axis_ratio = 1.1"))
    tables = {name: analyse_rider(study.comparing(name), "R01").tables for name in study.settings.oval_rings}
    joined = RingsAnalysis(study, {"R01": join_rings(study.settings, tables)}, {})
    factors = joined.trials.set_index("ring")[RING_FACTOR].dropna()
    assert list(factors.index) == ["strong"]
    assert factors["strong"] == pytest.approx((0.25 / 2.25) / (0.1 / 2.1), rel=0.05)
    first = rings_words.answer(joined)[0]
    assert "on the ring strong" in first and "about of axis ratio 1.2" in first
    assert "contradict in 1 of 1 trial on the ring strong" in rings_words.meter_sentences(joined)[-1]


def virtual_factors(rng: np.random.Generator, true: float, stated: float) -> list[float]:
    """Judge one virtual rider, with an inertia that is stated up to 30 % wrong, a mount 2° off and a noisy speed."""
    crank = crank_angles(360)
    inertia, wrong_by = np.exp(rng.uniform(np.log(4), np.log(100))), rng.uniform(0.7, 1.3)
    mount, peak = rng.uniform(40, 115), np.radians(rng.uniform(90, 110))

    def waves(ratio: float, said: float):
        def drive(axes: float, at: float, load: float) -> Drivetrain:
            ring = Ring.round(50) if axes == 1 else Ring.ellipse(50, axes)
            return Drivetrain(ring, at, 17, wheel_inertia_kgm2=load / (50 / 17) ** 2)

        mean = rng.uniform(12, 32)
        torque = mean * (1 + rng.uniform(0.5, 0.9) * np.cos(2 * (crank - peak)))
        speed = drive(ratio, mount + rng.normal(0, 2), inertia).steady_speed(torque, rng.uniform(80, 100))
        noise = rng.normal(0, 0.0035) * np.cos(2 * crank - rng.uniform(0, 6)) + rng.normal(0, 0.002, 360)
        return speed_waves(drive(said, mount, inertia * wrong_by), torque, speed * (1 + noise))

    share = inertia_share([waves(1, 1) for _ in range(rng.integers(0, 3))])
    return doubtful_factors([waves(true, stated) for _ in range(rng.integers(1, 3))], share)


@pytest.mark.parametrize(
    "true, stated, found",
    [(1.1, 1.1, 0), (1.2, 1.2, 0), (1.1, 1.2, 1), (1.1, 1.3, 1), (1.2, 1.1, 1), (1.1, 1.05, 1)],
)
def test_virtual_riders_are_doubted_where_the_ring_is_another_and_nowhere_else(true, stated, found):
    rng = np.random.default_rng(20261130)
    doubted = [np.isfinite(virtual_factors(rng, true, stated)).any() for _ in range(100)]
    assert abs(np.mean(doubted) - found) <= 0.02
