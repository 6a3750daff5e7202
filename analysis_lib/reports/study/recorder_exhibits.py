"""What the recorders of a study give, what they are known to, and how far their zero moved."""

from __future__ import annotations

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.signals.notification_log import SPACING_WARNING
from analysis_lib.signals.zero_drift import ZeroDriftFit, fit_zero_drift
from analysis_lib.signals.zero_torque import ZeroCheck
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.corrections.trial_budget import undeclared
from analysis_lib.study.corrections.zero_lookup import zero_columns

ANGLES = {
    "encoder": "read at each sample",
    "pulses": "counted from pulses",
    "index": "one pulse a turn",
    "rate": "turning rate between pulses",
    "markers": "markers of pedal and axis",
}


def recorder_table(analysis: StudyAnalysis) -> TableExhibit:
    """Describe each recorder: its file, its angle, its channels, its calibration and what it is known to."""
    study, used = analysis.study, analysis.trials["recorder"].value_counts()
    rows = []
    for name, recorder in study.settings.recorders.items():
        rows.append(
            {
                "recorder": name,
                "trials": int(used.get(name, 0)),
                "file": recorder.kind,
                "channels": " and ".join(recorder.recorder_settings().channels),
                "angle": "first angle of a message" if recorder.messages else ANGLES[recorder.angle],
                "calibration": _calibrated(study, name),
                "slope_pct": recorder.slope_uncertainty_pct,
                "per_degC_pct": recorder.slope_per_degC_pct,
                "angle_deg": recorder.angle_zero_uncertainty_deg,
                "delay_ms": recorder.delay_uncertainty_ms,
            }
        )
    return TableExhibit(
        "recorders",
        pd.DataFrame(rows),
        "Recorders: their files, torque channels and source of the crank angle; the last calibration in calibrations.csv;"
        " the standard uncertainties of slope, angle zero and delay, and the slope's largest change with temperature,"
        " declared in study.toml or told by calibrations and slow turns.",
        {
            "slope_pct": "slope (%)",
            "per_degC_pct": "slope (% per °C)",
            "angle_deg": "angle zero (°)",
            "delay_ms": "delay (ms)",
        },
        {"slope_pct": 2, "per_degC_pct": 3, "angle_deg": 2, "delay_ms": 1},
    )


def unknown_sentences(analysis: StudyAnalysis) -> list[str]:
    """Say what is not known of each recorder that was used, and so counts as exact in the budgets."""
    used = set(analysis.trials["recorder"])
    missing = {
        name: undeclared(recorder)
        for name, recorder in analysis.study.settings.recorders.items()
        if name in used
    }
    return [
        f"Nobody has declared of recorder {name}: {', '.join(words)}. The budgets take what is not known as exact, so they"
        " are lower bounds."
        for name, words in missing.items()
        if words
    ]


def _calibrated(study: Study, recorder: str) -> str:
    own = [part for part in study.known.calibrations if part.recorder == recorder]
    return f"{own[-1].calibrated_at:%Y-%m-%d}" if own else "none"


def spacing_sentences(analysis: StudyAnalysis) -> list[str]:
    """Warn of recorders whose samples carry no angle of their own, with their trials on rings that are not round."""
    said = []
    rings = analysis.study.settings.rings
    for name, recorder in analysis.study.settings.recorders.items():
        own = analysis.trials[analysis.trials["recorder"] == name]
        if recorder.messages is None or own.empty:
            continue
        oval = sum(rings[ring].axis_ratio > 1 for ring in own["ring_name"])
        said.append(f"{name}: {SPACING_WARNING} {oval} of {len(own)} trials were ridden on such a ring.")
    return said


