"""The check of a study folder: every problem at once, then how good the data are."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analysis_lib.refusals import Refusals
from analysis_lib.reports.exhibits.numbers import format_cell
from analysis_lib.reports.files.packed_rows import in_batches
from analysis_lib.reports.rider.rider_analysis import read_rider
from analysis_lib.reports.trials.other_ring import CAUTION_OF_RING, is_throughout, ring_doubts
from analysis_lib.reports.trials.power_cautions import power_doubts
from analysis_lib.reports.trials.rider_trials import BY_RULE, CAUTION, NOT_USED
from analysis_lib.reports.trials.scale_cautions import powers_of
from analysis_lib.reports.trials.turned_words import turn_cautions, turn_doubts
from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.checks.alike import grouped
from analysis_lib.study.checks.exchanged_rings import is_against_sequences
from analysis_lib.study.checks.folder import Study, open_study
from analysis_lib.study.checks.readiness import NO_ROWS
from analysis_lib.study.declared.protocol import PLAN_FOLDER
from analysis_lib.study.doubts.power_doubts import PowerDoubt
from analysis_lib.study.doubts.torque_scale import check_scales, recorders_in_doubt
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
    read, waiting = _read_everything(study.without(is_against_sequences)), _nothing_recorded_yet(study)
    errors = [problem for problem in study.errors if not (waiting and problem.got == NO_ROWS)]
    names = study.names
    tables = list(dict.fromkeys([*map(str, errors), *read.of_riders]))
    faults = len(tables) + sum(map(len, read.of_recorders.values()))
    _print_list("problem", faults, [*grouped(tables, names), *_lines_of_recorders(study, read, names)])
    doubts = list(dict.fromkeys([*map(str, study.cautions), *read.doubts]))
    left, open_yet = _left_protocol(study)
    about_protocol = [f"{what_was_compared(study)}{OF_DEVIATIONS}:", *grouped(left, names)] if left else []
    _print_list("caution", len(doubts) + len(left), [*grouped(doubts, names), *about_protocol])
    notes = list(dict.fromkeys([*map(str, study.notes), *open_yet]))
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
    of_riders: list[str] = []
    powers_W: dict[str, float] = {}
    of_power: list[PowerDoubt] = []

    def read_one(rider: str) -> pd.DataFrame:
        try:
            trials, results = read_rider(study, rider)
        except Refusals as several:
            of_riders.extend(str(part) for part in several.refusals)
            return study.trials[study.trials["rider"] == rider].assign(state=NOT_USED, reason="")
        powers_W.update(powers_of(results))
        of_power.extend(power_doubts(trials, results))
        return trials

    batches = list(in_batches(read_one(str(rider)) for rider in study.riders["rider"]))
    if not batches:
        return _Readings(pd.DataFrame(), [], {}, [])
    read = pd.concat(batches, ignore_index=True)
    by_rule = read["reason"].str.startswith(BY_RULE)
    of_recorders: dict[str, dict[str, None]] = {}
    for row in read[(read["state"] == NOT_USED) & read["usable"] & ~by_rule].itertuples():
        of_recorders.setdefault(str(row.recorder), {})[str(row.reason)] = None
    scales = recorders_in_doubt(check_scales(study.settings, study.trials, powers_W))
    told = _doubts_of(read, (read["state"] == CAUTION) | by_rule, [part.said for part in of_power])
    doubts = [*(part.sentence() for part in scales), *(part.sentence() for part in of_power), *told]
    return _Readings(read, of_riders, of_recorders, doubts)


def _doubts_of(read: pd.DataFrame, doubtful: pd.Series, elsewhere: list[str]) -> list[str]:
    """Say what speaks against each trial; not what is said `elsewhere`, and once what holds of nearly all of them."""
    reasons, said = read.loc[doubtful].set_index("trial")["reason"], []
    if is_throughout(read):
        words = ring_doubts(read)
        said = [f"{words[0].upper()}{words[1:]}."]
        reasons = reasons.str.replace(CAUTION_OF_RING, "", regex=False).str.strip()
    turns = turn_doubts(read)
    for words in [*elsewhere, *turn_cautions(read)]:
        reasons = reasons.str.replace(words, "", regex=False).str.strip()
    return [*said, *turns, *(f"{trial}: {reason}" for trial, reason in reasons.items() if reason)]


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
