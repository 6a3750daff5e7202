"""Figures and tables of a rider's page, each with caption and alternative text."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis_lib.reports.exhibits.counts_in_words import say_counts_after
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.quality_figures import quality_strip
from analysis_lib.reports.figures.torque_figures import polar_panels, torque_panels
from analysis_lib.reports.files.once import once
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.reports.trials.rider_trials import NOT_USED
from analysis_lib.statistics.circular import axial_mean, beside_one_another
from analysis_lib.statistics.estimates import show_count

STROKE_QUANTITIES = {
    "cadence_rpm": "Cadence (rpm)",
    "power_W": "Power (W)",
    "mean_torque_Nm": "Mean torque (N·m)",
    "peak_torque_Nm": "Peak torque (N·m)",
    "torque_phase_deg": "Torque phase (deg)",
    "dead_centre_size": "Dead-centre size",
    "evenness": "Evenness",
    "left_share_pct": "Left share (%)",
    "speed_variation_pct": "Speed variation (%)",
}
STROKE_DIGITS = dict(zip(STROKE_QUANTITIES, (1, 1, 2, 1, 1, 3, 3, 1, 2), strict=True))


def quality_exhibit(analysis: RiderAnalysis) -> FigureExhibit:
    """Show one cell a trial with its kept turns."""
    trials = analysis.trials
    periods = sorted(trials["period"].unique())
    cells = pd.DataFrame(
        {
            "column": [f"period {row.period}, {row.ring}" for row in trials.itertuples()],
            "intensity": trials["intensity"],
            "period": trials["period"],
            "state": trials["state"].replace({"used": "kept"}),
            "text": [f"{n:.0f}" if n == n else "–" for n in trials["kept_turns"]],
        }
    ).sort_values(["period"])
    columns = [name for period in periods for name in cells.loc[cells["period"] == period, "column"].unique()]
    poor = int((trials["state"] == NOT_USED).sum())
    return FigureExhibit(
        "quality_strip",
        quality_strip(cells, "intensity", columns),
        "Data quality, one cell a trial: number of whole turns kept. Plain: used; framed: used with caution;"
        " hatched: not used; no cell: no trial was listed.",
        f"Strip of {show_count(len(trials), 'trial')} by intensity and period with the number of turns kept; {poor} not"
        " used.",
        cells,
    )


def trial_table(analysis: RiderAnalysis) -> TableExhibit:
    """List the trials with what was kept and what was dropped; `rider_words.trust` gives the reasons."""
    columns = [
        "trial",
        "period",
        "ring",
        "intensity",
        "state",
        "kept_turns",
        "dropped_turns",
        "samples_per_turn",
    ]
    columns += ["longest_gap_s", "zero_drift_Nm", "cadence_sd_rpm"]
    return TableExhibit(
        "trials",
        analysis.trials[[name for name in columns if name in analysis.trials]],
        "Every trial of this rider and what the recording can carry. Dropped: whole turns that break a rule; parts of"
        " turns at either end count nowhere. Zero drift: change of the unloaded torque from the check before the trial"
        " to the check after it. What is not used, or with caution, is named below with its reason.",
        headings={
            "longest_gap_s": "longest gap (s)",
            "zero_drift_Nm": "zero drift (N·m)",
            "cadence_sd_rpm": "cadence SD (rpm)",
        },
        digits={
            "samples_per_turn": 1,
            "longest_gap_s": 3,
            "zero_drift_Nm": 2,
            "cadence_sd_rpm": 2,
            "kept_turns": 0,
            "dropped_turns": 0,
        },
    )


def torque_exhibit(analysis: RiderAnalysis) -> FigureExhibit:
    """Draw two-leg torque against crank angle."""
    curves = _as_torque(analysis, analysis.mean_curves(_torque_column(analysis)))
    trials = _as_torque(analysis, analysis.profiles)
    return FigureExhibit(
        "torque_by_angle",
        torque_panels(curves, trials),
        _with_trial_counts(
            analysis,
            f"{_whose_torque(analysis)} against right-crank angle, mean over kept turns. Thick: mean of the trials on a"
            " ring (round solid, oval dashed); thin: single trials, so the spread of thin lines is the repeatability that a"
            " difference of rings must beat.",
        ),
        "Line chart of crank torque through the turn, one panel an intensity, one line a ring; the largest mean"
        f" torque is {_peak_in_words(curves)}.",
        curves,
    )


def polar_exhibit(analysis: RiderAnalysis) -> FigureExhibit:
    """Draw the same curves around the crank."""
    curves = _as_torque(analysis, analysis.mean_curves(_torque_column(analysis)))
    return FigureExhibit(
        "torque_polar",
        polar_panels(curves),
        "The same mean torque (round solid, oval dashed) around the crank, seen from the rider's right: top dead centre"
        " up, pedalling clockwise. The grey circle is zero torque, so inside it the legs brake the crank. Scale: circles"
        " in N·m.",
        f"Polar chart of the mean crank torque by ring, one panel an intensity; largest {_peak_in_words(curves)}.",
        curves,
    )


def stroke_table(analysis: RiderAnalysis) -> TableExhibit:
    """Give the stroke's measures by intensity and ring: mean of the rider's trials."""
    rows = analysis.quantities[analysis.quantities["quantity"].isin(STROKE_QUANTITIES)]
    cells = rows.groupby(["intensity", "ring"])
    frame = []
    for intensity in analysis.intensities:
        for ring in analysis.rings:
            if (intensity, ring) in cells.indices:
                cell = cells.get_group((intensity, ring))
                means = {
                    name: _mean_of(str(name), values)
                    for name, values in cell.groupby("quantity", sort=False)["value"]
                }
                frame.append(
                    {"intensity": intensity, "ring": ring, "trials": cell["trial"].nunique(), **means}
                )
    known = [name for name in STROKE_QUANTITIES if any(name in row for row in frame)]
    return TableExhibit(
        "stroke",
        pd.DataFrame(frame, columns=["intensity", "ring", "trials", *known]),
        "The stroke, mean over trials. Dead-centre size: mean of the smallest power"
        " near top and near bottom dead centre over the mean power (Leirdal & Ettema 2011). Evenness: mean"
        " over peak torque. Peak torque: mean of the turns' own peaks. Left share: left leg's work over the work of both."
        " What the recorder cannot tell has no column.",
        STROKE_QUANTITIES,
        STROKE_DIGITS,
    )


def _mean_of(quantity: str, values: pd.Series) -> float:
    """Mean over trials; the torque phase as an axis."""
    if quantity != "torque_phase_deg":
        return float(values.mean())
    return axial_mean(values).angle_deg


def meter_table(analysis: RiderAnalysis) -> TableExhibit:
    """Give what a meter with few speed readings would add to oval − round."""
    wide = analysis.meter.pivot_table(
        index="intensity", columns="sectors", values="gap_W", sort=False
    ).reset_index()
    wide.columns = [str(name) for name in wide.columns]
    headings = {name: f"{name} a turn (W)" for name in wide.columns[1:]}
    return TableExhibit(
        "meter",
        wide,
        "What a meter alone would add to oval − round, by the number of speed readings a turn: same torque"
        f" on both rings, oval at {analysis.mount_deg:g}°, rigid drivetrain with the stated inertia, constant"
        " resistance.",
        headings,
        dict.fromkeys(headings, 2),
    )


def effect_table(analysis: RiderAnalysis) -> TableExhibit:
    """Give oval − round of this rider by outcome and intensity, from the rider's own periods."""
    return TableExhibit(
        "effect",
        rider_contrasts(analysis),
        "Oval − round of this rider: mean of the oval periods minus mean of the round periods. The range of"
        " single periods shows how far the same ring repeats itself; a difference no larger than that is no"
        " finding about one rider.",
        {"difference": "oval − round", "smallest_effect": "smallest effect that matters"},
        {"round": 2, "oval": 2, "difference": 2, "range_round": 2, "range_oval": 2},
    )