def zero_table(analysis: StudyAnalysis) -> TableExhibit:
    """Describe the zero checks of each channel: how many, over which temperatures, how far zero moved."""
    rows = []
    for place, values in _checked(analysis.study):
        temperature, moved = values["temperature_C"], values["zero"].diff().abs()
        rows.append(
            {
                **place,
                "checks": len(values),
                "lowest": values["zero"].min(),
                "highest": values["zero"].max(),
                "largest_move": moved.max(),
                "coldest_C": temperature.min(),
                "warmest_C": temperature.max(),
            }
        )
    return TableExhibit(
        "zero_checks",
        pd.DataFrame(rows),
        "Zero checks by recorder and channel: lowest and highest reading without load, the largest move from one check"
        " to the next, and the temperatures at which they were made.",
        {"largest_move": "largest move", "coldest_C": "coldest (°C)", "warmest_C": "warmest (°C)"},
        {"lowest": 2, "highest": 2, "largest_move": 2, "coldest_C": 1, "warmest_C": 1},
    )


def zero_fit_table(analysis: StudyAnalysis) -> TableExhibit:
    """Give what all checks of a channel tell of temperature and time, with intervals and what they leave open."""
    rows = [{**place, **_fitted(place["channel"], values)} for place, values in _checked(analysis.study)]
    rule = analysis.study.settings.rules.zero_model
    taken = {
        "line": "Trials lose the line between the checks around them, not this fit",
        "temperature": "Trials lose this fit",
    }[rule]
    return TableExhibit(
        "zero_fit",
        pd.DataFrame(rows),
        "Zero of each channel by least squares on temperature and time over all its checks: change a degree and a day with"
        " 95 % intervals, and the standard deviation of checks about the fit, which is what neither explains (refitting,"
        f" say). {taken} (zero_model in study.toml).",
        {
            "per_degC": "per °C",
            "per_degC_low": "95 % low",
            "per_degC_high": "95 % high",
            "per_day": "per day",
            "per_day_low": "95 % low",
            "per_day_high": "95 % high",
            "scatter": "SD about fit",
        },
        dict.fromkeys(
            ("per_degC", "per_degC_low", "per_degC_high", "per_day", "per_day_low", "per_day_high"), 3
        )
        | {"scatter": 2},
    )


def _checked(study: Study) -> list[tuple[dict[str, str], pd.DataFrame]]:
    """Go through the channels of the recorders that were checked: where, and time, temperature and zero of each check."""
    found = []
    checks = study.zero_checks
    for recorder in study.settings.recorders:
        own = checks[checks["recorder"] == recorder].sort_values("checked_at")
        for channel, column in zero_columns(study.settings, checks, recorder).items():
            values = own.reindex(columns=["checked_at", "temperature_C", column]).rename(
                columns={column: "zero"}
            )
            values = values.dropna(subset=["zero"])
            if len(values):
                unit = "N" if column.endswith("_N") else "N·m"
                found.append(({"recorder": recorder, "channel": channel, "unit": unit}, values))
    return found


def _fitted(channel: str, values: pd.DataFrame) -> dict[str, float]:
    """Fit one channel; empty where its checks cannot tell."""
    timed = values.dropna(subset=["checked_at", "temperature_C"])
    since = (timed["checked_at"] - timed["checked_at"].min()).dt.total_seconds()
    checks = [
        ZeroCheck(float(at), float(warm), {channel: float(zero)})
        for at, warm, zero in zip(since, timed["temperature_C"], timed["zero"], strict=True)
    ]
    try:
        fit = fit_zero_drift(checks, channel)
    except Refusal:
        return {}
    return _slopes(fit) | {"scatter": fit.residual_sd}


def _slopes(fit: ZeroDriftFit) -> dict[str, float]:
    slopes: dict[str, float] = {}
    for name, slope, times in (("per_degC", fit.per_degree, 1.0), ("per_day", fit.per_hour, 24.0)):
        if slope is not None:
            found = slope.interval(0.95)
            ends = (slope.value, found.low, found.high)
            slopes |= dict(
                zip((name, f"{name}_low", f"{name}_high"), (times * end for end in ends), strict=True)
            )
    return slopes
