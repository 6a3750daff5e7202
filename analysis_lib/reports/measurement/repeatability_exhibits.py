"""How well a quantity repeats: typical error and intraclass correlation."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.measurement.repeated_trials import RepeatedTrials
from analysis_lib.statistics.estimates import decimals_for
from analysis_lib.statistics.reliability import TypicalError, icc, typical_error
from analysis_lib.statistics.trial_table import OVERALL, RINGS


def cells_of(repeats: RepeatedTrials) -> Iterator[tuple[str, str]]:
    """Name every intensity, and "overall", on each ring."""
    for intensity in (*repeats.intensities, OVERALL):
        for ring in RINGS:
            yield intensity, ring


def error_of(repeats: RepeatedTrials, intensity: str, ring: str) -> TypicalError:
    """Return the typical error between a rider's periods on one ring at one intensity, or overall."""
    return typical_error(repeats.complete(intensity, ring), "rider", "repeat", "value", unit=repeats.unit)


def error_table(repeats: RepeatedTrials) -> TableExhibit:
    """Give typical error, coefficient of variation and smallest detectable change at each intensity and ring."""
    rows = []
    for intensity, ring in cells_of(repeats):
        table = repeats.complete(intensity, ring)
        error, bounds = (found := error_of(repeats, intensity, ring)), found.interval()
        cv = float("nan") if repeats.unit == "deg" else _variation(table)
        ends = (error.value, bounds.low, bounds.high, error.minimal_detectable_change)
        rows.append((intensity, ring, error.n, error.k, table["value"].mean(), *ends, cv, error.df))
    columns = ["intensity", "ring", "n", "k", "mean", "error", "low", "high", "change", "cv_pct", "df"]
    frame = pd.DataFrame(rows, columns=columns)
    digits = decimals_for(float((frame["high"] - frame["low"]).median()) / 4)
    return TableExhibit(
        "typical_error",
        frame,
        f"{repeats.name_with_unit}: typical error of one rider's value between periods on the same ring (within-rider SD,"
        " a mean change between periods left out) with 95 % interval; the change between two trials that error passes once"
        " in 20; the error in percent of the value (from logarithms; none for angles). Overall: mean over intensities.",
        {
            "n": "riders",
            "k": "periods",
            "error": "typical error",
            "low": "95 % low",
            "high": "95 % high",
            "change": "smallest detectable change",
            "cv_pct": "CV (%)",
        },
        dict.fromkeys(("mean", "error", "low", "high", "change"), digits) | {"cv_pct": 2},
    )


def _variation(table: pd.DataFrame) -> float:
    """Coefficient of variation in percent; NaN where a value is not positive or repeats are exact."""
    try:
        return typical_error(table, "rider", "repeat", "value", scale="ratio").value
    except Refusal:
        return float("nan")


def icc_table(repeats: RepeatedTrials, intensity: str = OVERALL, ring: str = "round") -> TableExhibit:
    """Give the six intraclass correlations with what each asks, for one intensity and ring."""
    table = repeats.complete(intensity, ring)
    frame = icc(table, "rider", "repeat", "value")[["form", "icc", "low", "high", "reading", "use"]]
    return TableExhibit(
        "icc_forms",
        frame,
        f"{repeats.label}, {intensity}, {ring} ring ({table['rider'].nunique()} riders,"
        f" {table['repeat'].nunique()} periods): share of the variance that lies between riders, six forms. ICC(2,1)"
        " answers how well one trial tells riders apart when a change of all riders between periods counts as error,"
        " ICC(3,1) when it does not. The mean-of-k forms hold only where k trials are averaged.",
        {"icc": "ICC", "low": "95 % low", "high": "95 % high", "use": "asks for"},
        {"icc": 3, "low": 3, "high": 3},
    )


def icc_by_cell_table(repeats: RepeatedTrials) -> TableExhibit:
    """Give ICC(2,1) and ICC(3,1) at each intensity and ring."""
    frames = []
    for intensity, ring in cells_of(repeats):
        forms = icc(repeats.complete(intensity, ring), "rider", "repeat", "value")
        chosen = forms[forms["form"].isin(["ICC(2,1)", "ICC(3,1)"])]
        frames.append(
            chosen[["form", "icc", "low", "high", "reading"]].assign(intensity=intensity, ring=ring)
        )
    frame = pd.concat(frames, ignore_index=True)
    return TableExhibit(
        "icc_by_intensity",
        frame[["intensity", "ring", "form", "icc", "low", "high", "reading"]],
        f"{repeats.label}: agreement, ICC(2,1), and consistency, ICC(3,1), of one trial. An intraclass correlation"
        " falls with the spread of the riders who took part: compare it only between groups that are spread alike.",
        {"icc": "ICC", "low": "95 % low", "high": "95 % high"},
        {"icc": 3, "low": 3, "high": 3},
    )
