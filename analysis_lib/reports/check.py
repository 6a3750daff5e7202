"""The check of a study folder: every problem at once, then how good the data are."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.reports.numbers import format_cell
from analysis_lib.reports.rider_analysis import analyse_rider
from analysis_lib.reports.rider_trials import BY_RULE, CAUTION, NOT_USED
from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.alike import grouped
from analysis_lib.study.folder import Study, open_study
from analysis_lib.study.frozen_protocol import PROTOCOL
from analysis_lib.study.protocol import PLAN_FOLDER
from analysis_lib.study.readiness import NO_ROWS

COLUMNS = {
    "trial": "trial",
    "rider": "rider",
    "period": "period",
    "ring": "ring",
    "intensity": "intensity",
    "state": "state",
    "kept_turns": "kept",
    "dropped_turns": "dropped",
    "samples_per_turn": "samples/turn",
    "longest_gap_s": "gap (s)",
    "zero_drift_Nm": "zero drift (N·m)",
}


def check_study(folder: Path) -> int:
    """Print every problem of a study folder, then one line of data quality a trial.

    Returns
    -------
    int
        0 when nothing is wrong, 2 when something must be mended; notes alone do not count, nor does a study whose
        protocol is frozen and whose tables are empty, because nothing was ridden yet.

    Raises
    ------
    Refusals
        When study.toml or a whole table cannot be read: then there is nothing to tabulate.
    """
    study = open_study(folder)
    quality, spoilt, doubts = _read_everything(study)
    waiting = _nothing_recorded_yet(study)
    errors = [problem for problem in study.errors if not (waiting and problem.got == NO_ROWS)]
    faults = [str(problem) for problem in errors] + [fault for fault in spoilt if fault]
    names = [*study.trials["trial"], *study.riders["rider"], *study.trials["file"]]
    _print_list("problem", faults, names)
    _print_list("caution", doubts, names)
    _print_list("note", [str(problem) for problem in study.notes], names)
    if waiting:
        enrolled = show_count(len(study.riders), "rider")
        print(
            f"Nothing recorded yet: the protocol is frozen, riders.csv lists {enrolled}, trials.csv no trial."
        )
    if not quality.empty:
        print("\nData quality, one line a trial:\n")
        print(_as_text(quality))
    return 2 if faults else 0


def _nothing_recorded_yet(study: Study) -> bool:
    """Whether the protocol is frozen and no trial is listed."""
    return study.trials.empty and (study.root / PLAN_FOLDER / PROTOCOL).is_file()


def _read_everything(study: Study) -> tuple[pd.DataFrame, list[str], list[str]]:
    """Read every recording.

    Returns
    -------
    tuple of DataFrame, list of str and list of str
        The trials' quality; what stopped any of them beyond the tables' own faults; and what speaks against those that
        are used, or by which declared rule they are left out.
    """
    frames, faults, doubts = [], [], []
    for rider in study.riders["rider"]:
        try:
            trials = analyse_rider(study, rider).trials
        except (Refusal, Refusals) as refusal:
            faults += [str(part) for part in getattr(refusal, "refusals", [refusal])]
            frames.append(study.trials[study.trials["rider"] == rider].assign(state=NOT_USED))
            continue
        by_rule = trials["reason"].str.startswith(BY_RULE)
        unusable = trials[(trials["state"] == NOT_USED) & ~trials["exclude"] & ~by_rule]
        faults += list(unusable["reason"])
        doubtful = trials[(trials["state"] == CAUTION) | by_rule]
        doubts += [f"{row.trial}: {row.reason}" for row in doubtful.itertuples()]
        frames.append(trials)
    return (pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()), faults, doubts


def _print_list(kind: str, messages: list[str], names: list[str]) -> None:
    lines = list(dict.fromkeys(messages))
    print(show_count(len(lines), kind) + (":" if lines else ""))
    for line in grouped(lines, names):
        print(f"  {line}")


def _as_text(quality: pd.DataFrame) -> str:
    shown = quality[[name for name in COLUMNS if name in quality]].rename(columns=COLUMNS)
    return shown.map(format_cell).to_string(index=False)
