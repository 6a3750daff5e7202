"""Who and what the study's page rests on: riders, trials, torque phases, meters."""

from __future__ import annotations

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.mounting_figures import Rose, phase_roses
from analysis_lib.reports.figures.quality_figures import quality_strip
from analysis_lib.reports.figures.style import MANY
from analysis_lib.reports.study.exclusion_exhibits import excluded_riders, listed_trials
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.reports.trials.rider_trials import NOT_USED


def flow_table(analysis: StudyAnalysis) -> TableExhibit:
    """Count riders and trials from the design to the analysis, by sequence and period."""
    trials = listed_trials(analysis)
    planned = len(analysis.intensities)
    allocated = analysis.study.riders.groupby("sequence")["rider"].size()
    rows = []
    for sequence, rings in analysis.study.settings.design.sequences.items():
        for period, ring in enumerate(rings, start=1):
            here = trials[(trials["sequence"] == sequence) & (trials["period"] == period)]
            riders = int(allocated.get(sequence, 0))
            used, listed = int((here["state"] != NOT_USED).sum()), len(here)
            gone = riders * planned - listed
            rows.append((sequence, period, ring, riders, riders * planned, gone, listed, listed - used, used))
    columns = [
        "sequence",
        "period",
        "ring",
        "riders_allocated",
        "trials_planned",
        "not_listed",
        "trials_listed",
        "set_aside",
        "used",
    ]
    return TableExhibit(
        "flow",
        pd.DataFrame(rows, columns=columns),
        "Flow of riders and trials by sequence and period. Planned: riders allocated × intensities. Not"
        " listed: not ridden, or a row that cannot be read. Set aside: excluded beforehand, by a declared rule, or"
        " because the recording or its rider could not be analysed. The next table gives every reason.",
    )


def set_aside_table(analysis: StudyAnalysis) -> TableExhibit:
    """List every planned trial that gave nothing, with rider, place in the design and reason."""
    columns = ["rider", "sequence", "period", "ring", "intensity", "trial", "reason"]
    missing = pd.DataFrame([*_not_used(analysis), *_not_listed(analysis)], columns=columns)
    missing = missing.sort_values(["rider", "period"], kind="stable", ignore_index=True)
    none = pd.DataFrame([("–",) * 6 + ("nothing is missing",)], columns=columns)
    return TableExhibit(
        "set_aside",
        missing if len(missing) else none,
        f"Trials that were planned and give no value (n = {len(missing)}; a rider who could not be analysed"
        " counts once), where in the design they stand, and why they are missing.",
    )


def _not_used(analysis: StudyAnalysis) -> list[tuple]:
    listed, excluded = listed_trials(analysis), excluded_riders(analysis)
    known = listed["rider"].isin([*analysis.tables, *excluded])
    trials = listed[known & (listed["state"] == NOT_USED)]
    rows: list[tuple] = [
        (row.rider, row.sequence, row.period, row.ring, row.intensity, row.trial, row.reason)
        for row in trials.itertuples()
    ]
    sequences = analysis.study.riders.set_index("rider")["sequence"]
    rows += [
        (rider, sequences.get(rider, "–"), "all", "both", "all", "all", reason)
        for rider, reason in analysis.left_out.items()
        if rider not in excluded
    ]
    return rows


def _not_listed(analysis: StudyAnalysis) -> list[tuple]:
    """Planned trials of analysed riders that trials.csv does not list, or that stand on a page that failed."""
    trials, settings = analysis.trials, analysis.study.settings
    listed = set(zip(trials["rider"], trials["period"], trials["intensity"], strict=True))
    sequences = analysis.study.riders.set_index("rider")["sequence"]
    return [
        (
            rider,
            sequences[rider],
            period,
            settings.ring_label(ring),
            intensity,
            "–",
            analysis.left_out.get(f"{rider} on {ring}", "not in trials.csv"),
        )
        for rider in analysis.tables
        for period, ring in enumerate(settings.design.sequences[sequences[rider]], start=1)
        for intensity in analysis.intensities
        if (rider, period, intensity) not in listed
    ]


NAMED_CELLS = ": number of whole turns kept. Plain: used; framed: used with caution; hatched: not used"
THIN_CELLS = ", riders from top to bottom. Light: used; middle: used with caution; dark: not used"
"""What the cells of the quality strip show, of few riders and of very many."""


