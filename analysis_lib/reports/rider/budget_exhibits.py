"""What the measurement can and cannot carry: the trials' budgets on the rider's page."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.files.once import once
from analysis_lib.reports.rider.budgets import drawn_intervals
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.statistics.estimates import show_count, show_number
from analysis_lib.study.corrections.trial_budget import undeclared, undeclared_inputs

NOT_DECLARED = "not declared"
TOGETHER = "all inputs together"


@once
def budget_table(analysis: RiderAnalysis) -> TableExhibit:
    """Give each input's share of the uncertainty of power, torque and torque phase, over the rider's trials."""
    rows = analysis.budgets
    if rows.empty:
        raise Refusal(
            "uncertainty of a trial",
            "no trial with turns enough to know their spread",
            "two kept turns or more",
            "look at why turns were dropped",
            scope="rider",
        )
    root_mean_square = rows.groupby(["quantity", "unit", "input"], sort=False)["contribution"].agg(
        lambda part: math.sqrt(float(np.mean(np.square(part))))
    )
    frame = root_mean_square.reset_index()
    totals = (
        rows.drop_duplicates(["trial", "quantity"])
        .groupby("quantity")["total"]
        .agg(lambda part: math.sqrt(float(np.mean(np.square(part)))))
    )
    frame["of_total"] = frame["contribution"] / frame["quantity"].map(totals)
    unknown = frame["input"].isin(_told_by_no_recorder(analysis))
    frame.loc[unknown, ["contribution", "of_total"]] = np.nan
    frame["input"] = frame["input"].mask(unknown, frame["input"] + f", {NOT_DECLARED}")
    units = frame.drop_duplicates("quantity").set_index("quantity")["unit"]
    whole = pd.DataFrame({"unit": units, "input": TOGETHER, "contribution": totals, "of_total": 1.0})
    order = list(dict.fromkeys(frame["quantity"]))
    frame = pd.concat([frame, whole.rename_axis("quantity").reset_index()], ignore_index=True)
    frame = frame.sort_values(
        "quantity", key=lambda column: column.map(order.index), kind="stable", ignore_index=True
    )
    frame["quantity"] = frame["quantity"].str.replace("_", " ")
    return TableExhibit(
        "uncertainty",
        frame,
        f"Uncertainty budget of one trial, root mean square over {show_count(rows['trial'].nunique(), 'trial')}: standard"
        " uncertainty that each input adds, and its share of the total (squares of single ones add up to one). Independent"
        " inputs combined by the law of propagation (JCGM 100:2008, equation 10)."
        + (" A dash: not known, and left out of the total." if unknown.any() else ""),
        {"contribution": "standard uncertainty", "of_total": "share of the total"},
        {"contribution": 3, "of_total": 2},
    )


def _told_by_no_recorder(analysis: RiderAnalysis) -> set[str]:
    """Inputs whose uncertainty none of the rider's recorders declares."""
    recorders = (analysis.study.settings.recorders[name] for name in set(analysis.used["recorder"]))
    return set.intersection(*map(undeclared_inputs, recorders))


def drawn_table(analysis: RiderAnalysis) -> TableExhibit:
    """Give the law's intervals beside drawn ones: where they differ, the law's straight lines do not suffice."""
    frame = drawn_intervals(analysis.study, analysis.used, analysis.results)
    frame["quantity"] = frame["quantity"].str.replace("_", " ")
    return TableExhibit(
        "uncertainty_drawn",
        frame,
        "The least certain trial's 95 % intervals: by the law of propagation (JCGM 100:2008) and by drawing its inputs at"
        " random (Monte Carlo, JCGM 101:2008). Look for ends that differ by more than a tenth of the interval: there the"
        " law would not do.",
        {
            "law_low": "law, low",
            "law_high": "law, high",
            "drawn_low": "drawn, low",
            "drawn_high": "drawn, high",
        },
        dict.fromkeys(("law_low", "law_high", "drawn_low", "drawn_high"), 2),
    )


def budget_sentences(analysis: RiderAnalysis) -> list[str]:
    """Say how uncertain a trial's power is, what was not declared, and what of it the comparison of rings escapes."""
    rows = analysis.budgets
    frame = budget_table(analysis).frame
    power = frame[(frame["quantity"] == "power") & (frame["input"] == TOGETHER)]["contribution"]
    words = [
        "A single trial's power is known to a standard uncertainty of"
        f" {show_number(float(power.iloc[0]), 2)} W (root mean square over"
        f" {show_count(rows['trial'].nunique(), 'trial')})."
    ]
    recorders = dict.fromkeys(analysis.used["recorder"])
    for name in recorders:
        missing = undeclared(analysis.study.settings.recorders[name])
        if missing:
            words.append(
                f"Of recorder {name} neither study.toml nor calibrations tell {', '.join(missing)}: these count as exact"
                " here, so the budget is a lower bound."
            )
    words.append(
        "Slope and angle errors of one recorder are the same on both rings and hardly touch their difference;"
        " zero torque and turn-to-turn variation do. The wanted mount, set by hand, angle errors reach in full."
        " Common practice, no source: zero after installing or"
        " refitting a recorder, again after the first thirty hours, and before any trial that counts."
    )
    return words
