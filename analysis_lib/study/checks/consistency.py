"""Whether the tables of a study folder agree with study.toml and with each other."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from itertools import product

import numpy as np
import pandas as pd

from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.checks import derived_checks, readiness, trial_checks
from analysis_lib.study.checks.exchanged_rings import exchanged_with_sequences
from analysis_lib.study.checks.far_values import check_far_values
from analysis_lib.study.checks.zero_values import check_zero_values
from analysis_lib.study.declared.problems import Problem, listed, rename, suggest
from analysis_lib.study.declared.protocol import show_unit
from analysis_lib.study.declared.settings import FILE
from analysis_lib.study.outcomes.measured_quantities import measured_quantities
from analysis_lib.study.tables.contents import Contents, about_rider, about_study, about_trial, rows_of
from analysis_lib.study.tables.rows import BESIDE_COLUMNS, TRIALS, UNREAD


def find_problems(contents: Contents) -> list[Problem]:
    """Find everything in which the parts of a study folder disagree.

    Every problem is laid at the smallest door: a trial's fault stops that trial, a rider's that rider.

    Parameters
    ----------
    contents : Contents

    Returns
    -------
    list of Problem
        In the order study, riders, trials, each as the tables list them.
    """
    return [problem for check in CHECKS for problem in check(contents)]


def check_outcome_columns(contents: Contents) -> Iterator[Problem]:
    """Every declared outcome of trials.csv has its column; gaps in it are counted."""
    for outcome in contents.settings.outcomes:
        if outcome.source != "trials":
            continue
        if outcome.name not in contents.trials:
            spare = [str(name) for name in contents.trials if name not in [*TRIALS.columns, *BESIDE_COLUMNS]]
            remedy = rename(outcome.name, spare, "add the column, or take the outcome out of study.toml")
            yield about_study(
                "trials.csv, row 1", f"no column {outcome.name!r}", "a column for each outcome", remedy
            )
            continue
        lacking = contents.ridden[contents.ridden[outcome.name].isna()]
        at_fault = [outcome.name in unread.split() for unread in lacking[UNREAD]]  # which is told as such
        empty = lacking.loc[~np.array(at_fault, dtype=bool), "trial"]
        if len(empty):
            place, got = (
                f"trials.csv, column {outcome.name}",
                f"{show_count(len(empty), 'empty cell')}: {listed(empty)}",
            )
            remedy = (
                "fill them in where the values exist; otherwise these trials are left out of this outcome"
            )
            yield about_study(place, got, "a value for every trial ridden", remedy, "note")


def check_measured_outcomes(contents: Contents) -> Iterator[Problem]:
    """Every outcome declared as measured from the recordings is one that they give, in its own unit."""
    known = measured_quantities()
    for outcome in contents.settings.outcomes:
        place = f"study.toml, outcome {outcome.name}"
        if outcome.source != "signals":
            continue
        if outcome.name not in known:
            remedy = suggest(outcome.name, known, 'correct the name, or declare source = "trials"')
            got = "an outcome that the recordings do not give"
            yield about_study(place, got, f"one of {listed(_both_legs(known))}, ...", remedy)
        elif show_unit(outcome.unit) != show_unit(known[outcome.name]):
            wanted = f"{known[outcome.name]!r}, the unit in which it is measured"
            yield about_study(
                place, f"unit {outcome.unit!r}", wanted, "write that unit, and the smallest effect in it"
            )


def _both_legs(quantities: Iterable[str]) -> list[str]:
    """Leave out the many quantities of harmonics and single legs, for a message that can be read."""
    return [name for name in quantities if not any(part in name for part in ("harmonic", "_left", "_right"))]


def check_sequences_used(contents: Contents) -> Iterator[Problem]:
    """Ring and period can be told apart: by more than one sequence in use, or by the lot of one rider's periods."""
    if len(contents.riders) == 1 and contents.settings.design.lot is not None:
        return
    used = sorted(set(contents.riders["sequence"]) & set(contents.settings.design.sequences))
    if len(used) == 1:
        remedy = (
            "report the ring effect as not separated from period and practice; randomise to two sequences"
        )
        yield about_study(
            "riders.csv, column sequence", f"only {used[0]}", "two sequences or more", remedy, "note"
        )


def check_sequences_of_several(contents: Contents) -> Iterator[Problem]:
    """With several oval rings, each is ridden in some sequence."""
    settings = contents.settings
    if len(settings.oval_rings) == 1:
        return
    orders = settings.design.sequences
    ridden = {ring for order in orders.values() for ring in order}
    if absent := [ring for ring in settings.rings if ring not in ridden]:
        remedy = "add the sequences in which they are ridden, or take the rings out"
        wanted = "every ring in some sequence"
        yield about_study(f"{FILE}, design.sequences", f"none with {listed(absent)}", wanted, remedy)


def check_listed_twice(contents: Contents) -> Iterator[Problem]:
    """Ids are unique, also where capitals are not told apart, as in the file names of some machines."""
    for rider in rows_of(_repeated(contents.riders, contents.riders["rider"].str.casefold())):
        yield about_rider(
            rider, "rider", f"{rider.rider} again", "each rider once", "remove or rename one of the rows"
        )
    for trial in rows_of(_repeated(contents.trials, contents.trials["trial"].str.casefold())):
        yield about_trial(
            trial, "trial", f"{trial.trial} again", "each trial once", "remove or rename one of the rows"
        )


