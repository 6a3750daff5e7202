"""All recordings of a study folder as read for its check, also those whose rows in the tables are at fault."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.packed_rows import in_batches
from analysis_lib.reports.rider.rider_analysis import read_rider
from analysis_lib.reports.trials.other_ring import CAUTION_OF_RING, is_throughout, ring_doubts
from analysis_lib.reports.trials.power_cautions import power_doubts
from analysis_lib.reports.trials.rider_trials import BY_RULE, CAUTION, NOT_USED
from analysis_lib.reports.trials.scale_cautions import doubt_recorders, powers_of
from analysis_lib.reports.trials.shape_words import shape_cautions, shape_doubts
from analysis_lib.reports.trials.turned_words import turn_cautions, turn_doubts
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.doubts.power_doubts import PowerDoubt
from analysis_lib.study.doubts.torque_scale import check_scales, recorders_in_doubt
from analysis_lib.study.tables.contents import rows_of

OF_THE_RECORDING = ("file", "recorder")
"""Columns of trials.csv without which a recording cannot be read, or whose fault says what reading it would say again."""


@dataclass(frozen=True)
class Readings:
    """The trials of a study as read.

    ``of_recorders`` is what stopped any beyond the tables' own faults, each message once; ``doubts`` speak against
    recorders and trials that are used, or name the declared rule by which one is left out; ``notes`` are weak evidence.
    """

    trials: pd.DataFrame
    of_recorders: dict[str, dict[str, None]]
    doubts: list[str]
    notes: list[str]


def read_everything(study: Study) -> Readings:
    """Read every recording that can be read, whatever else the tables have against its rider or its row.

    A rider's own fault keeps no recording from being analysed. One whose row is at fault is only looked at.
    """
    riders = study.without(lambda problem: problem.scope == "rider")
    powers_W: dict[str, float] = {}
    of_power: list[PowerDoubt] = []

    def read_one(rider: str) -> pd.DataFrame:
        trials, results = read_rider(riders, rider)
        powers_W.update(powers_of(results))
        of_power.extend(power_doubts(trials, results))
        return trials

    batches = list(in_batches(read_one(rider) for rider in dict.fromkeys(map(str, study.riders["rider"]))))
    read = pd.concat(batches, ignore_index=True) if batches else pd.DataFrame()
    of_recorders: dict[str, dict[str, None]] = {}
    for recorder, fault in (*_faults_as_read(read), *_faults_as_looked_at(riders)):
        of_recorders.setdefault(recorder, {})[fault] = None
    if read.empty:
        return Readings(read, of_recorders, [], [])
    checks = check_scales(study.settings, study.trials, powers_W)
    scales = recorders_in_doubt(checks)
    doubtful = (read["state"] == CAUTION) | read["reason"].str.startswith(BY_RULE)
    told = shape_doubts(study.settings, read) + _doubts_of(read, doubtful, [part.said for part in of_power])
    doubts = [*(part.sentence() for part in scales), *(part.sentence() for part in of_power), *told]
    recorder_of = dict(zip(read["trial"].astype(str), read["recorder"].astype(str), strict=True))
    together = doubt_recorders(checks, read, recorder_of)
    return Readings(together, of_recorders, doubts, [part.sentence() for part in checks if part.is_weak])


def _faults_as_read(read: pd.DataFrame) -> Iterator[tuple[str, str]]:
    """What stopped each recording that the tables have nothing against, with its recorder."""
    if not read.empty:
        by_rule = read["reason"].str.startswith(BY_RULE)
        for row in read[(read["state"] == NOT_USED) & read["usable"] & ~by_rule].itertuples():
            yield str(row.recorder), str(row.reason)


def _faults_as_looked_at(study: Study) -> Iterator[tuple[str, str]]:
    """What is wrong with each recording whose row is at fault, where it can be read all the same."""
    told = {problem.trial for problem in study.errors if problem.column in OF_THE_RECORDING}
    listed = study.trials[~study.trials["usable"]]
    for row in (*rows_of(listed), *rows_of(study.set_aside)):
        if row.trial not in told and not row.exclude and _can_be_read(study, row):
            try:
                study.look_at(row)
            except Refusal as fault:
                yield str(row.recorder), str(fault)


def _can_be_read(study: Study, row: Any) -> bool:
    """Whether a row names a recorder of the study and a file that is there."""
    return row.recorder in study.settings.recorders and bool(row.file) and (study.root / row.file).is_file()


def _doubts_of(read: pd.DataFrame, doubtful: pd.Series, elsewhere: list[str]) -> list[str]:
    """Say what speaks against each trial; not what is said `elsewhere`, and once what holds of nearly all of them."""
    reasons, said = read.loc[doubtful].set_index("trial")["reason"], []
    if is_throughout(read):
        words = ring_doubts(read)
        said = [f"{words[0].upper()}{words[1:]}."]
        reasons = reasons.str.replace(CAUTION_OF_RING, "", regex=False).str.strip()
    turns = turn_doubts(read)
    for words in [*elsewhere, *turn_cautions(read), *shape_cautions(read)]:
        reasons = reasons.str.replace(words, "", regex=False).str.strip()
    return [*said, *turns, *(f"{trial}: {reason}" for trial, reason in reasons.items() if reason)]
