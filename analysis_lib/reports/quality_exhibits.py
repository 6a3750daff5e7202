"""Figures and tables of the data-quality page."""

from __future__ import annotations

import pandas as pd

from analysis_lib.reports.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.quality_figures import measure_panels
from analysis_lib.reports.rider_trials import CAUTION, NOT_USED
from analysis_lib.reports.study_analysis import StudyAnalysis
from analysis_lib.statistics.estimates import show_count

MEASURES = {
    "kept_turns": "Kept turns",
    "zero_drift_Nm": "Zero drift (N·m)",
    "cadence_mean_rpm": "Cadence (rpm)",
    "cadence_sd_rpm": "Cadence SD (rpm)",
    "samples_per_turn": "Samples a turn",
    "longest_gap_s": "Longest gap (s)",
}
DROPPED = "dropped_"


def measures_exhibit(analysis: StudyAnalysis) -> FigureExhibit:
    """Draw each measure of quality for every trial, by rider."""
    trials = analysis.trials
    known = {name: label for name, label in MEASURES.items() if name in trials and trials[name].notna().any()}
    frame = trials[["rider", "trial", "state", *known]]
    return FigureExhibit(
        "measures",
        measure_panels(frame, known),
        "Measures of every trial, one dot a trial, riders along the axis. Filled: used; open: used with"
        " caution. Trials that gave nothing have no dot. Look for a rider or a trial that stands apart.",
        f"{len(known)} dot plots of data-quality measures by rider for {show_count(len(trials), 'trial')}.",
        frame,
    )


def reasons_table(analysis: StudyAnalysis) -> TableExhibit:
    """Count dropped turns by rider and reason."""
    trials = analysis.trials
    columns = [name for name in trials if str(name).startswith(DROPPED) and name != "dropped_turns"]
    counts = trials.groupby("rider")[["kept_turns", *columns]].sum().astype(int).reset_index()
    headings = {str(name): str(name).removeprefix(DROPPED).replace("_", " ") for name in columns}
    return TableExhibit(
        "reasons",
        counts,
        "Turns kept, and turns dropped by reason, over all trials that gave results. Parts of turns at either"
        " end of a recording are incomplete by nature.",
        {**headings, "kept_turns": "kept"},
    )


def exclusions_table(analysis: StudyAnalysis) -> TableExhibit:
    """Count trials by what became of them, and list those that were not used with the rule or the fault."""
    lost = analysis.trials[analysis.trials["state"] == NOT_USED]
    frame = lost[["rider", "trial", "reason"]].reset_index(drop=True)
    return TableExhibit(
        "exclusions",
        frame,
        f"The {len(frame)} listed trials that are not used, each with the declared rule it breaks or the"
        " fault of its recording.",
    )


def state_sentences(analysis: StudyAnalysis) -> list[str]:
    """Say how many trials are used, used with caution and not used."""
    states = analysis.trials["state"].value_counts()
    planned = len(analysis.study.riders) * len(analysis.intensities) * analysis.study.settings.periods
    listed = len(analysis.trials)
    return [
        (
            f"{show_count(planned, 'trial')} planned and {listed} listed: {states.get('used', 0)} used,"
            f" {states.get(CAUTION, 0)} used with caution, {states.get(NOT_USED, 0)} not used;"
            f" {planned - listed} were not ridden or belong to riders who could not be analysed."
        ),
        (
            "A trial is left out by a rule declared in study.toml or because its recording holds no whole"
            " turn that counts."
        ),
    ]


def side_table(analysis: StudyAnalysis) -> TableExhibit:
    """Give the range of each rider's left share over trials: a swapped or failing side shows as a trial apart."""
    rows = analysis.quantities[analysis.quantities["quantity"] == "left_share_pct"]
    spread = rows.groupby("rider")["value"].agg(["size", "min", "median", "max"]).reset_index()
    spread["range"] = spread["max"] - spread["min"]
    return TableExhibit(
        "sides",
        spread.rename(columns={"size": "trials", "min": "lowest", "max": "highest"}),
        "Left leg's share of the work (%) over a rider's trials, where both legs were recorded. A rider's"
        " share moves by a few per cent; a trial far from the rider's others, or a share far from one half,"
        " asks for a look at the channels. Riders' shares lie between 40 and 60 % in published samples.",
        {"lowest": "lowest (%)", "median": "median (%)", "highest": "highest (%)", "range": "range (%)"},
        {"lowest": 1, "median": 1, "highest": 1, "range": 1},
    )


def zero_table(analysis: StudyAnalysis) -> TableExhibit:
    """Describe the zero checks of each recorder: how many, over which temperatures, how far zero moved."""
    checks = analysis.study.zero_checks
    channels = [name for name in checks if str(name).startswith("zero_") and str(name).endswith("_Nm")]
    rows = []
    for recorder, here in checks.groupby("recorder"):
        for channel in channels:
            values = here[channel].dropna()
            if len(values):
                temperature = here.loc[values.index, "temperature_C"]
                rows.append(
                    {
                        "recorder": recorder,
                        "channel": str(channel).removeprefix("zero_").removesuffix("_Nm"),
                        "checks": len(values),
                        "lowest_Nm": values.min(),
                        "highest_Nm": values.max(),
                        "coldest_C": temperature.min(),
                        "warmest_C": temperature.max(),
                        "slope_Nm_per_C": _slope(temperature, values),
                    }
                )
    return TableExhibit(
        "zero_checks",
        pd.DataFrame(rows),
        "Zero checks by recorder and channel: lowest and highest unloaded torque, and its least-squares slope"
        " on temperature over all checks.",
        {
            "lowest_Nm": "lowest (N·m)",
            "highest_Nm": "highest (N·m)",
            "coldest_C": "coldest (°C)",
            "warmest_C": "warmest (°C)",
            "slope_Nm_per_C": "slope (N·m per °C)",
        },
        {"lowest_Nm": 2, "highest_Nm": 2, "coldest_C": 1, "warmest_C": 1, "slope_Nm_per_C": 3},
    )


def _slope(temperature: pd.Series, torque: pd.Series) -> float:
    known = temperature.notna()
    if known.sum() < 3 or temperature[known].nunique() < 2:
        return float("nan")
    return float(torque[known].cov(temperature[known]) / temperature[known].var())