def quality_strip_exhibit(analysis: StudyAnalysis) -> FigureExhibit:
    """Show one cell a listed trial with its kept turns: a row a rider, or of one rider a row an intensity."""
    trials, settings = listed_trials(analysis), analysis.study.settings
    riders, periods = len(set(trials["rider"])), range(1, settings.periods + 1)
    called = {name: settings.intensity_label(name) for name in analysis.intensities}
    if riders == 1:
        rows, columns = "intensity", {f"P{p}": f"P{p}" for p in periods}
        cell_of = [f"P{p}" for p in trials["period"]]
    else:
        rows, columns = (
            "rider",
            {f"{i} P{p}": f"{label} P{p}" for i, label in called.items() for p in periods},
        )
        cell_of = [f"{i} P{p}" for i, p in zip(trials["intensity"], trials["period"], strict=True)]
    cells = pd.DataFrame(
        {
            "column": pd.Categorical(cell_of, list(columns)),
            "rider": trials["rider"],
            "intensity": pd.Categorical(trials["intensity"], list(called)),
            "state": trials["state"].replace({"used": "kept"}),
            "text": [f"{n:.0f}" if n == n else "–" for n in trials["kept_turns"]],
        }
    ).sort_values([rows, "column"])
    drawn = cells.assign(column=cells["column"].map(columns), intensity=cells["intensity"].map(called))
    poor = int((trials["state"] == NOT_USED).sum())
    seen = "intensities by" if rows == "intensity" else "riders by intensity and"
    return FigureExhibit(
        "quality_strip",
        quality_strip(drawn.astype({"column": object, "intensity": object}), rows, list(columns.values())),
        f"Data quality, one cell a trial (intensity and period P){NAMED_CELLS if riders <= MANY else THIN_CELLS}; no cell:"
        " no trial was listed. Look for rows or columns that differ.",
        f"Strip of {len(trials)} cells, {seen} period, with the number of turns kept; {poor} trials are not used.",
        cells,
    )


def baseline_table(analysis: StudyAnalysis) -> TableExhibit:
    """Describe the riders by sequence."""
    labels = {"mass_kg": "body mass (kg)", "crank_length_mm": "crank length (mm)"}
    numbers = [name for name in labels if name in analysis.study.riders]
    grouped = analysis.study.riders.groupby("sequence")
    rows = []
    for sequence, riders in grouped:
        for name in numbers:
            values = riders[name].dropna()
            rows.append(
                (sequence, labels[name], len(values), values.mean(), values.std(), values.min(), values.max())
            )
    columns = ["sequence", "measure", "n", "mean", "sd", "lowest", "highest"]
    return TableExhibit(
        "baseline",
        pd.DataFrame(rows, columns=columns),
        "Riders at the start, by sequence.",
        {"sd": "SD"},
        dict.fromkeys(("mean", "sd", "lowest", "highest"), 1),
    )


def phases_exhibit(analysis: StudyAnalysis) -> FigureExhibit:
    """Draw the riders' torque phases as half-circle roses with their axial means, one panel an intensity."""
    called = analysis.study.settings.intensity_label
    known = [intensity for intensity in analysis.intensities if len(analysis.phases(intensity))]
    unknown = ", ".join(called(intensity) for intensity in analysis.intensities if intensity not in known)
    roses = [_rose(analysis, intensity) for intensity in known or analysis.intensities]
    fewest = min(len(rose.phases_deg) for rose in roses)
    means = "; ".join(
        f"{called(rose.name)} {rose.mean_deg:.1f}° ({rose.low_deg:.1f}° to {rose.high_deg:.1f}°,"
        f" n = {len(rose.phases_deg)})"
        for rose in roses
    )
    said = ", ".join(f"{called(rose.name)} {rose.mean_deg:.0f}°" for rose in roses)
    return FigureExhibit(
        "phases",
        phase_roses(roses),
        f"Torque phase on the round ring{', one dot a rider' if fewest <= MANY else ''}; petal area: count."
        " Dashed: axial mean, arc: its 95 % interval; an error of angle or delay common to riders comes on top."
        f" {means}." + (f" Not known at {unknown}." if unknown else ""),
        f"Half-circle roses of the riders' torque phases, one panel an intensity; axial means: {said}.",
        pd.concat([analysis.phases(rose.name).reset_index().assign(intensity=rose.name) for rose in roses]),
    )


def _rose(analysis: StudyAnalysis, intensity: str) -> Rose:
    mean = analysis.mean_phase(intensity)
    bounds = mean.interval(0.95)
    return Rose(intensity, analysis.phases(intensity).to_numpy(), mean.angle_deg, bounds.low, bounds.high)


def meter_table(analysis: StudyAnalysis) -> TableExhibit:
    """Give what meters alone would add to oval − round; of one rider there is one value a row."""
    gaps, alone = analysis.meter_gaps(), len(analysis.tables) == 1
    of = f"of rider {next(iter(analysis.tables))}" if alone else "mean, lowest and highest rider"
    return TableExhibit(
        "meter",
        gaps.drop(columns=["lowest_W", "highest_W", "riders"]) if alone else gaps,
        "What a meter alone would add to oval − round, by speed readings a turn, with the same torque on both"
        f" rings: {of}. More readings need not err less.",
        {
            "sectors": "readings a turn",
            "mean_W": "meter alone (W)" if alone else "mean (W)",
            "lowest_W": "lowest (W)",
            "highest_W": "highest (W)",
        },
        {"mean_W": 2, "lowest_W": 2, "highest_W": 2},
    )
