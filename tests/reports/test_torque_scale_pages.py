"""A recorder declared in a wrong unit, in a study with gases: it is named wherever somebody reads an answer."""

from __future__ import annotations

import shutil

import pytest
from edits import edit_table
from gathering import gathered
from said_numbers import names_with_numbers, page_of, sentences_without_rows

from analysis_lib.reports.rider import rider_words
from analysis_lib.reports.running.check import check_study
from analysis_lib.reports.study import exclusion_exhibits, study_words
from analysis_lib.reports.trials import scale_exhibits
from analysis_lib.study.synthetic.synthetic import small_study
from analysis_lib.study.synthetic.synthetic_demo import LANTERN_HILL
from analysis_lib.study.synthetic.synthetic_plan import DEMO_INTENSITIES

LBF_IN_NM, LBF_FT_NM = 0.112984829, 1.3558179  # NIST SP 811, appendix B.8
DOUBT = "The torque scale of recorder two_leg_crank is in doubt: gross efficiency is "


@pytest.fixture(scope="module")
def honest(tmp_path_factory):
    """Three riders with gases at two intensities; the third has a recorder of another kind."""
    folder = tmp_path_factory.mktemp("scale") / "honest"
    changes = {"gases": LANTERN_HILL.gases, "spider_riders": (3,), "intensities": DEMO_INTENSITIES[:2]}
    small_study(folder, riders=3, duration_s=4.0, rules={"min_turns": 3}, **changes)
    return folder


def declared_as(honest, unit: str, factor: float):
    """The same study, the torque of its first recorder declared in another unit, and its zero told by that too."""
    folder = honest.parent / unit.replace(" ", "_")
    shutil.copytree(honest, folder)
    (folder / "datapackage.json").unlink(missing_ok=True)
    settings = (folder / "study.toml").read_text(encoding="utf-8")
    wrong = settings.replace('unit = "mN m"', f'unit = "{unit}", scale = 0.001')
    (folder / "study.toml").write_text(wrong, encoding="utf-8")

    def tell_zero(checks):
        own = checks["recorder"] == "two_leg_crank"
        for name in ("zero_left_Nm", "zero_right_Nm"):
            checks.loc[own, name] = (checks.loc[own, name].astype(float) * factor).astype(str)
        return checks

    edit_table(folder, "zero_checks.csv", tell_zero)
    return folder


@pytest.fixture(scope="module")
def ninth(honest):
    """Torque nine times too small."""
    folder = declared_as(honest, "lbf in", LBF_IN_NM)
    return folder, *gathered(folder)


@pytest.fixture(scope="module")
def third_more(honest):
    """Torque 1.36 times too large."""
    folder = declared_as(honest, "lbf ft", LBF_FT_NM)
    return folder, *gathered(folder)


def test_an_honest_study_is_not_doubted(honest):
    riders, analysis = gathered(honest)
    assert set(analysis.trials["state"]) == {"used"}
    assert scale_exhibits.first_doubts(analysis) == []
    assert not [line for found in riders.values() for line in rider_words.answer(found) if "scale" in line]
    (table,) = scale_exhibits.scale_tables(analysis)
    assert (
        list(table.frame["verdict"]) == ["plausible"] * 2
    )  # what they rest on stands on the page all the same
    assert all("speaks for its scale" in said for said in scale_exhibits.scale_sentences(analysis))
    assert scale_exhibits.tone_of_scales(analysis) == "plain"


@pytest.mark.parametrize("wrong", ["ninth", "third_more"])
def test_all_trials_of_the_recorder_are_under_caution_and_no_others(wrong, request):
    _, _, analysis = request.getfixturevalue(wrong)
    by_recorder = analysis.trials.groupby("recorder")["state"].agg(set).to_dict()
    assert by_recorder == {"two_leg_crank": {"caution"}, "spider": {"used"}}
    cautions = exclusion_exhibits.cautions_table(analysis).frame
    assert (
        len(cautions) == 16
        and cautions["caution" if "caution" in cautions else "reason"].str.contains(DOUBT).all()
    )


