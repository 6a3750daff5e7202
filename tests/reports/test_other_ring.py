"""A rider whose rings were exchanged in the tables: caution in `check`, and first on the rider's and the study's page."""

from __future__ import annotations

import shutil
from dataclasses import replace

import pytest
from edits import edit_table

from analysis_lib.reports.rider.joined_rings import join_rings
from analysis_lib.reports.rider.rider_analysis import analyse_rider
from analysis_lib.reports.running.check import check_study
from analysis_lib.reports.several_rings import rings_words
from analysis_lib.reports.several_rings.rings_analysis import RingsAnalysis
from analysis_lib.reports.single_rider import single_rider_words
from analysis_lib.reports.single_rider.single_rider_analysis import SingleRiderAnalysis
from analysis_lib.reports.study import study_words
from analysis_lib.reports.study.doubtful_rings import effect_on_sure_rings
from analysis_lib.reports.study.sensitivity_exhibits import ways_table
from analysis_lib.reports.study.sister_analyses import FIRM, SURE, sister_analyses
from analysis_lib.reports.study.study_gathering import gather_study
from analysis_lib.reports.trials.other_ring import CAUTION_OF_RING, of_another_ring
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.declared.settings import read_settings
from analysis_lib.study.synthetic.synthetic import small_rings_study, small_study
from analysis_lib.study.synthetic.synthetic_plan import DEMO_INTENSITIES

ONE = DEMO_INTENSITIES[2:]


def exchange(root, rider: str, one: str, other: str) -> None:
    """Give a rider's trials on two rings each other's label and mount, and the rider the sequence that makes."""
    swap = {one: other, other: one}

    def relabel(trials):
        mine = trials["rider"] == rider
        mounts = trials[mine].groupby("ring")["mount_deg"].first().to_dict()
        labels = trials["ring"].mask(mine, trials["ring"].replace(swap))
        return trials.assign(ring=labels, mount_deg=trials["mount_deg"].mask(mine, labels.map(mounts)))

    def resequence(riders):
        orders = read_settings(root / "study.toml").design.sequences
        names = {tuple(order): name for name, order in orders.items()}
        mine = riders["rider"] == rider
        (was,) = riders.loc[mine, "sequence"]
        now = names[tuple(swap.get(ring, ring) for ring in orders[was])]
        return riders.assign(sequence=riders["sequence"].mask(mine, now))

    edit_table(root, "trials.csv", relabel)
    edit_table(root, "riders.csv", resequence)
    (root / "datapackage.json").unlink(missing_ok=True)


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    root = tmp_path_factory.mktemp("exchanged") / "study"
    small_study(root, riders=4, duration_s=6.0, rate_hz=50.0, intensities=ONE, rules={"min_turns": 5})
    exchange(root, "R02", "round", "oval")
    return root


def _cautions(capsys) -> list[str]:
    said = capsys.readouterr().out
    return [line.strip() for line in said[said.index("caution") : said.index(" note")].splitlines()[1:-1]]


@pytest.fixture(scope="module")
def analysis(root):
    return gather_study(open_study(root))


def test_check_warns_of_the_trials_and_finds_no_fault(root, capsys):
    assert check_study(root) == 0
    shown = capsys.readouterr().out
    assert f"R02-P1-hard: {CAUTION_OF_RING}" in shown
    assert "and 3 more like it: R02-P2-hard, R02-P3-hard, R02-P4-hard" in shown
    assert "R01-P1-hard: The crank" not in shown


def test_of_a_study_whose_rings_are_all_exchanged_it_is_said_once(root, tmp_path, capsys):
    everywhere = shutil.copytree(root, tmp_path / "study")
    for rider in ("R01", "R03", "R04"):  # R02's are already
        exchange(everywhere, rider, "round", "oval")
    assert check_study(everywhere) == 0
    cautions = _cautions(capsys)
    assert len(cautions) == 1
    assert cautions[0].startswith(
        "In 16 of 16 trials the crank turns as on the other ring: the rings look exchanged"
    )
    words = study_words.answer(gather_study(open_study(everywhere)))
    assert words[0].startswith(f"Not to be relied on as it stands: i{cautions[0][1:-1]}. These trials count")


