"""What stands beside an answer that is given before a study has ended."""

from __future__ import annotations

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.planning.progress import Progress, progress_of

DECLARE_END = "Once no more will be ridden, write ended = true under [study] in study.toml."

FIVE_LOOKS_PCT = 14
"""Studies without any effect in which one of five looks at growing data differs from zero at 5 % (normal values)."""


def interim_sentences(study: Study) -> list[str]:
    """Say that a look is one before the end, how far the study is, and what a verdict is worth; nothing at the end."""
    progress = progress_of(study)
    if not progress.is_interim:
        return []
    return [
        f"An interim look, before the study's end: {_so_far(progress)}. Keep the verdict for the end. Whoever looks again"
        " and again and stops at a difference finds one by chance in more than one of twenty studies without any effect –"
        f" with five looks in {FIVE_LOOKS_PCT} % (Armitage, McPherson & Rowe 1969, J R Stat Soc A 132:235)."
        f"{_open_in_words(progress)} {DECLARE_END}"
    ]


def unfinished_sentences(study: Study) -> list[str]:
    """Say of a look that is taken for one at the end how many riders may still be riding; nothing where none may."""
    progress = progress_of(study)
    if progress.ended or progress.is_interim or not _open(progress):
        return []
    return [
        f"This is taken for the study's end, because every planned rider has begun and most have come to the last period."
        f"{_open_in_words(progress)} {DECLARE_END}"
    ]


def _open(progress: Progress) -> int:
    """How many riders have begun and have no trial in the last period."""
    return progress.riders - progress.riders_through


def _open_in_words(progress: Progress) -> str:
    """Say of how many riders the tables do not tell whether they go on; one rider's own periods are counted instead."""
    if not _open(progress) or progress.riders_planned == 1:
        return ""
    have = "has" if _open(progress) == 1 else "have"
    return (
        f" {_open(progress)} of {show_count(progress.riders, 'rider')} who have begun {have} no trial in the last period:"
        " whether they go on or have stopped early, the tables do not tell."
    )


def _so_far(progress: Progress) -> str:
    if progress.riders_planned == 1:
        return f"{progress.periods} of {progress.periods_planned} planned periods so far"
    through = f", {progress.riders_through} of them with a trial in the last period"
    return f"{progress.riders} of {progress.riders_planned} planned riders so far{through}"


def progress_tables(study: Study) -> list[TableExhibit]:
    """The table that `interim_sentences` speaks of; none after the end."""
    progress = progress_of(study)
    if not progress.is_interim:
        return []
    rows = [
        ("planned riders", progress.riders_planned),
        ("riders so far", progress.riders),
        ("of them in the last period", progress.riders_through),
        ("planned periods", progress.periods_planned),
        ("periods so far", progress.periods),
    ]
    return [
        TableExhibit(
            "progress",
            pd.DataFrame(rows, columns=["what", "n"]),
            "How far the study has come. Planned: riders on the frozen allocation list, or else in [plan] of study.toml, or"
            " else in riders.csv; periods of a sequence. So far: with a trial in trials.csv.",
        )
    ]