@once
def rider_contrasts(analysis: RiderAnalysis) -> pd.DataFrame:
    """Return one row an outcome and intensity: ring means, their difference and each ring's range over periods."""
    rows = []
    outcomes = sorted(analysis.study.settings.outcomes, key=lambda part: not part.primary)
    asked = analysis.quantities[analysis.quantities["quantity"].isin([part.name for part in outcomes])]
    asked = asked.dropna(subset="value")
    for outcome in outcomes:
        own = asked["quantity"] == outcome.name
        if outcome.period_deg and own.any():
            asked.loc[own, "value"] = beside_one_another(asked.loc[own, "value"], outcome.period_deg)
    cells = asked.groupby(["quantity", "intensity", "ring"])["value"]
    means, highs, lows, counts = (
        made.to_dict() for made in (cells.mean(), cells.max(), cells.min(), cells.size())
    )
    for outcome in outcomes:
        declared = analysis.study.settings.intensities_of(outcome)
        for intensity in (name for name in analysis.intensities if name in declared):
            on_round, on_oval = ((outcome.name, intensity, ring) for ring in ("round", "oval"))
            if on_round in means and on_oval in means:
                rows.append(
                    {
                        "outcome": f"{outcome.label} ({outcome.unit_shown})"
                        if outcome.unit_shown
                        else outcome.label,
                        "intensity": intensity,
                        "round": means[on_round],
                        "oval": means[on_oval],
                        "difference": means[on_oval] - means[on_round],
                        "range_round": highs[on_round] - lows[on_round] if counts[on_round] > 1 else np.nan,
                        "range_oval": highs[on_oval] - lows[on_oval] if counts[on_oval] > 1 else np.nan,
                        "periods": f"{counts[on_round]} + {counts[on_oval]}",
                        "smallest_effect": outcome.smallest_effect,
                    }
                )
    columns = [
        "outcome",
        "intensity",
        "round",
        "oval",
        "difference",
        "range_round",
        "range_oval",
        "periods",
        "smallest_effect",
    ]
    return pd.DataFrame(rows, columns=columns)


def _torque_column(analysis: RiderAnalysis) -> str:
    return f"torque_{analysis.drawn_channel}_Nm"


def _as_torque(analysis: RiderAnalysis, curves: pd.DataFrame) -> pd.DataFrame:
    return curves.rename(columns={_torque_column(analysis): "torque_Nm"})


def _whose_torque(analysis: RiderAnalysis) -> str:
    channel = analysis.drawn_channel
    return "Torque of both legs" if channel == "total" else f"Torque of the {channel} leg alone"


def _peak_in_words(curves: pd.DataFrame) -> str:
    peak = curves.reset_index(drop=True).loc[int(curves["torque_Nm"].argmax())]
    return f"{peak['torque_Nm']:.0f} newton metres at {peak['crank_deg']:.0f} degrees"


def _with_trial_counts(analysis: RiderAnalysis, words: str) -> str:
    """Return words of a caption followed by how many trials each mean rests on."""
    counts = analysis.used.groupby(["intensity", "ring"], sort=False).size().reset_index(name="n")
    called = analysis.study.settings.intensity_label
    cells = counts.to_dict("records")
    by_cell = {f"{called(cell['intensity'])} {cell['ring']}": int(cell["n"]) for cell in cells}
    return say_counts_after(words, "Trials", by_cell)