@pytest.mark.parametrize("wrong", ["trials.csv", "riders.csv"])
def test_rings_against_every_sequence_are_one_problem_and_the_recordings_say_who_is_right(
    wrong, root, tmp_path, capsys
):
    """By the tables alone nobody knows which is wrong, so the recordings are read although no report would use them."""
    study = shutil.copytree(root, tmp_path / "study")
    exchange(study, "R02", "round", "oval")  # back to what was ridden
    other = {"trials.csv": "riders.csv", "riders.csv": "trials.csv"}[wrong]
    as_ridden = (study / other).read_bytes()
    for rider in ("R01", "R02", "R03", "R04"):
        exchange(study, rider, "round", "oval")
    (study / other).write_bytes(as_ridden)
    assert check_study(study) == 2
    said = capsys.readouterr().out
    assert said.startswith(
        "1 problem:\n  trials.csv, column ring, against riders.csv, column sequence – got the"
    )
    assert ("In 16 of 16 trials the crank turns as on the other ring" in said) == (wrong == "trials.csv")
    assert said.count("not used") == 16


def test_the_study_s_page_says_it_first_and_what_it_says_without_them(analysis):
    first, without, counted, *_ = study_words.answer(analysis)
    assert first.startswith(
        "Not to be relied on as it stands: in 4 of 16 trials the crank turns as on the other ring"
    )
    assert "1 rider: R02 in 4 of 4" in first
    effect = effect_on_sure_rings(analysis, analysis.outcomes[0])
    assert effect.contrasts["rider"].nunique() == 3 and without.startswith("Without these trials: Power")
    assert counted.startswith("Primary outcome") and without.split(": ", 1)[1] != counted.split(": ", 1)[1]


def test_the_answer_without_them_is_a_row_of_the_table_of_analyses(analysis):
    outcome = analysis.outcomes[0]
    sisters = sister_analyses(analysis, outcome)
    (row,) = sisters.frame.query("analysis == @SURE and intensity == 'overall'").to_dict("records")
    assert row["n"] == 3 and row["estimate"] == effect_on_sure_rings(analysis, outcome).overall.value
    ways = ways_table(sisters).frame.set_index("analysis")["what_it_is"]
    assert "turns as on the other ring" in ways[SURE] and FIRM in ways  # both leave the same trials out here


def test_a_study_without_such_trials_says_nothing_of_rings(analysis):
    tables = {rider: found for rider, found in analysis.tables.items() if rider != "R02"}
    assert "other ring" not in " ".join(study_words.answer(replace(analysis, tables=tables)))


def test_the_page_of_one_rider_says_it_first_too(analysis):
    alone = SingleRiderAnalysis(analysis.study, {"R02": analysis.tables["R02"]}, {}, False)
    assert "4 of 4 trials" in single_rider_words.answer(alone)[0]


def test_of_several_rings_a_round_trial_on_one_oval_stays_under_caution(tmp_path):
    """Its comparison with the other oval cannot tell as much, when the two ovals are far from alike."""
    root = tmp_path / "rings"
    small_rings_study(root, riders=6, duration_s=6.0, rate_hz=50.0, intensities=ONE)
    exchange(root, "R01", "round", "strong")
    study = open_study(root)
    tables = {name: analyse_rider(study.comparing(name), "R01").tables for name in study.settings.oval_rings}
    joined = join_rings(study.settings, tables).trials
    doubtful = dict(zip(joined["ring"], of_another_ring(joined), strict=True))
    assert doubtful == {"round": True, "oval": False, "strong": True}
    assert list(joined["period"]) == [1, 2, 3]
    words = rings_words.answer(RingsAnalysis(study, {"R01": join_rings(study.settings, tables)}, {}))
    assert "in 2 of 3 trials" in words[0]
