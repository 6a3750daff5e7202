"""What the rider's page says about mounting and prediction, at the level of the library."""

import dataclasses
import math

import numpy as np
import pandas as pd
import pytest
from edits import edit_table

from analysis_lib.mechanics.mount_criteria import ANY, ONE, UNDECIDED, MountCriteria
from analysis_lib.mechanics.mount_losses import CRITERIA
from analysis_lib.mechanics.speed_agreement import compare_speeds
from analysis_lib.mechanics.stroke_slope import StrokeSlope
from analysis_lib.refusals import Refusal
from analysis_lib.reports.rider import (
    mount_exhibits,
    mount_terms,
    mount_words,
    prediction_exhibits,
    prediction_words,
    rider_words,
)
from analysis_lib.reports.rider.mount_sessions import MountSessions, compare_sessions, sessions_table
from analysis_lib.reports.rider.oval_prediction import predict_for_rider
from analysis_lib.reports.rider.rider_analysis import analyse_rider
from analysis_lib.reports.rider.rider_mounting import DISAGREE, RiderMounting
from analysis_lib.reports.rider.road_measured import measured_shift, measured_tables
from analysis_lib.reports.rider.road_shift import RoadShift, shift_to_road
from analysis_lib.reports.rider.speed_fit import compare_trial_speeds
from analysis_lib.reports.trials.other_ring import OTHER_RING, doubt_rings
from analysis_lib.reports.trials.speed_verdict import speed_verdict
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.corrections.trial_budget import ANGLE_ZERO, DELAY
from analysis_lib.study.synthetic.synthetic import small_study

TURN = np.arange(360) * 2 * np.pi / 360
SPEED = 9.0 * (1 + 0.06 * np.cos(2 * TURN))


@pytest.fixture(scope="module")
def analysis(tmp_path_factory):
    study = tmp_path_factory.mktemp("mounts") / "study"
    small_study(study, riders=1, duration_s=20.0)
    opened = open_study(study)
    return analyse_rider(opened, str(opened.riders["rider"].iloc[0]))


def with_trials(analysis, keep):
    """The same rider with some of the trials alone."""
    trials = analysis.trials[keep(analysis.trials)]
    results = {name: found for name, found in analysis.results.items() if name in set(trials["trial"])}
    return dataclasses.replace(analysis, trials=trials, results=results)


class DecidedMounting(RiderMounting):
    """A mounting whose criteria are given instead of computed."""

    @property
    def criteria(self):
        return self.stroke

    available_mounts_deg = (55.0, 70.0, 85.0)


def decided(*mounts_by_criterion):
    verdicts = [
        {
            "criterion": criterion,
            "verdict": UNDECIDED if not mounts else ONE if len(mounts) == 1 else ANY,
            "mounts_deg": mounts,
        }
        for criterion, mounts in zip(CRITERIA, mounts_by_criterion, strict=True)
    ]
    empty = pd.DataFrame()
    return DecidedMounting(None, MountCriteria(empty, empty, pd.DataFrame(verdicts), empty, 0.95, 1000))


@pytest.mark.parametrize(
    ("mounts", "verdict", "words"),
    [
        (([55.0, 70.0], [55.0, 70.0, 85.0], [55.0, 70.0], [55.0, 70.0]), ANY, "Any of these"),
        (([55.0, 70.0], [70.0, 85.0], [70.0], [70.0]), ONE, "This one: the mount at 70°"),
        (([], [], [], []), UNDECIDED, "Not decided: by no criterion"),
        (
            ([70.0], [55.0, 70.0, 85.0], [85.0], []),
            DISAGREE,
            "where this rider's torque is centred; for that, the mount at 70° will do. No",
        ),
        (
            ([55.0, 70.0], [70.0], [85.0], []),
            DISAGREE,
            "is centred; for that, the mounts at 55° and 70° will do",
        ),
        (
            ([], [70.0], [85.0], []),
            DISAGREE,
            "the recordings do not decide. No mount will do by every criterion. What will do: by crank speed, 70°; by peak",
        ),
        (([70.0], [], [70.0, 85.0], []), ONE, "Not decided by crank speed and dead centres"),
    ],
)
def test_the_criteria_are_taken_together_honestly(mounts, verdict, words):
    mounting = decided(*mounts)
    assert mounting.verdict.verdict == verdict
    assert words in mount_words.verdict(mounting)