@pytest.mark.parametrize(("wrong", "unit"), [("ninth", "lbf·in"), ("third_more", "lbf·ft")])
def test_the_recorder_is_named_beside_every_answer(wrong, unit, request):
    _, riders, analysis = request.getfixturevalue(wrong)
    answers = [study_words.answer(analysis), exclusion_exhibits.answer(analysis)]
    answers += [rider_words.answer(riders[rider]) for rider in ("R01", "R02")]
    for said in answers:
        assert said[0].startswith(f"Not to be relied on as it stands: {DOUBT}")
        assert f"A file in N·m that is declared as {unit} would explain it" in said[0]
    assert not [line for line in rider_words.answer(riders["R03"]) if "scale" in line]
    assert scale_exhibits.tone_of_scales(analysis) == "caution"


def test_check_names_the_recorder_first(ninth, capsys):
    folder, _, analysis = ninth
    assert check_study(folder) == 0  # a caution is no fault
    said, _, table = capsys.readouterr().out.partition("Data quality")
    cautions = said.partition("cautions:\n")[2].splitlines()
    judged = scale_exhibits.scale_tables(analysis)[0].frame.set_index("recorder").loc["two_leg_crank"]
    assert cautions[0].strip().startswith(DOUBT) and f"median, n = {judged['trials']} trials" in cautions[0]
    assert sum(" caution " in line for line in table.splitlines()) == 16


def test_the_numbers_said_lead_to_a_row(third_more, monkeypatch):
    folder, riders, analysis = third_more
    names = names_with_numbers(folder)
    for template, known in (("05_data_quality.ipynb", analysis), ("03_rider_report.ipynb", riders["R01"])):
        text = page_of(template, monkeypatch, analysis=known)
        assert DOUBT in text.replace("</a>", "") or DOUBT in text
        assert [line for line in sentences_without_rows(text, names) if "scale" in line] == []


def test_a_study_without_gases_or_targets_says_that_nothing_tells_the_scale(tmp_path):
    small_study(tmp_path / "study", riders=2, duration_s=3.0, intensities=DEMO_INTENSITIES[:1])
    _, analysis = gathered(tmp_path / "study")
    assert scale_exhibits.scale_sentences(analysis) == [scale_exhibits.UNTOLD]
    assert (
        scale_exhibits.scale_tables(analysis) == [] and scale_exhibits.tone_of_scales(analysis) == "caution"
    )


@pytest.fixture(scope="module")
def without_gases(tmp_path_factory):
    """Three riders, the third with another recorder; no gases, no power asked for, torque told in a wrong unit."""
    folder = tmp_path_factory.mktemp("recordings_alone") / "honest"
    small_study(folder, riders=3, duration_s=4.0, rules={"min_turns": 3}, spider_riders=(3,))
    text = (folder / "study.toml").read_text(encoding="utf-8")
    kept = [line for line in text.splitlines(keepends=True) if not line.startswith("target_power_W")]
    (folder / "study.toml").write_text("".join(kept), encoding="utf-8")
    wrong = declared_as(folder, "lbf in", LBF_IN_NM)
    return wrong, *gathered(wrong)


def test_recordings_alone_name_the_recorder_and_doubt_all_its_trials(without_gases, capsys):
    folder, _, analysis = without_gases
    said = study_words.answer(analysis)
    assert said[0].startswith(
        "Not to be relied on as it stands: The torque scale of recorder two_leg_crank is in doubt: its power is "
    )
    assert "of what recorder spider gives at the same intensities" in said[0]
    by_recorder = analysis.trials.groupby("recorder")["state"].agg(set).to_dict()
    assert by_recorder == {"two_leg_crank": {"caution"}, "spider": {"used"}}
    assert check_study(folder) == 0
    cautions = capsys.readouterr().out.partition("cautions:\n")[2].splitlines()
    assert (
        cautions[0]
        .strip()
        .startswith("The torque scale of recorder two_leg_crank is in doubt: its power is ")
    )


def test_what_recordings_alone_tell_of_a_recorder_has_its_rows(without_gases, monkeypatch):
    folder, _, analysis = without_gases
    text = page_of("05_data_quality.ipynb", monkeypatch, analysis=analysis)
    left = sentences_without_rows(text, names_with_numbers(folder))
    assert [line for line in left if "scale" in line] == []
