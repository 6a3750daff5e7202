"""Which trials a page's numbers rest on under caution, and what speaks against them."""

from __future__ import annotations

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.trials.rider_trials import CAUTION, NOT_USED
from analysis_lib.reports.trials.trials_at_hand import TrialsAtHand
from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.checks.alike import first_few

TABLE = "cautions"
ALL = "used under caution"
"""The table's name, and the head of the row that counts all its trials."""


def caution_sentences(analysis: TrialsAtHand) -> list[str]:
    """Say how many trials are used under caution; nothing where none is."""
    cautioned, used = _cautioned(analysis), _used(analysis)
    if cautioned.empty:
        return []
    return [
        f"{len(cautioned)} of {show_count(len(used), 'trial')} behind these numbers"
        f" {'is' if len(cautioned) == 1 else 'are'} used under caution: the table of cautions says what speaks against"
        f" {'it' if len(cautioned) == 1 else 'them'}."
    ]


def caution_tables(analysis: TrialsAtHand) -> list[TableExhibit]:
    """Count the trials used under caution by what speaks against them; no table where there are none."""
    cautioned, used = _cautioned(analysis), _used(analysis)
    if cautioned.empty:
        return []
    reasons = cautioned.groupby("reason", sort=False)["trial"]
    rows = [(ALL, len(cautioned), "", "")]
    rows += [
        (f"caution {number}", len(trials), first_few(list(trials)), str(reason))
        for number, (reason, trials) in enumerate(reasons, start=1)
    ]
    return [
        TableExhibit(
            TABLE,
            pd.DataFrame(rows, columns=["group", "trials", "which", "reason"]),
            f"Of {show_count(len(used), 'trial')} used, those used under caution, by what speaks against them. They count"
            " like all others, except where the page says that they are left out.",
            {"reason": "what speaks against them"},
        )
    ]


def _used(analysis: TrialsAtHand) -> pd.DataFrame:
    return analysis.trials[analysis.trials["state"] != NOT_USED]


def _cautioned(analysis: TrialsAtHand) -> pd.DataFrame:
    return analysis.trials[analysis.trials["state"] == CAUTION]
