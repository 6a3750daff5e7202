"""Trials whose power the same rider's other trials speak against: what pages say of them, and the table behind it."""

from __future__ import annotations

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.files.once import once
from analysis_lib.reports.files.packed_rows import in_words
from analysis_lib.reports.trials.trials_at_hand import TrialsAtHand
from analysis_lib.study.checks.alike import MOST_NAMED
from analysis_lib.study.doubts.power_doubts import PowerDoubt, doubt_powers
from analysis_lib.study.doubts.rider_power import (
    ALIKE,
    FAR_APART,
    FAR_OFF,
    TYPICAL_ERROR,
    Compared,
    compare_powers,
)

KINDS = {
    "period": "period off",
    "halves": "periods against each other",
    "exchange": "exchanged",
    "trial": "trial off",
}


@once
def doubts_of_power(analysis: TrialsAtHand) -> list[tuple[PowerDoubt, list[Compared]]]:
    """Judge the used trials of the page, rider by rider: each doubt with its trials."""
    rows = in_words(analysis.quantities[analysis.quantities["quantity"] == "power_W"])
    if rows.empty:
        return []
    found = []
    for rider, own in rows.groupby("rider", sort=False):
        powers = dict(zip(own["trial"].astype(str), own["value"].astype(float), strict=True))
        compared = compare_powers(own, powers)
        by_trial = {part.trial: part for part in compared}
        for doubt in doubt_powers(str(rider), compared):
            found.append((doubt, [by_trial[trial] for trial in doubt.trials]))
    return found


def power_doubts(analysis: TrialsAtHand) -> list[str]:
    """Name each period, pair or trial whose power is unlike the rider's others, and what follows from that."""
    doubts = [doubt for doubt, _ in doubts_of_power(analysis)]
    more = ["The table of powers in doubt lists more of the kind."] if len(doubts) > MOST_NAMED else []
    words = [
        f"Not to be relied on as it stands: {doubt.sentence()} What follows counts the power as recorded."
        for doubt in doubts[:MOST_NAMED]
    ]
    return [*words, *more]


def power_tables(analysis: TrialsAtHand) -> list[TableExhibit]:
    """The table of the trials in doubt; none where there are none."""
    found = doubts_of_power(analysis)
    if not found:
        return []
    rows = [
        {
            "trial": part.trial,
            "rider": doubt.rider,
            "period": part.period,
            "intensity": analysis.study.settings.intensity_label(part.intensity),
            "doubt": KINDS[doubt.kind],
            "power_W": part.power_W,
            "others_W": part.others_W,
            "others": part.n,
            "factor": part.factor,
            "together": doubt.factor,
            "trials": len(doubt.trials) // (2 if doubt.kind == "halves" else 1),
        }
        for doubt, compared in found
        for part in compared
    ]
    headings = {
        **{
            "power_W": "power (W)",
            "others_W": "others (W)",
            "others": "n of others",
            "factor": "power / others",
        },
        **{"together": "median of those in doubt", "trials": "n in doubt"},
    }
    return [
        TableExhibit(
            "power_in_doubt",
            pd.DataFrame(rows),
            f"The {len(rows)} trials whose power is unlike the rider's own in other periods at the same intensity (median)."
            f" In doubt: {FAR_OFF:g} times off it, or a pair of one period upside down and {FAR_APART} spreads off, at a"
            f" typical error of {100 * TYPICAL_ERROR:g} % (Abbiss 2008); a period: its trials within {ALIKE:g} times of one"
            " factor.",
            headings,
            {"power_W": 1, "others_W": 1, "factor": 2, "together": 2},
        )
    ]
