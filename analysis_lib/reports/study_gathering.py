"""From a study folder to the tables of all its riders."""

from __future__ import annotations

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.reports.joined_rings import compared_rings, join_rings, pair_name
from analysis_lib.reports.places import study_folder
from analysis_lib.reports.rider_analysis import analyse_rider
from analysis_lib.reports.rider_tables import RiderTables, read_rider_tables
from analysis_lib.reports.study_analysis import StudyAnalysis
from analysis_lib.study.folder import Study, open_study


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
    return gather_study(open_study(study_folder(study_dir)), results_dir)


def gather_study(study: Study, results_dir: str = "") -> StudyAnalysis:
    """Gather the riders of an open study; see `analyse_study`."""
    tables: dict[str, RiderTables] = {}
    left_out: dict[str, str] = {}
    for rider in study.riders["rider"]:
        found: dict[str, RiderTables] = {}
        refused: dict[str, str] = {}
        for ring in compared_rings(study.settings):
            try:
                found[ring] = _rider_tables(study, rider, ring, results_dir)
            except (Refusal, Refusals) as refusal:
                refused[ring] = str(refusal)
        if found:
            tables[rider] = join_rings(study.settings, found)
            left_out |= {f"{rider} on {ring}": reason for ring, reason in refused.items()}
        else:
            left_out[rider] = "; ".join(dict.fromkeys(refused.values()))
    if not tables:
        reasons = "; ".join(f"{rider}: {reason}" for rider, reason in left_out.items())
        got = f"no rider that could be analysed ({reasons or 'riders.csv is empty'})"
        raise Refusal("riders of the study", got, "at least one", "see each rider's page")
    return StudyAnalysis(study, tables, left_out)


def _rider_tables(study: Study, rider: str, ring: str, results_dir: str) -> RiderTables:
    if not results_dir:
        return analyse_rider(study.comparing(ring), rider).tables
    tables = read_rider_tables(results_dir, pair_name(rider, ring))
    if tables is None:
        raise Refusal(
            f"rider {rider}", "no tables in the report", "a rider's page", "see that page", "rider", rider
        )
    return tables