def test_of_one_mount_there_is_nothing_to_choose_and_the_wanted_one_stands_beside(analysis):
    oval = analysis.study.settings.rings["oval"].model_copy(update={"available_mounts_deg": [70.0]})
    rings = {**analysis.study.settings.rings, "oval": oval}
    settings = analysis.study.settings.model_copy(update={"rings": rings})
    one = dataclasses.replace(analysis, study=dataclasses.replace(analysis.study, settings=settings))
    wanted = f"at a mount angle of {analysis.mount_advice.overall_mount_deg:.1f}°. The ring's only mount is at 70°."
    said = " ".join(rider_words.answer(one))
    assert "The ring has one mount only, 70°, so there is nothing to choose." in said and wanted in said
    for word in ("will do", "nearest", "compromise"):
        assert word not in said
    assert_only_mount_is_held_against_all_angles(one)


def assert_only_mount_is_held_against_all_angles(one):
    """Nothing compares one mount with itself; its square is filled only where it lies in the drawn zone."""
    curves = one.mounting.criteria.curves
    at_mount = curves[curves["mount_deg"] == 70].set_index("criterion")["flat"]
    assert 0 < at_mount.sum() < len(at_mount)
    exhibit = mount_exhibits.criteria_exhibit(one)
    for axes, criterion in zip(exhibit.figure.axes, CRITERIA, strict=True):
        (filled, empty) = axes.lines[-2:]
        assert (len(filled.get_xdata()), len(empty.get_xdata())) == (
            (1, 0) if at_mount[criterion] else (0, 1)
        )
        assert f"{criterion}: {'in' if at_mount[criterion] else 'outside'} the zone" in exhibit.alt
    table = mount_exhibits.mounts_table(one).frame
    assert table.set_index("criterion")["in_zone"].eq("yes").to_dict() == at_mount.to_dict()
    words = " ".join(mount_words.mounting(one))
    outside = at_mount[~at_mount].index[-1]
    assert f"{outside} another angle would be" in words and "choose" in words
    assert [name for name in mount_exhibits.intensity_table(one).frame if name.startswith("best_")] == []
    wanted = mount_exhibits.wanted_mount_exhibit(one)
    assert len(wanted.figure.axes) == 1 and "nearest" not in wanted.caption
    assert "nearest" not in mount_terms.mount_terms(one).sentence()
    sessions = compare_sessions(one)
    assert "nearest" not in sessions.sentence() + sessions_table(sessions).caption
    assert "nearest_mount_deg" not in sessions.frame


def test_the_page_names_verdict_spread_and_comfort(analysis):
    words = " ".join(mount_words.mounting(analysis))
    for part in ("common practice, no source", "turn to turn", "One mount away from"):
        assert part in words


def test_every_criterion_is_drawn_with_its_mounts(analysis):
    exhibit = mount_exhibits.criteria_exhibit(analysis)
    assert len(exhibit.figure.axes) == len(CRITERIA)
    assert all(criterion in exhibit.alt for criterion in CRITERIA)
    table = mount_exhibits.mounts_table(analysis).frame
    assert table["mount_deg"].tolist() == analysis.mounting.available_mounts_deg
    for name in [name for name in table if name.startswith("best_")]:
        assert table[name].sum() == pytest.approx(100)
    for name in [name for name in table if name.startswith("regret_")]:
        assert table[name].min() >= 0
    by_intensity = mount_exhibits.intensity_table(analysis).frame
    assert by_intensity["intensity"].tolist() == [*analysis.intensities, "overall"]


def test_fewer_periods_are_named_and_widen_nothing(analysis):
    first = with_trials(analysis, lambda trials: trials["period"] == trials["period"].min())
    assert "one period only" in first.stroke.sentence()
    said = " ".join(rider_words.answer(first))
    assert "This interval is too narrow" in said and "the stroke rests on one period only" in said
    assert "too narrow" not in " ".join(rider_words.answer(analysis))


