"""The check of a study folder: every problem at once, then how good the data are."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from analysis_lib.reports.exhibits.numbers import format_cell
from analysis_lib.reports.running.readings import Readings, read_everything
from analysis_lib.reports.trials.rider_trials import NOT_USED
from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.checks.alike import grouped
from analysis_lib.study.checks.folder import Study, open_study
from analysis_lib.study.checks.readiness import NO_ROWS
from analysis_lib.study.declared.protocol import PLAN_FOLDER
from analysis_lib.study.planning.frozen_protocol import PROTOCOL
from analysis_lib.study.planning.protocol_deviations import compare_with_protocol, what_was_compared

OF_DEVIATIONS = ". Undo what was a mistake; the study's page lists what is left"

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
        0 when nothing is wrong, 2 when something must be mended; cautions and notes do not count, nor does a study whose
        protocol is frozen and whose tables are empty, because nothing was ridden yet.

    Raises
    ------
    Refusals
        When study.toml or a whole table cannot be read: then there is nothing to tabulate.
    """
    study = open_study(folder)
    read, waiting = read_everything(study), _nothing_recorded_yet(study)
    errors = [problem for problem in study.errors if not (waiting and problem.got == NO_ROWS)]
    names = study.names
    tables = list(dict.fromkeys(map(str, errors)))
    faults = len(tables) + sum(map(len, read.of_recorders.values()))
    _print_list("problem", faults, [*grouped(tables, names), *_lines_of_recorders(study, read, names)])
    doubts = list(dict.fromkeys([*map(str, study.cautions), *read.doubts]))
    left, open_yet = _left_protocol(study)
    about_protocol = [f"{what_was_compared(study)}{OF_DEVIATIONS}:", *grouped(left, names)] if left else []
    _print_list("caution", len(doubts) + len(left), [*grouped(doubts, names), *about_protocol])
    notes = list(dict.fromkeys([*map(str, study.notes), *read.notes, *open_yet]))
    _print_list("note", len(notes), grouped(notes, names))
    if waiting:
        enrolled = show_count(len(study.riders), "rider")
        print(
            f"Nothing recorded yet: the protocol is frozen, riders.csv lists {enrolled}, trials.csv no trial."
        )
    if not read.trials.empty:
        stopped = read.trials["trial"].isin(study.trials.loc[~study.trials["usable"], "trial"])
        print("\nData quality, one line a trial:\n")
        print(_as_text(read.trials.assign(state=read.trials["state"].mask(stopped, NOT_USED))))
    return 2 if faults else 0


def _nothing_recorded_yet(study: Study) -> bool:
    """Whether the protocol is frozen and no trial is listed."""
    return study.trials.empty and (study.root / PLAN_FOLDER / PROTOCOL).is_file()


def _left_protocol(study: Study) -> tuple[list[str], list[str]]:
    """Say where the study left its frozen protocol; apart from that, that none was frozen, and what may yet come."""
    found = compare_with_protocol(study)
    is_frozen = bool(what_was_compared(study))
    left = [part for part in found if is_frozen and not part.is_open]
    return [part.sentence() for part in left], [part.sentence() for part in found if part not in left]


def _lines_of_recorders(study: Study, read: Readings, names: list[str]) -> list[str]:
    """Tell what stopped recordings, those of one recorder together: a whole recorder often has one cause."""
    lines: list[str] = []
    for recorder, messages in read.of_recorders.items():
        here = grouped(messages, names)
        if len(here) < len(messages):
            listed = sum(
                int((part["recorder"] == recorder).sum()) for part in (study.trials, study.set_aside)
            )
            count = show_count(listed, "trial")
            lines.append(f"recorder {recorder}, {len(messages)} of its {count} cannot be used:")
        lines += here
    return lines


def _print_list(kind: str, count: int, lines: list[str]) -> None:
    print(show_count(count, kind) + (":" if count else ""))
    for line in lines:
        print(f"  {line}")


def _as_text(quality: pd.DataFrame) -> str:
    shown = quality[[name for name in COLUMNS if name in quality]].rename(columns=COLUMNS)
    return shown.map(format_cell).to_string(index=False)