def check_cells_of_design(contents: Contents) -> Iterator[Problem]:
    """A rider rode each cell of the design once: one trial for a period, ring and intensity."""
    cells = contents.ridden[["rider", "period", "ring", "intensity"]]
    for trial in rows_of(_repeated(contents.ridden, cells)):
        got = f"a second trial of {trial.rider} in period {trial.period} on {trial.ring} at {trial.intensity}"
        remedy = "exclude the one that does not count, with its reason"
        yield about_trial(trial, "trial", got, "one trial for each period, ring and intensity", remedy)


def _repeated(frame: pd.DataFrame, key: pd.Series | pd.DataFrame) -> pd.DataFrame:
    """Return all rows whose key occurs more than once: none of them can be told to be the right one."""
    return frame[key.duplicated(keep=False).to_numpy(dtype=bool)]


def check_riders(contents: Contents) -> Iterator[Problem]:
    """Every rider has a known sequence, trials, and both rings."""
    sequences = contents.settings.design.sequences
    for rider, trials in contents.trials_by_rider():
        if rider.sequence not in sequences:
            remedy = suggest(rider.sequence, sequences, "use a sequence of study.toml")
            got = repr(rider.sequence) if rider.sequence else "an empty cell"
            yield about_rider(rider, "sequence", got, f"one of {listed(sequences)}", remedy)
        if not trials:
            remedy = "add the trials, or leave the row to show that the rider was randomised and did not ride"
            yield about_rider(
                rider, "rider", "a rider without trials", "trials in trials.csv", remedy, "note"
            )
        elif len({trial.ring for trial in trials}) == 1:
            got, remedy = (
                f"trials on {trials[0].ring} only",
                "rings cannot be compared within this rider",
            )
            wanted = "both rings" if len(contents.settings.rings) == 2 else "two rings or more"
            yield about_rider(rider, "rider", got, f"trials on {wanted}", remedy, "note")


def check_periods(contents: Contents) -> Iterator[Problem]:
    """Each ring was ridden in the period of the rider's sequence; one message a rider and period, or one for all."""
    if exchanged := exchanged_with_sequences(contents):
        yield from exchanged
        return
    for rider, trials in contents.trials_by_rider():
        order = contents.settings.design.sequences.get(rider.sequence)
        if order is None:
            continue
        for period in sorted({int(trial.period) for trial in trials}):
            group = [trial for trial in trials if trial.period == period]
            if period > len(order):
                for trial in group:
                    yield about_trial(
                        trial, "period", str(period), f"1 to {len(order)}", "correct the period"
                    )
                continue
            planned = order[period - 1]
            wrong = sorted(({trial.ring for trial in group} & set(contents.settings.rings)) - {planned})
            if wrong:
                got = f"{listed(wrong)} in period {period} ({listed(trial.trial for trial in group)})"
                remedy = "correct the ring, the period or the sequence"
                yield about_rider(rider, "sequence", got, f"{planned}, as {rider.sequence} says", remedy)


def check_missing_trials(contents: Contents) -> Iterator[Problem]:
    """Planned trials that are not there are named, for they are a result too; excluded ones and those at fault are told."""
    names = contents.settings.intensity_names
    told: dict[str, set[tuple[int, str]]] = defaultdict(set)
    for trial in (*rows_of(contents.trials[contents.trials["exclude"]]), *rows_of(contents.set_aside)):
        told[trial.rider].add((int(trial.period), trial.intensity))
    for rider, trials in contents.trials_by_rider():
        order = contents.settings.design.sequences.get(rider.sequence)
        if order is None or not trials:
            continue
        there = {(int(trial.period), trial.intensity) for trial in trials} | told[rider.rider]
        lacking: dict[int, list[str]] = defaultdict(list)
        for period, name in product(range(1, len(order) + 1), names):
            if (period, name) not in there:
                lacking[period].append(name)
        if lacking:
            remedy = (
                "nothing needs doing if they were not ridden; to have the pages say why, give each a row in trials.csv with"
                " exclude = yes, the reason in exclude_reason and no file"
            )
            planned, count = len(order) * len(names), sum(map(len, lacking.values()))
            wanted = show_count(planned, "trial")
            missing = "; ".join(f"period {period} at {listed(absent)}" for period, absent in lacking.items())
            got = f"{show_count(planned - count, 'trial')}; missing: {missing}"
            yield about_rider(rider, "rider", got, wanted, remedy, "note")


CHECKS: tuple[Callable[[Contents], Iterator[Problem]], ...] = (
    check_measured_outcomes,
    check_outcome_columns,
    check_far_values,
    check_sequences_used,
    check_sequences_of_several,
    check_listed_twice,
    check_riders,
    check_periods,
    check_cells_of_design,
    check_missing_trials,
    *trial_checks.CHECKS,
    check_zero_values,
    *readiness.CHECKS,
    *derived_checks.CHECKS,
)