def test_a_stroke_from_the_oval_ring_is_corrected_and_said_so(analysis):
    oval = with_trials(analysis, lambda trials: trials["ring"] == "oval")
    assert oval.only_on_oval == oval.intensities
    name = oval.intensities[0]
    recorded = oval.ring_draws(name, "oval")
    moved = oval.stroke.mean_Nm[name] - recorded.mean_Nm[name]
    assert np.ptp(moved) > 0.5 and moved.mean() == pytest.approx(0, abs=1e-6)
    assert "carried to the round ring" in " ".join(mount_words.mounting(oval))
    riders = oval.study.riders.assign(mass_kg=np.nan)
    lighter = dataclasses.replace(oval, study=dataclasses.replace(oval.study, riders=riders))
    assert "not corrected" in " ".join(mount_words.mounting(lighter))
    with pytest.raises(Refusal, match="mass_kg"):
        _ = lighter.legs


def test_the_speed_of_a_synthetic_rider_is_the_predicted_one(analysis):
    trials = compare_trial_speeds(analysis)
    assert set(trials["verdict"]) <= {"agrees", "too even to judge"}
    assert (trials.loc[trials["ring"] == "oval", "verdict"] == "agrees").all()
    assert "agree in" in prediction_words.speed(trials)[0]


def test_rings_exchanged_in_the_tables_are_said_before_anything_else(analysis):
    """The same recordings under the other ring's name; the mounts stay with the rows."""
    assert "other ring" not in " ".join(rider_words.answer(analysis))
    roles = {"round": "oval", "oval": "round"}
    settings = analysis.study.settings
    names = {role: settings.ring_in_role(role) for role in roles}
    mount = float(analysis.trials["mount_deg"].dropna().iloc[0])
    ring = analysis.trials["ring"].map(roles)
    labelled = analysis.trials.assign(ring=ring, ring_name=ring.map(names), mount_deg=mount)
    exchanged = dataclasses.replace(analysis, trials=doubt_rings(settings, labelled, analysis.results))
    trials = compare_trial_speeds(exchanged)
    assert set(trials["verdict"]) == {OTHER_RING}
    assert rider_words.answer(exchanged)[0].startswith(f"Not to be relied on: in {len(trials)} of")


@pytest.mark.parametrize(
    ("measured", "words"),
    [
        (SPEED, "agrees"),
        (9.0 * (1 + 0.03 * np.cos(2 * TURN)), "too large"),
        (9.0 * (1 + 0.10 * np.cos(2 * TURN)), "too small"),
        (9.0 * (1 + 0.06 * np.cos(2 * (TURN - np.radians(20)))), "turned"),
        (9.0 * (1 + 0.06 * np.cos(2 * TURN) - 0.032 * np.cos(6 * TURN)), "another shape"),
        (9.0 * (1 + 0.002 * np.cos(2 * TURN)), "too even"),
    ],
)
def test_a_verdict_on_speed_names_what_is_off(measured, words):
    verdict = speed_verdict(compare_speeds(SPEED, measured), float(np.ptp(measured) / measured.mean()))
    assert words in verdict


def test_torque_that_falls_in_proportion_is_gone_at_twice_the_optimal_cadence():
    """Dorel 2005: optimal cadence 129.8 rpm; the line falls to nothing at 259.6 rpm."""
    torque = np.array([10.0, 30.0, -5.0])
    slope = StrokeSlope().slope_Nms(torque, 90.0)
    at_end = torque + slope * (259.6 - 90.0) * 2 * np.pi / 60
    assert at_end == pytest.approx([0.0, 0.0, -5.0], abs=1e-9)


def test_prediction_on_the_oval_is_drawn_beside_what_was_measured(analysis):
    found = prediction_words.predictions(analysis)
    assert [part.intensity for part in found] == analysis.intensities
    curves = found[0].curves
    assert (curves["predicted_low_Nm"] <= curves["predicted_high_Nm"]).all()
    assert (curves["change_low_Nm"] <= curves["change_high_Nm"]).all()
    # The middle of the interval is the measured change but for the noise of a quantile of 1000 draws.
    middle = (curves["change_low_Nm"] + curves["change_high_Nm"]) / 2
    width = curves["change_high_Nm"] - curves["change_low_Nm"]
    assert (np.abs(middle - curves["change_Nm"]) <= 0.25 * width + 1e-9).all()
    exhibit = prediction_exhibits.prediction_exhibit(found)
    assert len(exhibit.figure.axes) == 2 * len(found)
    assert "not a confidence interval" in " ".join(prediction_words.torque(found))
    alone = with_trials(analysis, lambda trials: trials["ring"] == "round")
    with pytest.raises(Refusal, match="trials on both rings"):
        predict_for_rider(alone, alone.intensities[0])


