"""The check of a study folder: every problem at once, then how good the data are."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analysis_lib.refusals import Refusals
from analysis_lib.reports.numbers import format_cell
from analysis_lib.reports.rider_analysis import read_rider
from analysis_lib.reports.rider_trials import BY_RULE, CAUTION, NOT_USED
from analysis_lib.reports.scale_cautions import powers_of
from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.alike import grouped
from analysis_lib.study.folder import Study, open_study
from analysis_lib.study.frozen_protocol import PROTOCOL
from analysis_lib.study.protocol import PLAN_FOLDER
from analysis_lib.study.readiness import NO_ROWS
from analysis_lib.study.torque_scale import check_scales, recorders_in_doubt

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
    read, waiting = _read_everything(study), _nothing_recorded_yet(study)
    errors = [problem for problem in study.errors if not (waiting and problem.got == NO_ROWS)]
    tables = list(dict.fromkeys([*map(str, errors), *read.of_riders]))
    names = [*study.trials["trial"], *study.riders["rider"], *study.trials["file"]]
    faults = len(tables) + sum(map(len, read.of_recorders.values()))
    _print_list("problem", faults, [*grouped(tables, names), *_lines_of_recorders(study, read, names)])
    doubts = list(dict.fromkeys(read.doubts))
    _print_list("caution", len(doubts), grouped(doubts, names))
    notes = list(dict.fromkeys(map(str, study.notes)))
    _print_list("note", len(notes), grouped(notes, names))
    if waiting:
        enrolled = show_count(len(study.riders), "rider")
        print(
            f"Nothing recorded yet: the protocol is frozen, riders.csv lists {enrolled}, trials.csv no trial."
        )
    if not read.trials.empty:
        print("\nData quality, one line a trial:\n")
        print(_as_text(read.trials))
    return 2 if faults else 0


def _nothing_recorded_yet(study: Study) -> bool:
    """Whether the protocol is frozen and no trial is listed."""
    return study.trials.empty and (study.root / PLAN_FOLDER / PROTOCOL).is_file()


@dataclass(frozen=True)
class _Readings:
    """The trials of a study as read.

    ``of_recorders`` is what stopped any beyond the tables' own faults, each message once; ``doubts`` speak against
    recorders and trials that are used, or name the declared rule by which one is left out.
    """

    trials: pd.DataFrame
    of_riders: list[str]
    of_recorders: dict[str, dict[str, None]]
    doubts: list[str]


def _read_everything(study: Study) -> _Readings:
    frames, of_riders, doubts = [], [], []
    of_recorders: dict[str, dict[str, None]] = {}
    powers_W: dict[str, float] = {}
    for rider in study.riders["rider"]:
        try:
            trials, results = read_rider(study, rider)
        except Refusals as several:
            of_riders += [str(part) for part in several.refusals]
            frames.append(study.trials[study.trials["rider"] == rider].assign(state=NOT_USED))
            continue
        powers_W |= powers_of(results)
        by_rule = trials["reason"].str.startswith(BY_RULE)
        for row in trials[(trials["state"] == NOT_USED) & trials["usable"] & ~by_rule].itertuples():
            of_recorders.setdefault(str(row.recorder), {})[str(row.reason)] = None
        doubtful = trials[(trials["state"] == CAUTION) | by_rule]
        doubts += [f"{row.trial}: {row.reason}" for row in doubtful.itertuples()]
        frames.append(trials)
    read = pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()
    scales = recorders_in_doubt(check_scales(study.settings, study.trials, powers_W))
    return _Readings(read, of_riders, of_recorders, [*(part.sentence() for part in scales), *doubts])


def _lines_of_recorders(study: Study, read: _Readings, names: list[str]) -> list[str]:
    """Tell what stopped recordings, those of one recorder together: a whole recorder often has one cause."""
    lines: list[str] = []
    for recorder, messages in read.of_recorders.items():
        here = grouped(messages, names)
        if len(here) < len(messages):
            count = show_count(int((study.trials["recorder"] == recorder).sum()), "trial")
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
