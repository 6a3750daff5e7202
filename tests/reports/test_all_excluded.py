"""A rider whose trials are all excluded: a page that says why, no failure, and a place in the study's flow."""

from __future__ import annotations

import json

import pytest
from edits import edit_table, replace_in_settings, spoiled

from analysis_lib.__main__ import main
from analysis_lib.reports.files.page_records import EXCLUDED
from analysis_lib.reports.running.runner import make_report
from analysis_lib.reports.running.verify import verify_report
from analysis_lib.reports.study.exclusion_exhibits import causes_table, listed_trials
from analysis_lib.reports.study.study_exhibits import flow_table, set_aside_table
from analysis_lib.reports.study.study_gathering import gather_study
from analysis_lib.reports.study.study_words import doubts
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.synthetic import small_study
from analysis_lib.study.synthetic.synthetic_plan import DEMO_INTENSITIES

ILL = "rider fell ill"


@pytest.fixture(scope="module")
def honest(tmp_path_factory):
    """Three riders with two trials on each ring."""
    folder = tmp_path_factory.mktemp("excluded") / "honest"
    small_study(
        folder,
        riders=3,
        duration_s=4.0,
        rate_hz=50.0,
        intensities=DEMO_INTENSITIES[2:],
        rules={"exclude_below_turns": 3},
    )
    return folder


def exclude(study, rider: str, reason: str = ILL, but: int = 0):
    """Exclude all trials of a rider but the first few."""

    def change(trials):
        here = trials["rider"] == rider
        here &= here.cumsum() > but
        return trials.assign(
            exclude=trials["exclude"].mask(here, "yes"),
            exclude_reason=trials["exclude_reason"].mask(here, reason),
        )

    edit_table(study, "trials.csv", change)


@pytest.fixture(scope="module")
def excluded(honest):
    folder = spoiled(honest, "ill")
    exclude(folder, "R02")
    return folder


def test_its_page_says_so_with_each_reason_and_is_no_failure(excluded, tmp_path, capsys):
    assert main(["report", str(excluded), "--rider", "R02", "--out", str(tmp_path / "report")]) == 0
    said = capsys.readouterr().out
    assert f"Rider R02: {EXCLUDED} (" in said and "every trial excluded: R02" in said
    assert "\nexcluded  1 " in said and "\nfailed    0\n" in said
    page = (tmp_path / "report" / "riders" / "R02.html").read_text(encoding="utf-8")
    assert "Every listed trial of Rider R02 is excluded" in page and page.count(f"excluded: {ILL}") == 4
    states = json.loads((tmp_path / "report" / "run.json").read_text(encoding="utf-8"))["states"]
    assert states["R02"].startswith(EXCLUDED)
    crate = json.loads((tmp_path / "report" / "ro-crate-metadata.json").read_text(encoding="utf-8"))["@graph"]
    (action,) = (part for part in crate if part["@id"] == "#make-R02")
    assert action["actionStatus"]["@id"].endswith("/CompletedActionStatus") and "error" not in action
    assert {check.finding for check in verify_report(tmp_path / "report", None)} <= {"agrees", "not checked"}


def test_a_second_run_leaves_it_and_a_trial_that_counts_again_makes_it(excluded, tmp_path):
    def run():
        report = make_report(excluded, tmp_path / "report", subjects={"R02"}, say=lambda _: None)
        return report.pages[0]

    first, again = run(), run()
    assert first.excluded and not first.failed and again.excluded and again.unchanged


def test_a_rule_that_leaves_out_the_rest_is_an_exclusion_too_and_a_fault_is_none(honest, tmp_path):
    folder = spoiled(honest, "rule")
    exclude(folder, "R02", but=2)
    replace_in_settings(folder, "exclude_below_turns = 3", "exclude_below_turns = 500")
    report = make_report(folder, tmp_path / "rule", only_rider="R02", say=lambda _: None)
    (page,) = report.pages
    assert page.excluded and report.exit_code == 0
    assert page.each[0].startswith("R02-P1-hard: excluded by rule:") and page.each[-1].endswith(
        f"excluded: {ILL}"
    )
    assert not (tmp_path / "rule" / "notebooks" / "riders" / "R02.ipynb").exists()
    fault = spoiled(honest, "fault")
    exclude(fault, "R02", but=1)
    broken = fault / "recordings" / open_study(fault).trials_of("R02")["file"].iloc[0].split("/")[-1]
    broken.write_bytes(broken.read_bytes()[:100])
    report = make_report(fault, tmp_path / "fault", only_rider="R02", say=lambda _: None)
    assert report.pages[0].failed and report.exit_code == 1


def test_the_study_s_page_counts_its_trials_among_those_set_aside_with_their_reasons(excluded):
    analysis = gather_study(open_study(excluded))
    assert set(analysis.tables) == {"R01", "R03"}
    flow = flow_table(analysis).frame
    assert flow["set_aside"].sum() == 4 and flow["not_listed"].sum() == 0 and flow["used"].sum() == 8
    aside = set_aside_table(analysis).frame
    assert (
        len(aside) == 4
        and set(aside["reason"]) == {f"excluded: {ILL}"}
        and set(aside["ring"]) == {"round", "oval"}
    )
    assert causes_table(analysis).frame.set_index("cause")["trials"].iloc[0] == 4
    assert len(listed_trials(analysis)) == 12
    assert "2 riders analysed; every trial of R02 is excluded; 4 listed trials not used." in doubts(analysis)