def test_the_road_moves_the_mount_against_the_torque_phase(analysis):
    shift = shift_to_road(analysis)
    frame = shift.to_frame()
    assert frame["mount_shift_deg"].to_numpy() == pytest.approx(-frame["phase_shift_deg"].to_numpy())
    assert shift.road_kgm2 > shift.recorded_kgm2
    assert (frame["swing_road_pct"] < frame["swing_recorded_pct"]).all()
    outdoors = dataclasses.replace(analysis, trials=analysis.trials.assign(environment="road"))
    with pytest.raises(Refusal, match="recorded where it is ridden"):
        shift_to_road(outdoors)


@pytest.mark.parametrize(
    ("shifts", "said"),
    [([-0.04, 0.03], "less than 0.05°"), ([0.31, 0.29], "+0.3°"), ([-0.07, 0.04], "−0.1 to 0.0°")],
)
def test_a_shift_that_no_digit_shows_is_said_as_none(analysis, monkeypatch, shifts, said):
    moved = pd.DataFrame({"mount_shift_deg": shifts})
    monkeypatch.setattr(RoadShift, "to_frame", lambda self: moved)
    assert f"the wanted mount moves by {said} by mechanics alone" in shift_to_road(analysis).sentence()


def test_the_terms_of_the_mount_add_up(analysis):
    terms = mount_terms.mount_terms(analysis)
    recorded, shift = terms.value(mount_terms.RECORDED), terms.value(mount_terms.ROAD)
    assert recorded == analysis.mount_advice.overall_mount_deg
    assert terms.value(mount_terms.ON_ROAD) == pytest.approx((recorded + shift) % 180)
    moved = shift_to_road(analysis).to_frame()["mount_shift_deg"]
    assert moved.min() <= shift <= moved.max()
    spread = terms.frame.set_index("term")["spread_deg"]
    # Two trials an intensity: their SD is |a − b|/√2, pooled over the intensities by squares.
    pairs = [
        [analysis.results[trial].value("torque_phase_deg") for trial in analysis.stroke_trials(name)["trial"]]
        for name in analysis.intensities
    ]
    assert all(len(pair) == 2 for pair in pairs)
    expected = np.sqrt(np.mean([(first - second) ** 2 / 2 for first, second in pairs]))
    assert spread[mount_terms.PERIODS] == pytest.approx(expected, rel=1e-6)
    assert spread[mount_terms.TURNS] > 0
    assert "stays the nearest" in terms.sentence() and " -" not in terms.sentence()
    assert len(mount_terms.terms_table(terms).frame) == 7
    # A trial's own budget, worked out apart from the draws: what zero and delay of the angle add to its torque phase.
    stroke = {trial for name in analysis.intensities for trial in analysis.stroke_trials(name)["trial"]}
    budget = analysis.budgets[analysis.budgets["trial"].isin(stroke)]
    parts = budget[budget["quantity"] == "torque_phase"].groupby("input")["contribution"].mean()
    assert spread[mount_terms.ANGLE] == pytest.approx(math.hypot(parts[ANGLE_ZERO], parts[DELAY]), rel=1e-6)


def test_an_intensity_that_was_not_ridden_is_refused_with_the_nearest_name(analysis):
    name = analysis.intensities[0]
    with pytest.raises(Refusal, match=f"did you mean '{name}'"):
        analysis.ring_comparison(name[:-1])


def test_sessions_are_compared_by_their_turns(analysis):
    """Visits of the same rider: phases by hand from the trials' summaries, and a session turned by 20° differs."""
    found = compare_sessions(analysis)
    assert found.session == "visit" and len(found.frame) == 2
    trials = pd.concat([analysis.stroke_trials(name) for name in analysis.intensities])
    for row in found.frame.itertuples():
        phases = [
            analysis.results[trial].value("torque_phase_deg")
            for trial in trials.loc[trials["visit"] == int(row.session.removeprefix("visit ")), "trial"]
        ]
        assert row.torque_phase_deg == pytest.approx(
            np.mean(phases), abs=0.01
        )  # close together, so means agree
    drivetrain = analysis.mounting.drivetrain
    for phase, mount in zip(found.frame["torque_phase_deg"], found.frame["mount_deg"], strict=True):
        assert drivetrain.with_mount(mount).peak_arm_deg == pytest.approx(phase, abs=1e-6)
    apart = np.ptp(found.frame["torque_phase_deg"])
    assert found.frame["furthest_deg"].tolist() == pytest.approx([apart, apart], abs=1e-9)
    assert found.agree == (apart <= 1.959964 * np.hypot(*found.frame["se_deg"]))
    assert "By visit, in their order, the wanted mount is" in found.sentence()
    assert sessions_table(found).frame["session"].tolist() == ["visit 1", "visit 2"]
    first_only = with_trials(analysis, lambda trials: trials["visit"] == 1)
    with pytest.raises(Refusal, match="another day"):
        compare_sessions(first_only)


