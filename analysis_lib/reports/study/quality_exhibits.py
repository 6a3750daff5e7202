"""How the recordings of a study's trials are made: turns, samples, clocks and sides."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import scipy  # its parts are loaded when first asked for

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.quality_figures import measure_panels
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.signals.held_values import LEAST_HELD_DEG
from analysis_lib.statistics.estimates import show_count, show_digits

MEASURES = {
    "kept_turns": "Kept turns",
    "zero_drift_Nm": "Zero drift (N·m)",
    "cadence_mean_rpm": "Cadence (rpm)",
    "cadence_sd_rpm": "Cadence SD (rpm)",
    "samples_per_turn": "Samples a turn",
    "longest_gap_s": "Longest gap (s)",
}
DROPPED = "dropped_"
LOW_SHARE_PCT, HIGH_SHARE_PCT = 40.0, 60.0
"""Share of a leg in published samples (Bini 2016, introduction)."""
GAP_IN_SAMPLES = 1.5
"""Times of the usual interval, beyond which a sample is missing between two."""


def measures_exhibit(analysis: StudyAnalysis) -> FigureExhibit:
    """Draw each measure of quality for every trial, by rider."""
    trials = analysis.trials
    known = {name: label for name, label in MEASURES.items() if name in trials and trials[name].notna().any()}
    frame = trials[["rider", "trial", "state", *known]]
    return FigureExhibit(
        "measures",
        measure_panels(frame, known),
        "Measures of every trial, one dot a trial, riders along the axis. Dots: used; open diamonds: used with"
        " caution. Trials that gave nothing have no dot. Look for a rider or a trial that stands apart.",
        f"{len(known)} dot plots of data-quality measures by rider for {show_count(len(trials), 'trial')}; lowest to"
        " highest: "
        + ", ".join(
            f"{label} {show_digits(trials[name].min(), 3)} to {show_digits(trials[name].max(), 3)}"
            for name, label in known.items()
        ).replace("-", "−")
        + ".",
        frame,
    )


def reasons_table(analysis: StudyAnalysis) -> TableExhibit:
    """Count dropped turns by rider and reason."""
    trials = analysis.trials
    reasons = [name for name in trials if str(name).startswith(DROPPED) and name != "dropped_turns"]
    columns = [*reasons, "incomplete_turns"]
    counts = trials.groupby("rider")[["kept_turns", *columns]].sum().astype(int).reset_index()
    headings = {str(name): str(name).removeprefix(DROPPED).replace("_", " ") for name in reasons}
    return TableExhibit(
        "reasons",
        counts,
        "Whole turns kept, and dropped by reason, over all trials that gave results; parts of turns at either end count"
        f" as neither. Dropped for {_bounds(analysis)}.",
        {**headings, "kept_turns": "kept", "incomplete_turns": "incomplete"},
    )


def _bounds(analysis: StudyAnalysis) -> str:
    rules = analysis.study.settings.rules
    frozen = f", one frozen for {LEAST_HELD_DEG:g}° or more" if rules.min_torque_range_Nm else ""
    return (
        f"a gap over {rules.max_gap_s:g} s, a step back over {rules.max_backward_deg:g}°, a saturated sample, a standstill"
        f" over {rules.max_standstill_s:g} s, mean torque below {rules.min_mean_torque_Nm:g} N·m, a channel's range below"
        f" {rules.min_torque_range_Nm:g} N·m{frozen}, or cadence outside {rules.cadence_min_rpm:g} to"
        f" {rules.cadence_max_rpm:g} rpm"
    )


def clock_table(analysis: StudyAnalysis) -> TableExhibit:
    """Give each recorder's sampling and the jumps of its clock: gaps, missing samples, trials that overlap in time."""
    trials = analysis.trials.dropna(subset=["sample_rate_hz"])
    overlapping = _overlaps(trials)
    rows = []
    for recorder, here in trials.groupby("recorder"):
        interval_ms = 1000 / here["sample_rate_hz"]
        longest_ms = 1000 * here["longest_gap_s"]
        worst = here["trial"].iloc[int(longest_ms.argmax())]
        jumped = longest_ms > GAP_IN_SAMPLES * interval_ms
        rows.append(
            {
                "recorder": recorder,
                "trials": len(here),
                "interval_ms": float(interval_ms.median()),
                "slowest_ms": float(interval_ms.max()),
                "longest_gap_ms": float(longest_ms.max()),
                "gap_of": worst if jumped.any() else "",
                "trials_with_gap": int(jumped.sum()),
                "missing_samples": int(here["missing_samples"].sum()),
                "overlapping": int(here["trial"].isin(overlapping).sum()),
            }
        )
    return TableExhibit(
        "clocks",
        pd.DataFrame(rows),
        "Clocks by recorder: usual time between samples, median and largest over trials; the longest gap and its trial;"
        f" trials with a gap of more than {GAP_IN_SAMPLES:g} usual times (samples lost, or a clock that jumped); samples"
        " without a value; trials that begin before another one on the recorder has ended: a starting time is wrong.",
        {
            "interval_ms": "usual (ms)",
            "slowest_ms": "largest (ms)",
            "longest_gap_ms": "longest gap (ms)",
            "gap_of": "in trial",
            "trials_with_gap": "trials with gaps",
            "missing_samples": "samples missing",
            "overlapping": "trials overlapping",
        },
        {"interval_ms": 1, "slowest_ms": 1, "longest_gap_ms": 1},
    )


