"""From a study folder to the tables of all its riders."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.reports.files.opened_study import study_at
from analysis_lib.reports.rider.joined_rings import compared_rings, join_rings, pair_name
from analysis_lib.reports.rider.rider_analysis import all_excluded, analyse_rider, no_trials
from analysis_lib.reports.rider.rider_tables import RiderTables, has_rider_tables
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.reports.study.written_tables import WrittenTables
from analysis_lib.study.checks.folder import Study


def analyse_study(study_dir: str = "", results_dir: str = "") -> StudyAnalysis:
    """Gather the riders of a study: from the tables of their pages, or from the recordings where there are none.

    Parameters
    ----------
    study_dir : str
        The study folder; empty for the demo study.
    results_dir : str
        The report folder in which the riders' pages left their tables. Empty: every recording is read anew.

    Raises
    ------
    Refusals
        When no rider at all can be analysed.
    """
    return gather_study(study_at(study_dir), results_dir)


def gather_study(study: Study, results_dir: str = "") -> StudyAnalysis:
    """Gather the riders of an open study; see `analyse_study`. Tables of a report are read when something asks for them."""
    tables, left_out = _written(study, results_dir) if results_dir else _analysed(study)
    if not tables:
        reasons = "; ".join(f"{rider}: {reason}" for rider, reason in left_out.items())
        got = f"no rider that could be analysed ({reasons or 'riders.csv is empty'})"
        raise Refusal("riders of the study", got, "at least one", "see each rider's page")
    return StudyAnalysis(study, tables, left_out)


def _written(study: Study, results_dir: str) -> tuple[WrittenTables, dict[str, str]]:
    """The tables in a report, and the reason for each rider, or rider and ring, without them."""
    pages: dict[str, list[str]] = {}
    left_out: dict[str, str] = {}
    for rider in study.riders["rider"]:
        rings = compared_rings(study.settings)
        found = [ring for ring in rings if has_rider_tables(results_dir, pair_name(rider, ring))]
        if found:
            pages[rider] = found
        lacking = [ring for ring in rings if ring not in found]
        reasons = {ring: _in_one_line(_no_tables(study.comparing(ring), rider)) for ring in lacking}
        left_out |= _reasons(rider, found, reasons)
    return WrittenTables(study.settings, results_dir, pages), left_out


def _no_tables(study: Study, rider: str) -> Refusal:
    trials = study.trials_of(rider)
    if trials.empty:
        return no_trials(rider)
    if trials["exclude"].all():
        return all_excluded(rider, trials)
    got, wanted = "a page without results", "a trial that can be used"
    return Refusal(f"rider {rider}", got, wanted, "that page says why and what to mend", "rider", rider)


def _analysed(study: Study) -> tuple[dict[str, RiderTables], dict[str, str]]:
    """The tables of every recording read anew, and the reasons for what cannot be analysed."""
    tables: dict[str, RiderTables] = {}
    left_out: dict[str, str] = {}
    for rider in study.riders["rider"]:
        found: dict[str, RiderTables] = {}
        refused: dict[str, str] = {}
        for ring in compared_rings(study.settings):
            try:
                found[ring] = analyse_rider(study.comparing(ring), rider).tables
            except (Refusal, Refusals) as refusal:
                refused[ring] = _in_one_line(refusal)
        if found:
            tables[rider] = join_rings(study.settings, found)
        left_out |= _reasons(rider, found, refused)
    return tables, left_out


def _in_one_line(refusal: Refusal | Refusals) -> str:
    return "; ".join(str(refusal).splitlines())


def _reasons(rider: str, found: Collection[str], refused: Mapping[str, str]) -> dict[str, str]:
    """Why a rider is left out, or stays in without some of the rings."""
    if found:
        return {f"{rider} on {ring}": reason for ring, reason in refused.items()}
    return {rider: "; ".join(dict.fromkeys(refused.values()))}