def test_sessions_that_differ_say_so():
    frame = pd.DataFrame(
        {
            "session": ["visit 1", "visit 2", "visit 3"],
            "mount_deg": [1.0, 179.0, 20.0],
            "nearest_mount_deg": [0.0, 0.0, 15.0],
            "furthest_deg": [19.0, 21.0, 21.0],
        }
    )
    words = MountSessions(frame, "visit", False).sentence()
    assert "21.0° apart at most, more than the scatter of their turns explains" in words
    assert "the nearest available mount differs (0° and 15°)" in words


def test_road_and_ergometer_of_one_rider_are_set_beside_each_other(analysis):
    """The second visit taken as the road: phases by hand, and no rows where one place alone was ridden."""
    places = np.where(analysis.trials["visit"] == 2, "Road", "ergometer")
    both = dataclasses.replace(analysis, trials=analysis.trials.assign(environment=places))
    predicted = shift_to_road(both)
    frame = measured_shift(both, predicted).set_index(["ring", "intensity"])
    assert len(frame) == 2 * len(analysis.intensities)
    name = analysis.intensities[0]
    trials = both.stroke_trials(name)
    phase = {
        place: analysis.results[trials.loc[trials["environment"] == place, "trial"].iloc[0]].value(
            "torque_phase_deg"
        )
        for place in ("Road", "ergometer")
    }
    assert frame.loc[("round", name), "phase_change_deg"] == pytest.approx(phase["Road"] - phase["ergometer"])
    indoors = trials.loc[trials["environment"] == "ergometer", "trial"].iloc[0]
    stroke = analysis.results[indoors].torque_at_angles()
    assert predicted.by_intensity[name].ergometer.torque_Nm.mean() == pytest.approx(stroke.mean(), rel=1e-3)
    assert len(measured_tables(both, predicted)) == 1
    assert measured_tables(analysis, shift_to_road(analysis)) == []


def test_without_an_indoor_recording_there_is_no_road_term_and_it_is_said(analysis):
    outdoors = dataclasses.replace(analysis, trials=analysis.trials.assign(environment="road"))
    terms = mount_terms.mount_terms(outdoors)
    assert terms.nearest_on_road_deg is None
    assert "no indoor–road term" in terms.sentence() and "trials ridden on road" in terms.sentence()


def test_a_stroke_carried_from_the_oval_ring_names_its_correction(analysis):
    alone = with_trials(analysis, lambda trials: trials["ring"] == "oval")
    terms = mount_terms.mount_terms(alone).frame.set_index("term")
    assert mount_terms.CORRECTION in terms.index
    assert 0 < abs(terms.loc[mount_terms.CORRECTION, "mount_deg"]) < 15


def test_a_trial_excluded_because_the_ring_sat_wrongly_moves_no_prediction(tmp_path):
    """R01's first trial on the oval ring was at 40°, and is excluded; the other five are at 70°."""
    folder = tmp_path / "study"
    small_study(folder, riders=1, duration_s=4.0)

    def mount_wrongly(trials):
        trials.loc[trials.index[trials["ring"] == "oval"][0], "mount_deg"] = "40"
        wrong = trials["mount_deg"] == "40"
        return trials.assign(
            exclude=trials["exclude"].mask(wrong, "yes"), exclude_reason=np.where(wrong, "ring at 40", "")
        )

    edit_table(folder, "trials.csv", mount_wrongly)
    analysis = analyse_rider(open_study(folder), "R01")
    assert set(analysis.used["mount_deg"].dropna()) == {70.0}
    assert analysis.mount_deg == 70.0