def _overlaps(trials: pd.DataFrame) -> set[str]:
    """Name the trials that ran at the same time as another one of their recorder."""
    found: set[str] = set()
    begun = pd.to_datetime(trials["started_at"])
    timed = trials.assign(begun=begun, ended=begun + pd.to_timedelta(trials["duration_s"], "s"))
    for _, here in timed.dropna(subset=["begun", "ended"]).sort_values("begun").groupby("recorder"):
        earlier = here["ended"].cummax().shift()
        # Starting times are written to the second.
        late = here["begun"] + pd.Timedelta(seconds=1) < earlier
        found |= set(here.loc[late | late.shift(-1, fill_value=False), "trial"].astype(str))
    return found


def side_table(analysis: StudyAnalysis) -> TableExhibit:
    """Give the range of each rider's left share over trials: a swapped or failing side shows as a trial apart."""
    rows = analysis.values_of("left_share_pct")
    if rows.empty:
        remedy = "record both legs, or look at the recorder's own checks"
        raise Refusal("sides", "no trial that tells the legs apart", "torque of both legs", remedy)
    spread = rows.groupby("rider")["value"].agg(["size", "min", "median", "max"]).reset_index()
    spread["range"] = spread["max"] - spread["min"]
    away = (rows["value"] - rows["rider"].map(spread.set_index("rider")["median"])).abs()
    farthest = rows.loc[away.groupby(rows["rider"]).idxmax()].set_index("rider")["trial"]
    spread["farthest"] = spread["rider"].map(farthest)
    spread["implausible"] = [
        int(np.count_nonzero((shares < LOW_SHARE_PCT) | (shares > HIGH_SHARE_PCT)))
        for _, shares in rows.groupby("rider")["value"]
    ]
    spread = spread.merge(_legs_apart(analysis), on="rider", how="left")
    return TableExhibit(
        "sides",
        spread.rename(columns={"size": "trials", "min": "lowest", "max": "highest"}),
        "Left leg's share of the work (%) over a rider's trials in which both legs were recorded; trials outside"
        f" {LOW_SHARE_PCT:g} to {HIGH_SHARE_PCT:g} %, where riders of published samples lie, are counted. Last: by how much"
        " the left leg drives later than the right one, each against its own crank, mean over trials with 95 % interval.",
        {
            "lowest": "lowest (%)",
            "median": "median (%)",
            "highest": "highest (%)",
            "range": "range (%)",
            "farthest": "farthest from median",
            "implausible": "trials outside",
            "later_deg": "left later (°)",
            "later_low": "95 % low",
            "later_high": "95 % high",
        },
        dict.fromkeys(("lowest", "median", "highest", "range"), 1)
        | dict.fromkeys(("later_deg", "later_low", "later_high"), 2),
    )


def _legs_apart(analysis: StudyAnalysis) -> pd.DataFrame:
    """How much later the left leg drives than the right one, ``rider, later_deg, later_low, later_high``."""
    legs = [
        analysis.values_of(f"torque_phase_{leg}_deg").set_index(["rider", "trial"])["value"]
        for leg in ("left", "right")
    ]
    later = ((legs[0] - legs[1]).dropna() + 180) % 360 - 180
    found = []
    for rider, values in later.groupby("rider"):
        half = math.nan
        if len(values) > 1:
            half = float(scipy.stats.t.ppf(0.975, len(values) - 1) * values.std() / math.sqrt(len(values)))
        found.append((rider, values.mean(), values.mean() - half, values.mean() + half))
    return pd.DataFrame(found, columns=["rider", "later_deg", "later_low", "later_high"])
